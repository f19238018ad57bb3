"""How much of what will come to light has come so far? The share of late reports that is still on its way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

LEAST_SHOWN = 0.05


def shown_by(delay: ArrayLike, followed: ArrayLike, at: ArrayLike) -> Floats:
    """Share of all cases that is known so many days after they began.

    Parameters
    ----------
    delay
        Days from the beginning of each known case to the day it became known.
    followed
        Days from the beginning of each known case to today; never less than its delay.
    at
        Days asked about.

    Returns
    -------
    ndarray
        One share a day asked, 1 where nothing is known of delays, never below 0.05.

    Notes
    -----
    Known cases are those whose delay was not longer than they were followed (right truncation). The estimate runs
    backwards in time: F(u) = Π over delays d > u of (1 − cases with delay d / cases with delay ≤ d that were followed d
    or longer). Lawless 1994, Canadian Journal of Statistics 22, 15–31 (from memory). Delays longer than any case was
    followed for are unknown to it.

    Examples
    --------
    >>> shown_by([30, 40, 40, 60], [400, 400, 400, 400], [10, 35, 45, 90]).tolist()
    [0.05, 0.25, 0.75, 1.0]
    """
    took, until = np.asarray(delay, dtype=float), np.asarray(followed, dtype=float)
    asked = np.asarray(at, dtype=float)
    days = np.unique(took)
    kept = np.array([1 - (took == day).sum() / ((took <= day) & (until >= day)).sum() for day in days])
    # the share known by a day is what no longer delay takes away
    beyond = np.append(np.cumprod(kept[::-1])[::-1], 1.0)
    return np.asarray(np.clip(beyond[np.searchsorted(days, asked, side="right")], LEAST_SHOWN, 1.0), dtype=float)
