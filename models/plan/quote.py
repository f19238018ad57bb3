"""What a repair like this one has cost: weighted quantiles over similar jobs, each cause weighing its odds.

How far such quantiles were off on later jobs is learned and taken off (split conformal prediction of one-sided bounds;
Vovk, Gammerman & Shafer 2005; Romano, Patterson & Candès 2019, arXiv 1905.03222), so that a tenth of jobs end below P10
and a tenth above P90.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

LISTED_WORTH = 2.0  # jobs that a listed figure is worth beside those on record (common practice, no source)
LEVELS = (0.1, 0.5, 0.9)
FEWEST = 40  # later jobs without which nothing is learned of a level
FEWEST_CHARGES = 10
AS_TOLD = 200.0  # later jobs that the levels as told are worth beside those that teach


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


def billing(minutes: NDArray[np.float64], charged: NDArray[np.float64], rate: float) -> tuple[float, float]:
    """What a workshop bills for labour: money for coming, and money a minute.

    Parameters
    ----------
    minutes, charged
        Of jobs; NaN = not recorded.
    rate
        Money a minute where charges are recorded of fewer than ``FEWEST_CHARGES`` jobs.

    Notes
    -----
    The least-squares line; neither of the two is below 0.
    """
    known = np.isfinite(minutes) & np.isfinite(charged)
    took, money = minutes[known], charged[known]
    if known.sum() < FEWEST_CHARGES:
        return 0.0, rate
    spread = took.var(ddof=1)
    a_minute = max(float(np.cov(took, money)[0, 1] / spread), 0.0) if spread > 0 else 0.0
    return max(float(money.mean() - a_minute * took.mean()), 0.0), a_minute


def learn_shifts(told: NDArray[np.float64], amounts: NDArray[np.float64]) -> list[float]:
    """How far each level has to be moved so that its share of later jobs stays below it.

    Parameters
    ----------
    told
        ``[job, level]``: P10, P50 and P90 as told.
    amounts
        What each job came to; NaN = not known, left out.

    Returns
    -------
    list of float
        For each level, to be added to log(1 + amount), drawn towards 0; empty where jobs are too few for a level.
    """
    known = np.isfinite(amounts)
    apart = np.sort(np.log1p(amounts[known])[:, None] - np.log1p(told[known]), axis=0)
    if len(apart) < FEWEST:
        return []
    places = [int(np.ceil((len(apart) + 1) * level)) - 1 for level in LEVELS]
    share = len(apart) / (len(apart) + AS_TOLD)
    return [share * float(apart[min(place, len(apart) - 1), number]) for number, place in enumerate(places)]


def shifted(told: Sequence[float], shifts: Sequence[float]) -> tuple[float, float, float]:
    """Move each level by what was learned of it; levels stay in order, none falls below 0."""
    if not shifts:
        low, middle, high = told
        return low, middle, high
    moved = np.maximum(np.expm1(np.log1p(told) + np.array(shifts)), 0.0)
    low, middle, high = np.maximum.accumulate(moved).tolist()
    return low, middle, high


def learn_chances(told: NDArray[np.float64], happened: NDArray[np.bool_]) -> tuple[float, float]:
    """Intercept and slope, in log-odds, that bring chances told into line with what happened (Platt 1999).

    Each weighs as if it were known to be 0 and 1 from ``FEWEST`` jobs; (0, 1) = as told.
    """
    x, y = _log_odds(told), happened.astype(float)
    prior, beta = FEWEST / 4 * np.eye(2), np.array([0.0, 1.0])
    design = np.column_stack([np.ones_like(x), x])
    for _ in range(25):
        p = 1 / (1 + np.exp(-design @ beta))
        gradient = design.T @ (y - p) - prior @ (beta - np.array([0.0, 1.0]))
        beta = beta + np.linalg.solve(design.T @ (design * (p * (1 - p))[:, None]) + prior, gradient)
    return float(beta[0]), float(beta[1])


def brought_into_line(chance: float, learned: tuple[float, float]) -> float:
    """Chance told, as `learn_chances` corrects it."""
    if not 0 < chance < 1:
        return chance
    return float(1 / (1 + np.exp(-(learned[0] + learned[1] * _log_odds(np.array([chance]))[0]))))


def _log_odds(chance: NDArray[np.float64]) -> NDArray[np.float64]:
    kept = np.clip(chance, 1e-3, 1 - 1e-3)
    odds: NDArray[np.float64] = np.log(kept) - np.log1p(-kept)
    return odds


def weighted_quantiles(
    amounts: NDArray[np.float64], weights: NDArray[np.float64], levels: Sequence[float]
) -> list[float]:
    """Smallest amount whose weight, with that of all smaller ones, reaches each level of the whole."""
    order = np.argsort(amounts, kind="stable")
    reached = np.cumsum(weights[order]) / weights.sum()
    places = np.minimum(np.searchsorted(reached, np.array(levels) - 1e-12), len(amounts) - 1)
    return [float(amount) for amount in amounts[order][places]]
