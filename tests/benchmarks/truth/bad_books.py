"""Bounds and corrections of the share of needless parts where the books are worse than they look.

Run: python -m tests.benchmarks.truth.bad_books [WORLDS]

A year of part lines, 6 % of them wrong swaps. Shared credit: at 15 or 40 % of cures a needless part was fitted beside
the right one, so that neither has a verdict; do the bounds hold the true share? Wrong causes: 5, 10 or 20 % are written
down wrongly. Wrong verdicts: each is turned round with that chance, as the correction takes it. Wrong names: another
cause of the kind is drawn; a cured part then counts as not the cause where that cause needs no part (two in five, as in
the shipped lists), else it stays open, and a wrong swap is missed where that cause is one its part cures (one in
eight). ± is 95 % of the simulation.
"""

from __future__ import annotations

import sys

import numpy as np

from models.statistics.bounds import share_behind_errors, shared_credit_bounds

TRUE = 0.06
NO_PART, SAME_PART = 0.4, 1 / 8


def shared_credit(worlds: int) -> None:
    """Print how often the bounds hold the share of needless parts that these lines really had."""
    rng = np.random.default_rng(7)
    for size in (100, 400, 1200):
        for needless in (0.15, 0.40):
            wrong = rng.binomial(size, TRUE, worlds)
            visits = rng.binomial(size - wrong, needless)
            cured = size - wrong - visits
            bounds = np.array(
                [shared_credit_bounds(*row) for row in zip(wrong, cured, 2 * visits, visits, strict=True)]
            )
            true = (wrong + visits) / (size + visits)
            held = (bounds[:, 0] <= true + 1e-12) & (true <= bounds[:, 1] + 1e-12)
            print(
                f"{size:>5} cures, a needless part beside {needless:.0%}: true {true.mean():.1%}, counted "
                f"{(wrong / (wrong + cured)).mean():.1%}, bounds {bounds[:, 0].mean():.1%} to {bounds[:, 1].mean():.1%}, "
                f"hold in {_share(held)}"
            )


def wrong_causes(worlds: int) -> None:
    """Print the counted and the corrected share beside the true one."""
    rng = np.random.default_rng(8)
    for size in (100, 400, 1200):
        for error in (0.05, 0.10, 0.20):
            wrong = rng.binomial(size, TRUE, worlds)
            right = size - wrong
            turned, found = rng.binomial(right, error), wrong - rng.binomial(wrong, error)
            _told(size, error, "wrong verdicts", wrong / size, (found + turned) / size)
            misnamed = rng.binomial(right, error)
            blamed = rng.binomial(misnamed, NO_PART)
            missed = rng.binomial(wrong, error * SAME_PART)
            judged = right - misnamed + blamed + wrong - missed
            _told(size, error, "wrong names", wrong / size, (wrong - missed + blamed) / judged)


def _told(size: int, error: float, name: str, true: np.ndarray, counted: np.ndarray) -> None:
    corrected = np.array([share_behind_errors(share, error) for share in counted])
    held = (corrected <= true) & (true <= counted)
    print(
        f"{size:>5} lines, {error:.0%} {name}: true {true.mean():.1%}, counted {counted.mean():.1%}, corrected "
        f"{corrected.mean():.1%} (sd {corrected.std():.1%}); the true one between them in {_share(held)}"
    )


def _share(held: np.ndarray) -> str:
    share = held.mean()
    return f"{share:.1%} ± {1.96 * (share * (1 - share) / len(held)) ** 0.5:.1%}"


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    shared_credit(count)
    wrong_causes(count)
