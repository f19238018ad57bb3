"""Interactions: codes that mean another cause in each model family, wear at another age in each make.

    python -m tests.benchmarks.truth.quirks [JOBS...]

An invented world, with nothing of the word lists and its exact posterior known; asked about 3,000 new jobs. One line a
model: excess over the exact posterior in nats, likeliest cause right.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
import pandas as pd

from models import CauseClassifier
from models.evaluate.baselines import BASELINES

CAUSES, FAMILIES, MAKES, CODES, COMPLAINTS = 16, 12, 4, 6, 4
ASKED, MOST_DONE = 3000, 4


class Quirks:
    """The world: shares, codes by family, ages by make; ``findings`` looks of two values, none to four done a job."""

    def __init__(self, seed: int, findings: int = 0) -> None:
        rng = np.random.default_rng(seed)
        self.share = rng.dirichlet(np.full(CAUSES, 3.0))
        self.complaint = rng.dirichlet(np.full(COMPLAINTS, 0.5), CAUSES)
        self.code = rng.dirichlet(np.full(CODES, 0.25), (FAMILIES, CAUSES))
        self.age = rng.uniform(1, 13, (MAKES, CAUSES))
        self.yes = rng.beta(0.5, 0.5, (CAUSES, findings)).clip(0.03, 0.97)

    def jobs(self, number: int, seed: int) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
        """Facts, cause, and the exact posterior of every cause: jobs × causes."""
        rng = np.random.default_rng(seed)
        family = rng.integers(0, FAMILIES, number)
        make = family % MAKES
        cause = rng.choice(CAUSES, number, p=self.share)
        drawn = [
            (table[..., :].cumsum(axis=-1) < rng.random(number)[:, None]).sum(axis=1)
            for table in (self.complaint[cause], self.code[family, cause])
        ]
        complaint, code = (np.minimum(one, size - 1) for one, size in zip(drawn, (COMPLAINTS, CODES), strict=True))
        age = np.clip(rng.normal(self.age[make, cause], 2.0), 0, 20).round(1)
        known = self.share * self.complaint[:, complaint].T * self.code[family, :, code]
        known = known * np.exp(-((age[:, None] - self.age[make]) ** 2) / 8)
        frame = pd.DataFrame(
            {
                "kind": "thing",
                "make": [f"make {one}" for one in make],
                "model_family": [f"family {one}" for one in family],
                "age_years": age,
                "code": [f"K{one}" for one in code],
            }
        )
        for one in range(COMPLAINTS):
            frame[f"symptom: s{one}"] = np.where(complaint == one, "yes", "no")
        done = rng.random((*self.yes.T.shape[:1], number)).argsort(axis=0) < rng.integers(0, MOST_DONE + 1, number)
        for one, (chance, is_done) in enumerate(zip(self.yes.T, done, strict=True)):
            is_yes = rng.random(number) < chance[cause]
            frame[f"finding: f{one}"] = np.where(is_done, np.where(is_yes, "yes", "no"), None)
            known = np.where(is_done[:, None], known * np.where(is_yes[:, None], chance, 1 - chance), known)
        return frame, cause, known / known.sum(axis=1, keepdims=True)


def main() -> None:
    """One line a size and model."""
    warnings.simplefilter("ignore")
    for number in [int(word) for word in sys.argv[1:]] or [3000, 10_000]:
        world = Quirks(1)
        past, cause, _ = world.jobs(number, 2)
        asked, true, exact = world.jobs(ASKED, 3)
        rows = np.arange(ASKED)
        least = -np.log(exact[rows, true]).mean()
        model = CauseClassifier(scope="kind", text="complaint").fit(past, cause)
        told = {"priorjobs": model.predict_proba(asked)}
        told |= {name: guess(past, cause, CAUSES, asked) for name, guess in BASELINES.items()}
        for name, chance in told.items():
            excess = -np.log(np.maximum(chance[rows, true], 1e-6)).mean() - least
            print(
                f"{number} jobs, {name}: {excess:.3f} above {least:.3f}, right {(chance.argmax(axis=1) == true).mean():.3f}"
            )
        print(
            f"exact: right {(exact.argmax(axis=1) == true).mean():.3f}; pool {model.decided_.weights.round(2)}",
            flush=True,
        )


if __name__ == "__main__":
    main()
