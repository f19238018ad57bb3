"""In which manner a way to fail comes with age: early or late, each manner learned from all ways that follow it."""

from __future__ import annotations

import numpy as np

from models.lean import SMALLEST

SLOPES = (-0.5, 0.5)  # of log risk over the range of the bins, to begin with: early failure, wear
TURNS = 20
HELD = 5.0  # jobs by which each bin of a manner leans on no change


def by_manner(seen: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Log of P(bin | way) over what was expected, averaged over the manners by how likely each is for the way.

    A mixture fitted by expectation and maximisation: a manner is one factor a bin, common to its ways.

    Parameters
    ----------
    seen, expected
        Bins in order × ways: weighted jobs; jobs that the circumstances alone would make expect. A way of which none is
        expected gets zeros.
    """
    jobs, total = seen.sum(axis=0), expected.sum(axis=0)
    usual = expected / np.maximum(total, SMALLEST)
    factor = np.exp(np.outer(SLOPES, np.linspace(-1, 1, len(seen))))
    share = np.full(len(SLOPES), 1 / len(SLOPES))
    for _ in range(TURNS):
        follows = _follows(seen, usual, factor, share) * (jobs > 0)
        share = (follows.sum(axis=1) + 1) / (follows.sum() + len(share))
        hoped = factor * ((follows * jobs / np.maximum(factor @ usual, SMALLEST)) @ usual.T)
        factor = factor * (follows @ seen.T + HELD) / (hoped + HELD)
    follows = _follows(seen, usual, factor, share)
    ratio = factor.T @ (follows / np.maximum(factor @ usual, SMALLEST))
    return np.where(total > 0, np.log(np.maximum(ratio, SMALLEST)), 0.0)


def _follows(seen: np.ndarray, usual: np.ndarray, factor: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Chance of each manner for each way: manners × ways."""
    likely = np.log(factor) @ seen - seen.sum(axis=0) * np.log(np.maximum(factor @ usual, SMALLEST))
    chance = np.exp(likely - likely.max(axis=0)) * share[:, None]
    return np.asarray(chance / chance.sum(axis=0))
