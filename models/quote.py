"""What a repair like this one has cost: weighted quantiles over similar jobs, each cause weighing its odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

LISTED_WORTH = 2.0  # jobs that a listed figure is worth beside those on record (common practice, no source)
LEVELS = (0.1, 0.5, 0.9)


def quote_range(
    odds: Mapping[str, float], jobs: pd.DataFrame, listed: Mapping[str, float], column: str
) -> tuple[float, float, float]:
    """P10, P50 and P90 of an amount over jobs like this one.

    Parameters
    ----------
    odds
        Cause → probability, more than 0 in sum.
    jobs
        Similar jobs: column cause and the amount; rows without the amount are left out.
    listed
        Cause → what the word lists make it cost; stands in where jobs are few.
    column
        Name of the amount.
    """
    known = jobs.loc[jobs[column].notna() & jobs["cause"].isin(list(odds)), ["cause", column]]
    counts = {cause: int((known["cause"] == cause).sum()) for cause in odds}
    each = {cause: odds[cause] / (n + LISTED_WORTH) for cause, n in counts.items()}
    amounts = [*known[column].to_numpy(dtype=float), *(listed[cause] for cause in odds)]
    weights = [*(each[cause] for cause in known["cause"]), *(each[cause] * LISTED_WORTH for cause in odds)]
    low, middle, high = weighted_quantiles(np.array(amounts), np.array(weights), LEVELS)
    return low, middle, high


def weighted_quantiles(
    amounts: NDArray[np.float64], weights: NDArray[np.float64], levels: Sequence[float]
) -> list[float]:
    """Smallest amount whose weight, with that of all smaller ones, reaches each level of the whole."""
    order = np.argsort(amounts, kind="stable")
    reached = np.cumsum(weights[order]) / weights.sum()
    places = np.minimum(np.searchsorted(reached, np.array(levels) - 1e-12), len(amounts) - 1)
    return [float(amount) for amount in amounts[order][places]]
