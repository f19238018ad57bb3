"""What a repair like this one has cost: weighted quantiles over similar jobs, each cause weighing its odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

LISTED_WORTH = 2.0  # jobs that a listed figure is worth beside those on record (common practice, no source)
LEVELS = (0.1, 0.5, 0.9)


def quote_range(
    odds: Mapping[str, float], causes: Sequence[str], amounts: NDArray[np.float64], listed: Mapping[str, float]
) -> tuple[float, float, float]:
    """P10, P50 and P90 of an amount over jobs like this one.

    Parameters
    ----------
    odds
        Cause → probability, more than 0 in sum.
    causes, amounts
        Of each similar job; NaN = not known, left out.
    listed
        Cause → what the word lists make it cost; stands in where jobs are few.
    """
    places = {cause: place for place, cause in enumerate(odds)}
    which = np.array([places.get(cause, -1) for cause in causes], dtype=int)
    is_known = (which >= 0) & np.isfinite(amounts)
    which = which[is_known]
    each = np.array(list(odds.values())) / (np.bincount(which, minlength=len(odds)) + LISTED_WORTH)
    all_amounts = np.concatenate([amounts[is_known], [listed[cause] for cause in odds]])
    weights = np.concatenate([each[which], each * LISTED_WORTH])
    low, middle, high = weighted_quantiles(all_amounts, weights, LEVELS)
    return low, middle, high


def weighted_quantiles(
    amounts: NDArray[np.float64], weights: NDArray[np.float64], levels: Sequence[float]
) -> list[float]:
    """Smallest amount whose weight, with that of all smaller ones, reaches each level of the whole."""
    order = np.argsort(amounts, kind="stable")
    reached = np.cumsum(weights[order]) / weights.sum()
    places = np.minimum(np.searchsorted(reached, np.array(levels) - 1e-12), len(amounts) - 1)
    return [float(amount) for amount in amounts[order][places]]
