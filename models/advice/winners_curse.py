"""What a pattern's share is likely to be, given that it was picked for standing out (the winner's curse)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import bdtrc, betaln, xlog1py, xlogy

GRID = np.linspace(0.0005, 0.9995, 1000)


class Likely(NamedTuple):
    """A share as it is likely to be, and what it is at least with 95 % confidence."""

    share: float
    low: float


def likely_share(count: int, of: int, passes_from: int, usual: float) -> Likely:
    """Correct the share of a picked pattern for having been picked.

    Parameters
    ----------
    count, of
        Wrong lines, of how many.
    passes_from
        Fewest wrong lines with which it would have been picked.
    usual
        Share that is usual; the share is held to lie above it.

    Returns
    -------
    Likely
        share: mean over all shares above the usual one, each weighted by how likely it makes this count among counts
        that are picked; low: their 2.5 % quantile, for the choice among overlapping patterns flatters a little more.

    Notes
    -----
    The likelihood is that of a binomial cut off at the bar, so a pattern just over the bar says little. Compare Efron
    2011, Journal of the American Statistical Association 106, 1602–1614 (from memory).
    """
    picked = np.maximum(bdtrc(passes_from - 1, of, GRID), 1e-300) if passes_from > 0 else 1.0
    ways = -betaln(count + 1, of - count + 1) - np.log(of + 1)
    likelihood = np.exp(ways + xlogy(count, GRID) + xlog1py(of - count, -GRID)) / picked
    weight = np.where(usual <= GRID, likelihood, 0.0)
    weight /= weight.sum()
    low = float(GRID[np.searchsorted(np.cumsum(weight), 0.025)])
    return Likely(float(weight @ GRID), low)
