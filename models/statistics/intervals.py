"""How sure a rate is: intervals for "x of n", and how many of many findings to believe."""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING, overload

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

FEWEST_FOR_RATE = 10
"""Cases under which no rate is stated."""


@overload
def wilson(x: float, n: float, confidence: float = ...) -> tuple[float, float]: ...
@overload
def wilson(x: ArrayLike, n: ArrayLike, confidence: float = ...) -> tuple[Floats, Floats]: ...
def wilson(x: ArrayLike, n: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats] | tuple[float, float]:
    """Wilson score interval of a share.

    Parameters
    ----------
    x, n
        How many, of how many; numbers, or arrays of one shape. Fractions are allowed (effective counts).
    confidence
        Two-sided confidence.

    Returns
    -------
    tuple
        Low and high, within 0 and 1. With n = 0 nothing is known: 0 and 1.

    Raises
    ------
    ValueError
        x is below 0 or above n.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1.

    Examples
    --------
    >>> [round(limit, 4) for limit in wilson(14, 19)]
    [0.5121, 0.8819]
    """
    hits, tries = _counts(x, n)
    z2 = _two_sided(confidence) ** 2
    some = np.where(tries > 0, tries, 1.0)
    share = hits / some
    centre = share + z2 / (2 * some)
    half = np.sqrt(z2 * (share * (1 - share) / some + z2 / (4 * some**2)))
    low = np.where((tries > 0) & (hits > 0), (centre - half) / (1 + z2 / some), 0.0)
    high = np.where((tries > 0) & (hits < tries), (centre + half) / (1 + z2 / some), 1.0)
    return _as_given(np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0), x, n)


def benjamini_hochberg(p: ArrayLike) -> Floats:
    """Adjusted p-values: rejecting those at or below α keeps the expected share of false finds at α.

    Parameters
    ----------
    p
        The p-values of everything that was looked at, also what was not interesting. No NaN.

    Returns
    -------
    ndarray
        Adjusted values in the order given.

    Notes
    -----
    Benjamini & Hochberg 1995, Journal of the Royal Statistical Society B 57, 289–300.

    Examples
    --------
    >>> benjamini_hochberg([0.01, 0.04, 0.03]).round(3).tolist()
    [0.03, 0.04, 0.04]
    """
    values = np.asarray(p, dtype=float)
    if np.isnan(values).any() or (values < 0).any() or (values > 1).any():
        raise ValueError("p-values lie between 0 and 1")
    order = np.argsort(-values, kind="stable")
    rank = np.arange(values.size, 0, -1)
    adjusted = np.empty_like(values)
    adjusted[order] = np.minimum(1.0, np.minimum.accumulate(values[order] * values.size / rank))
    return adjusted


def _two_sided(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise ValueError("confidence lies between 0 and 1")
    return NormalDist().inv_cdf((1 + confidence) / 2)


def _counts(x: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    hits, tries = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(n, dtype=float))
    if not ((hits >= 0) & (hits <= tries)).all():
        raise ValueError("a share needs 0 <= x <= n")
    return hits, tries


def _as_given(low: Floats, high: Floats, x: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats] | tuple[float, float]:
    if np.ndim(x) == 0 and np.ndim(n) == 0:
        return float(low), float(high)
    return low, high
