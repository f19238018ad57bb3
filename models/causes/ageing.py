"""In which manner a way to fail comes with age: early, at any age or late; early and late are learned from all ways."""

from __future__ import annotations

import numpy as np

from models.causes.shrinkage import SMALLEST

SLOPES = np.array([-0.5, 0.0, 0.5])  # of log risk over the bins, to begin with: early failure, chance, wear
USUAL = np.array([0.25, 0.5, 0.25])  # share of ways in each manner before any job (common practice, no source)
FEW_WAYS, HELD = 3.0, 60.0  # ways it counts for; jobs by which each bin of a manner leans on no change
TURNS = 20


def by_manner(seen: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Log of P(bin | way) over what was expected, averaged over the manners by how likely each is for the way.

    A mixture fitted by expectation and maximisation: a manner is one factor a bin, common to its ways; chance has none.

    Parameters
    ----------
    seen, expected
        Bins in order × ways: weighted jobs; jobs that the circumstances alone would make expect. A way of which none is
        expected gets zeros.
    """
    jobs, total = seen.sum(axis=0), expected.sum(axis=0)
    usual = expected / np.maximum(total, SMALLEST)
    factor = np.exp(np.outer(SLOPES, np.linspace(-1, 1, len(seen))))
    share = USUAL
    for _ in range(TURNS):
        follows = _follows(seen, usual, factor, share) * (jobs > 0)
        share = (follows.sum(axis=1) + FEW_WAYS * USUAL) / (follows.sum() + FEW_WAYS)
        hoped = factor * ((follows * jobs / np.maximum(factor @ usual, SMALLEST)) @ usual.T)
        factor = np.where(SLOPES[:, None] == 0, 1.0, factor * (follows @ seen.T + HELD) / (hoped + HELD))
    follows = _follows(seen, usual, factor, share)
    ratio = factor.T @ (follows / np.maximum(factor @ usual, SMALLEST))
    return np.where(total > SMALLEST, np.log(np.maximum(ratio, SMALLEST)), 0.0)


def _follows(seen: np.ndarray, usual: np.ndarray, factor: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Chance of each manner for each way: manners × ways."""
    likely = np.log(factor) @ seen - seen.sum(axis=0) * np.log(np.maximum(factor @ usual, SMALLEST))
    chance = np.exp(likely - likely.max(axis=0)) * share[:, None]
    return np.asarray(chance / chance.sum(axis=0))
