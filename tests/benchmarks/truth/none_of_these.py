"""Whether "none of these" comes true, and comes where it is said, in worlds some of whose causes were never met.

    python -m tests.benchmarks.truth.none_of_these [JOBS,JOBS...]

Of every 1,000 jobs 10, 30 or 100 have a cause that no other job has; their makes, codes and words are strange with
chance one half each, those of other jobs with chance .03 (invented; :mod:`tests.worlds.strange_jobs`, nothing of the
word lists). Asked about 4,000 new jobs. Log-loss is that of "none of these" alone, in nats, by the model, by Good-Turing
by kind (the model with its factors at one), and by the rate of the world itself; said / came where it said .2 or more.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np

from models import CauseClassifier
from tests.worlds.strange_jobs import strange_jobs

RATES = (0.01, 0.03, 0.1)
ASKED, HIGH = 4000, 0.2


def loss(said: np.ndarray, came: np.ndarray) -> float:
    """Mean log-loss of a yes-or-no forecast."""
    kept = np.clip(said, 1e-6, 1 - 1e-6)
    return float(-np.where(came, np.log(kept), np.log1p(-kept)).mean())


def main() -> None:
    """Print one line a rate and size."""
    for number in map(int, (sys.argv[1] if len(sys.argv) > 1 else "400,1500").split(",")):
        for rate in RATES:
            facts, cause = strange_jobs(number, rate, seed=1)
            began = time.process_time()
            fitted = CauseClassifier(scope="kind", text="complaint", boosting=False, folds=2).fit(facts, cause)
            asked, truth = strange_jobs(ASKED, rate, seed=2)
            said, came = fitted.none_of_these(asked), ~np.isin(truth, fitted.classes_)
            plain = replace(fitted.model_, unseen=replace(fitted.model_.unseen, oftener={}, usual=1.0))
            high = said >= HIGH
            there = f"{said[high].mean():.2f} / {came[high].mean():.2f} in {high.sum()} jobs" if high.any() else "never"
            print(f"{number:,} jobs, {rate:.0%}: said {said.mean():.3f}, came {came.mean():.3f}; "
                  f"log-loss {loss(said, came):.4f}, Good-Turing {loss(plain.none_of_these(asked), came):.4f}, "
                  f"rate alone {loss(np.full(ASKED, rate), came):.4f}; at {HIGH} or more {there}; "
                  f"{time.process_time() - began:.1f} s", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
