"""Months whose follow-up is not over: does the interval hold the rate, is "better" said falsely, is the share of wrong parts right?

Run: python -m tests.benchmarks.truth.follow_up [WORLDS]

First-time fix: a fault is not fixed at once in 25 %, a tenth of the fixed come back evenly over 30 days; the same in
every month. Faults begun in the ten days up to the day of the report, a settled month before, eleven more as history.
Wrong parts: a tenth, known 30 days after a second visit that follows 3 to 60 days later (the longer the rarer); cures
known after 30 days; two years of 40 parts a month, the last month's share estimated 15 to 60 days after its end.
All ± are 95 % of the simulation.
"""

from __future__ import annotations

import sys

import numpy as np

from models.statistics.change import difference
from models.statistics.delay import shown_by
from models.statistics.survival import survival_at, well_followed

WINDOW, DAY, TRUE_RATE = 30, 10, 0.75 * 0.9


def _faults(rng: np.random.Generator, size: int, followed: np.ndarray | int) -> tuple[np.ndarray, np.ndarray]:
    at_once, back = rng.random(size) < 0.25, rng.random(size) < 0.1
    comes = np.where(at_once, 0, np.where(back, rng.integers(1, WINDOW + 1, size), 10 * WINDOW))
    until = np.minimum(np.broadcast_to(followed, size), WINDOW)
    return np.minimum(comes, until).astype(float), comes <= until


def first_time_fix(worlds: int) -> None:
    """Print coverage and false differences by size of the month."""
    rng = np.random.default_rng(1)
    for size in (20, 100, 1000):
        held, better, worse = [], 0, 0
        for _ in range(worlds):
            now = _faults(rng, size, rng.integers(0, DAY + 1, size))
            before, history = _faults(rng, size, WINDOW), _faults(rng, 12 * size, WINDOW)
            estimate = survival_at(*now, WINDOW, settled=history)
            held.append(estimate.low <= TRUE_RATE <= estimate.high)
            day = well_followed(*now)
            _, low, high = difference(*survival_at(*now, day), *survival_at(*before, day), cases=size)
            better, worse = better + (low > 0), worse + (high < 0)
        print(
            f"{size:>5} faults, day {DAY}: interval holds the rate {_share(sum(held), worlds)}; "
            f"false better {_share(better, worlds)}, false worse {_share(worse, worlds)}"
        )


def wrong_parts(worlds: int) -> None:
    """Print the mean share of wrong parts, plain and corrected, by days since the month ended."""
    rng = np.random.default_rng(2)
    for since in (15, 30, 45, 60):
        plain, corrected = [], []
        for _ in range(worlds):
            size = 24 * 40
            age = since + rng.integers(0, 730, size)
            is_wrong = rng.random(size) < 0.1
            gap = 3 + np.minimum(rng.exponential(15, size), 57).astype(int)
            delay = np.where(is_wrong, gap + WINDOW, WINDOW)
            known = delay <= age
            month = age < since + 30
            found = is_wrong & known
            judged = month & known
            came = shown_by(delay[found], age[found], age[found & month])
            cured = shown_by([WINDOW], [10 * WINDOW], age[judged & ~is_wrong])
            wrong = (1 / came).sum()
            can_be = (1 / cured).sum()
            if judged.any():
                plain.append((found & month).sum() / judged.sum())
                is_young = month & (age < WINDOW)
                right = can_be / max(1 - is_young.sum() / month.sum(), 1e-9)
                corrected.append(wrong / max(wrong + right, 1e-9))
        error = 1.96 * np.std(corrected) / np.sqrt(len(corrected))
        print(
            f"{since:>3} days after the month: true 10.0 %, plain {np.mean(plain):.1%}, corrected {np.mean(corrected):.1%} ± {error:.1%}"
        )


def _share(hits: int, of: int) -> str:
    share = hits / of
    return f"{share:.1%} ± {1.96 * (share * (1 - share) / of) ** 0.5:.1%}"


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first_time_fix(wanted)
    wrong_parts(wanted)
