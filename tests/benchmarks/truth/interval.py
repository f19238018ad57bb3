"""How often the interval beside the likeliest cause holds its exact probability, by jobs learned from and findings known.

    python -m tests.benchmarks.truth.interval [JOBS,JOBS...] [SEED]

The world of :mod:`tests.benchmarks.truth.quirks` with eight findings, of which none to four are known of a job; it owes
the word lists nothing. 300, 900 and 3,600 cured jobs are about those of 500, 1,500 and 6,000 units. The factors of the
interval were chosen on other worlds (:mod:`models.causes.uncertainty`).
"""

from __future__ import annotations

import sys

import numpy as np
from threadpoolctl import threadpool_limits

from models import CauseClassifier
from models.causes.evidence import interval
from tests.benchmarks.truth.quirks import ASKED, Quirks

FINDINGS = 8


def main() -> None:
    """One line a size."""
    sizes = [int(one) for one in (sys.argv[1] if len(sys.argv) > 1 else "300,900,3600").split(",")]
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    world = Quirks(seed, FINDINGS)
    asked, _, exact = world.jobs(ASKED, 3)
    rows, known = np.arange(ASKED), asked.filter(like="finding: ").notna().sum(axis=1).to_numpy()
    for number in sizes:
        past, cause, _ = world.jobs(number, 2)
        model = CauseClassifier(scope="kind", text="complaint").fit(past, cause).model_
        chance = model.predict_proba(asked)
        first = chance.argmax(axis=1)
        at = exact[:, model.classes_.astype(int)][rows, first]
        low, high = interval(chance[rows, first], number, model.width)
        holds = (low <= at) & (at <= high)
        by_known = ", ".join(f"{holds[known == one].mean():.3f}" for one in np.unique(known))
        print(
            f"{number:,} jobs: holds {holds.mean():.3f}; by findings known, from 0: {by_known};"
            f" mean width {(high - low).mean():.2f}; too low {(at > high).mean():.3f}, too high {(at < low).mean():.3f}; {'learned' if len(model.width) else 'by similar jobs'}",
            flush=True,
        )


if __name__ == "__main__":
    with threadpool_limits(1):
        main()
