"""How near the cause model comes to the exact posterior of published diagnosis networks.

    python -m tests.benchmarks.truth.cause_limits [pathfinder|win95pts|hepar2|child] [JOBS,JOBS...] [--seeds 1,2]

PATHFINDER (Heckerman, Horvitz & Nathwani 1992): 63 causes, 5 to 15 of 108 findings shown at random a job. WIN95PTS
(Breese & Heckerman,
Microsoft): one of 29 faults, 6 complaints and 3 to 10 of 41 other findings. CHILD (Spiegelhalter et al.): 6 diseases,
3 to 8 findings. HEPAR2 (Oniśko 2003): cases with exactly one of 7 liver disorders (9 with their states), age and sex
known, 3 to 10 of 40 findings.
Networks are read from pgmpy's packaged copies (a test-only dependency). Findings are hidden completely at random; a
workshop's are not.

Excess = log-loss less that of the exact posterior on the same 10,000 jobs, nats (on 2,000 the exact posterior itself has
a calibration error of 0.020). A cause never met in training shares
what the model keeps
for "none of these". Seconds are processor seconds of the fit, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from threadpoolctl import threadpool_limits

from models import CauseClassifier
from models.evaluate.baselines import logistic_regression, naive_bayes
from models.evaluate.scores import score_table
from tests.benchmarks.truth.networks import Jobs, one_disorder_jobs, read_network, single_fault_jobs, single_root_jobs

CIRCUMSTANCES = ["NetPrint", "DSApplctn", "EPSGrphc", "PrtPScript", "PrntrAccptsTrtyp"]
COMPLAINTS = [f"Problem{k}" for k in range(1, 7)]
CHILD_FINDINGS = [
    "GruntingReport",
    "CO2Report",
    "XrayReport",
    "LVHreport",
    "LowerBodyO2",
    "RUQO2",
    "Age",
    "BirthAsphyxia",
]
DISORDERS = dict.fromkeys(
    ("THepatitis", "ChHepatitis", "RHepatitis", "PBC", "Steatosis", "Cirrhosis", "Hyperbilirubinemia"), "absent"
)
ASKED, ASKED_SEED = 10_000, 99


def jobs_of(network: str, number: int, seed: int, *, exact: bool) -> tuple[Jobs, int]:
    """Draw jobs of one network; with them the number of causes."""
    if network == "pathfinder":
        drawn = single_root_jobs("pathfinder", "Fault", number, 5, 15, seed, exact=exact)
        return drawn, len(read_network("pathfinder").states["Fault"])
    if network == "child":
        drawn = single_root_jobs("child", "Disease", number, 3, 8, seed, exact=exact, findings=CHILD_FINDINGS)
        return drawn, len(read_network("child").states["Disease"])
    if network == "hepar2":
        drawn = one_disorder_jobs("hepar2", DISORDERS, ["age", "sex"], ["carcinoma"], number, 3, 10, seed, exact=exact)
        return drawn, 9
    drawn = single_fault_jobs("win95pts", CIRCUMSTANCES, COMPLAINTS, number, 3, 10, seed, exact=exact)
    return drawn, 29


def main() -> None:
    """Print one line a size, seed and model."""
    asked_for = argparse.ArgumentParser()
    asked_for.add_argument(
        "network", nargs="?", default="pathfinder", choices=["pathfinder", "win95pts", "hepar2", "child"]
    )
    asked_for.add_argument("jobs", nargs="?", default="1000,5000,20000,100000")
    asked_for.add_argument("--seeds", default="1")
    asked_for.add_argument("--baselines", action="store_true")
    given = asked_for.parse_args()
    asked, causes = jobs_of(given.network, ASKED, ASKED_SEED, exact=True)
    if asked.posterior is None:
        raise RuntimeError("the exact posterior was asked for")
    limit = score_table(asked.posterior, asked.cause)
    print(f"{given.network}: exact log-loss {limit['log_loss']:.3f}, top-1 {limit['top1']:.3f}, "
          f"calibration error {limit['calibration_error']:.3f}")  # fmt: skip
    for number in map(int, given.jobs.split(",")):
        for seed in map(int, given.seeds.split(",")):
            past, _ = jobs_of(given.network, number, seed, exact=False)
            began = time.process_time()
            fitted = CauseClassifier().fit(past.facts, past.cause)
            spent = time.process_time() - began
            met = fitted.classes_.astype(int)
            chance = np.zeros((ASKED, causes))
            none = fitted.none_of_these(asked.facts)[:, None] if len(met) < causes else np.zeros((ASKED, 1))
            chance[:, met] = fitted.predict_proba(asked.facts) * (1 - none)
            chance[:, np.setdiff1d(np.arange(causes), met)] = none / max(causes - len(met), 1)
            show("CauseClassifier", number, seed, score_table(chance, asked.cause), limit, f"{spent:.1f} s", fitted)
            for name, guess in (("naive Bayes", naive_bayes), ("logistic regression", logistic_regression)):
                if given.baselines:
                    with threadpool_limits(limits=1):
                        told = guess(past.facts, past.cause, causes, asked.facts)
                    show(name, number, seed, score_table(told, asked.cause), limit, "", None)


def show(
    name: str, jobs: int, seed: int, table: dict[str, float], limit: dict[str, float], spent: str, fitted: object
) -> None:
    """Print one line."""
    weights = f"  weights {fitted.model_.weights.round(2)}" if isinstance(fitted, CauseClassifier) else ""
    print(
        f"  {jobs:7,d} jobs, seed {seed}  {name:20s} excess {table['log_loss'] - limit['log_loss']:.3f}"
        f"  top-1 {table['top1']:.3f}"
        f"  calibration error {table['calibration_error']:.3f}  {spent}{weights}",
        flush=True,
    )


if __name__ == "__main__":
    main()
