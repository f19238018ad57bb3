"""Fair comparison of technicians, makes or months: like cases with like, and no more blame than chance leaves over.

Never a bare league table: each row says where it stands among the limits that chance alone would allow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.special import bdtrik, betainc, betaincc, betaln, chdtrc

from models.statistics.intervals import FEWEST_FOR_RATE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

INSIDE = "inside what chance allows"
EDGE_LOW = "low, at the edge of what chance allows"
EDGE_HIGH = "high, at the edge of what chance allows"
BELOW = "lower than chance allows"
ABOVE = "higher than chance allows"
TOO_FEW = "too few to compare"
SURE = 0.05
LEAST = 0.005  # no case is without any chance
WEAKEST, STRONGEST, STRENGTHS = 2.0, 10_000.0, 60  # of the pooling, in cases
HALVINGS = 26  # a quantile is found to 1e-8


def lower_limit(n: ArrayLike, target: ArrayLike, p: float) -> Floats:
    """Lower funnel limit of a rate: the exact binomial quantile, interpolated so that it moves smoothly with n.

    Parameters
    ----------
    n
        Size of each group, at least 1.
    target
        The rate expected, between 0 and 1.
    p
        Chance of falling below when nothing is wrong, 0.025 or 0.001.

    Notes
    -----
    Spiegelhalter 2005, Statistics in Medicine 24, 1185–1202: r the smallest count with F(r) ≥ p, α = (F(r) − p) /
    (F(r) − F(r − 1)), limit (r − α) / n.
    """
    size, rate = np.broadcast_arrays(np.asarray(n, dtype=float), np.asarray(target, dtype=float))
    r = np.nan_to_num(np.ceil(bdtrik(p, size, rate)))  # none of a rate of 0
    r = np.where(_at_most(r - 1, size, rate) >= p, np.maximum(r - 1, 0), r)  # it may be off by rounding
    at, under = _at_most(r, size, rate), _at_most(r - 1, size, rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        alpha = np.where(at > under, (at - p) / (at - under), 0.0)
    return np.asarray(np.clip((r - alpha) / size, 0.0, 1.0), dtype=float)


def _at_most(count: Floats, size: Floats, rate: Floats) -> Floats:
    """Binomial chance of so many or fewer; none below 0, sure from all on."""
    inside = np.clip(count, 0, size - 1)
    chance = betaincc(inside + 1, size - inside, rate)
    return np.where(count < 0, 0.0, np.where(count >= size, 1.0, chance))


def funnel_limits(n: ArrayLike, target: ArrayLike, widen: ArrayLike = 1.0) -> pd.DataFrame:
    """Limits within which chance alone keeps a rate: 95 % and 99.8 %.

    The upper limit is the mirror of the lower one of the complement, so that a rate and its complement flag the same
    people; the single formula used on both sides would flag one in eleven at n = 20 with nothing wrong.

    Parameters
    ----------
    n, target
        As in `lower_limit`.
    widen
        What the distances from the target are multiplied by, such as √φ of `over_dispersion`.

    Returns
    -------
    DataFrame
        n, target, low_998, low_95, high_95, high_998, all within 0 and 1.
    """
    size, rate = np.broadcast_arrays(np.asarray(n, dtype=float), np.asarray(target, dtype=float))

    def moved(limit: Floats) -> Floats:
        return np.asarray(np.clip(rate + np.asarray(widen) * (limit - rate), 0.0, 1.0), dtype=float)

    return pd.DataFrame(
        {
            "n": np.atleast_1d(size),
            "target": np.atleast_1d(rate),
            "low_998": np.atleast_1d(moved(lower_limit(size, rate, 0.001))),
            "low_95": np.atleast_1d(moved(lower_limit(size, rate, 0.025))),
            "high_95": np.atleast_1d(moved(1 - lower_limit(size, 1 - rate, 0.025))),
            "high_998": np.atleast_1d(moved(1 - lower_limit(size, 1 - rate, 0.001))),
        }
    )


def over_dispersion(z: ArrayLike, winsorised: float = 0.1) -> float:
    """How much more groups differ than by chance: φ, the mean z², extremes drawn in; 1 or less = no more than chance.

    Parameters
    ----------
    z
        Standardised distance of each group from its target.
    winsorised
        Share at each end that is set to the value at that quantile.

    Notes
    -----
    Spiegelhalter 2005, section 5 (the formula is met in public code; the paper itself was not seen).
    """
    values = np.asarray(z, dtype=float)
    if values.size < 2:
        return 1.0
    low, high = np.quantile(values, [winsorised, 1 - winsorised])
    return float(np.mean(np.clip(values, low, high) ** 2))


@dataclass(frozen=True)
class _Step:
    """One thing that makes cases alike: the cases it is known of, their groups, and how much those lean on the rest."""

    known: NDArray[np.intp]
    group: NDArray[np.intp]
    parent: NDArray[np.intp]
    parent_of: NDArray[np.intp]
    leaning: float


def _steps(cases: pd.DataFrame, strata: Sequence[Sequence[str]], value: Floats) -> list[_Step]:
    """Lay out the strata, with the leaning that the cases themselves speak for."""
    steps: list[_Step] = []
    everybody = np.ones(len(cases))
    for columns in strata:
        codes = np.column_stack([pd.factorize(cases[name])[0] for name in columns])
        known = np.flatnonzero((codes >= 0).all(axis=1))
        parent = np.zeros(len(known), dtype=np.int64)
        for column in codes[known, :-1].T:
            parent = _joined(parent, column)
        _, first, group = np.unique(parent * len(cases) + codes[known, -1], return_index=True, return_inverse=True)
        step = _Step(known, group, parent, parent[first], STRONGEST)
        chance = _chances(value, steps, everybody)
        steps.append(replace(step, leaning=_leaning(step, value[known] - chance[known], chance[known])))
    return steps


def _joined(group: NDArray[np.intp], code: NDArray[np.intp]) -> NDArray[np.intp]:
    """Number the pairs of two numbers: one whole number each is sorted much sooner than rows are."""
    joined: NDArray[np.intp] = np.unique(group * (code.max(initial=0) + 1) + code, return_inverse=True)[1]
    return joined


def _leaning(step: _Step, beyond: Floats, chance: Floats) -> float:
    """How many cases of the wider group each group leans on: chance in one case over what the groups differ by."""
    if not len(step.known):
        return STRONGEST
    size, noise = np.bincount(step.group).astype(np.float64), max(float((chance * (1 - chance)).mean()), 1e-9)
    of_parent = np.bincount(step.parent)
    mean = np.bincount(step.group, weights=beyond) / size
    centre = (np.bincount(step.parent, weights=beyond) / of_parent)[step.parent_of]
    spread = float((size * (mean - centre) ** 2).sum()) / noise
    free = len(size) - len(of_parent)
    room = float(size.sum() - (np.bincount(step.parent_of, weights=size**2) / of_parent).sum())
    return float(np.clip(room / max(spread - free, 1e-9), WEAKEST, STRONGEST))


def _chances(value: Floats, steps: Sequence[_Step], counts: Floats) -> Floats:
    """Chance of every case, learned from the cases that count (1) and not from the others (0)."""
    chance = np.full(len(value), np.average(value, weights=counts))
    for step in steps:
        known, group = step.known, step.group
        size = np.bincount(group, weights=counts[known])
        beyond = np.bincount(group, weights=counts[known] * (value[known] - chance[known])) / (size + step.leaning)
        of_parent = np.bincount(step.parent_of, weights=size)
        usual = np.bincount(step.parent_of, weights=size * beyond) / np.maximum(of_parent, 1)
        chance[known] += (beyond - usual[step.parent_of])[group]
    return np.clip(chance, LEAST, 1 - LEAST)


def _weights(own: NDArray[np.bool_], steps: Sequence[_Step], counts: Floats) -> Floats:
    """What the outcome of each case that counts adds to the sum of the chances of one's own: `_chances` backwards."""
    asked, weight = own.astype(np.float64), np.zeros(len(own))
    for step in reversed(steps):
        known, group = step.known, step.group
        size = np.bincount(group, weights=counts[known])
        of_parent = np.maximum(np.bincount(step.parent_of, weights=size), 1)
        usual = np.bincount(step.parent, weights=asked[known]) / of_parent
        through = (np.bincount(group, weights=asked[known]) - size * usual[step.parent_of]) / (size + step.leaning)
        weight[known] += counts[known] * through[group]
        asked[known] -= counts[known] * through[group]
    return np.asarray(weight + counts * asked.sum() / counts.sum(), dtype=float)


def standardise(cases: pd.DataFrame, unit: str, strata: Sequence[Sequence[str]], hit: str) -> pd.DataFrame:
    """Compare units with what the others would have made of the same mix of cases.

    Parameters
    ----------
    cases
        One row a case.
    unit
        Column of who or what is compared; rows without it are passed over.
    strata
        What makes cases alike, as steps from the widest: ("kind",), ("kind", "complaint"), ("age",). Each moves the
        chance of its groups from what the steps before made of them; one of several columns within the group of all
        but its last. A case that lacks a value is not moved: it is held against all that agree in what is known.
    hit
        Column of 0 and 1, or booleans.

    Returns
    -------
    DataFrame
        One row a unit: unit, n, observed, expected (sum of its cases' chances, learned from all others' cases),
        variance (of the observed count, had each case its chance), unsure (variance of the expected count), ratio
        (observed / expected), crude, indirect (ratio × overall rate). A unit that is alone is held against itself.

    Notes
    -----
    Own work is left out, else who does most of a kind of work is held against himself. A group of few cases says
    little: each leans on the wider one by as many cases as their spread beyond chance speaks for (moments: DerSimonian
    & Laird 1986, Controlled Clinical Trials 7, 177–188; from memory).
    """
    met = cases[cases[unit].notna()].reset_index(drop=True)
    value = met[hit].to_numpy(dtype=np.float64)
    steps = _steps(met, strata, value) if len(met) else []
    who, names = pd.factorize(met[unit], sort=True)
    rows = []
    for number, name in enumerate(names):
        own = who == number
        counts = (~own).astype(np.float64) if len(names) > 1 else np.ones(len(met))
        chance = _chances(value, steps, counts)
        spread, expected = chance * (1 - chance), float(chance[own].sum())
        unsure = float((_weights(own, steps, counts) ** 2 * spread).sum()) if len(names) > 1 else 0.0
        rows.append((name, int(own.sum()), int(value[own].sum()), expected, float(spread[own].sum()), unsure))
    table = pd.DataFrame(rows, columns=["unit", "n", "observed", "expected", "variance", "unsure"])
    ratio = table["observed"] / table["expected"]
    overall = value.mean() if len(value) else np.nan
    return table.assign(ratio=ratio, crude=table["observed"] / table["n"], indirect=(ratio * overall).clip(0, 1))


def beta_binomial(x: ArrayLike, n: ArrayLike, target: ArrayLike | None = None) -> tuple[Floats, float]:
    """Lean each group's rate on the others by the likeliest strength.

    Parameters
    ----------
    x, n
        Hits and cases of each group.
    target
        Rate expected of each group (its case mix); default: one common rate, fitted.

    Returns
    -------
    tuple
        Posterior mean of each group, (x + α) / (n + α + β), and the strength α + β: the cases that the common rate is
        worth.

    Notes
    -----
    Beta-binomial by maximum likelihood. The likelihood is flat for few groups: the strength is kept between 2 and
    10,000. Compare Efron & Morris 1975, Journal of the American Statistical Association 70, 311–319.
    """
    hits, size = _counts(x, n)

    def loss(log_strength: float) -> float:
        strength = float(np.exp(log_strength))
        return float(_unlikely(hits, size, _centre(hits, size, target, strength), strength))

    best = minimize_scalar(loss, bounds=(np.log(WEAKEST), np.log(STRONGEST)), method="bounded")
    strength = float(np.exp(best.x))
    mean = _centre(hits, size, target, strength)
    return (hits + mean * strength) / (size + strength), strength


def shrink(x: ArrayLike, n: ArrayLike, target: ArrayLike | None = None, confidence: float = 0.95) -> pd.DataFrame:
    """Partially pooled rates: small groups are shrunk towards the others, large ones stand for themselves.

    Parameters
    ----------
    x, n, target
        As in `beta_binomial`.
    confidence
        Of the interval.

    Returns
    -------
    DataFrame
        rate (posterior mean), low, high.

    Notes
    -----
    Few groups say little about how much groups differ, so the strength of the pooling is not fixed at its likeliest
    value but averaged over, with every standard deviation between groups held equally likely beforehand (Gelman 2006,
    Bayesian Analysis 1, 515–533; from memory). Fixing it gives intervals that are too narrow where groups look alike.
    """
    hits, size = _counts(x, n)
    strengths = np.exp(np.linspace(np.log(WEAKEST), np.log(STRONGEST), STRENGTHS))
    means = np.array([_centre(hits, size, target, float(strength)) for strength in strengths])
    pulled = strengths[:, np.newaxis]
    loss = _unlikely(hits, size, means, pulled)
    # the strengths are evenly spaced in log; equal weight in the deviation √(m(1 − m)/(s + 1)) means s / (s + 1)^1.5
    weight = np.exp(loss.min() - loss) * strengths / (strengths + 1) ** 1.5
    weight /= weight.sum()
    alpha, beta = hits + means * pulled, size - hits + (1 - means) * pulled
    tail = (1 - confidence) / 2
    return pd.DataFrame(
        {
            "rate": weight @ (alpha / (alpha + beta)),
            "low": _mixed_quantile(tail, weight, alpha, beta),
            "high": _mixed_quantile(1 - tail, weight, alpha, beta),
        }
    )


@dataclass(frozen=True)
class Compared:
    """A fair comparison: one row a unit, and what can be said of all together.

    Attributes
    ----------
    table
        The columns of `standardise`, and: target (rate expected of its own cases), low_998, low_95, high_95, high_998
        (limits around the target for its n), rate, low, high (partly pooled toward the target), said. Units under 10
        cases: "too few to compare", whatever their rate.
    compared
        Units with 10 cases or more.
    p_joint
        Chance of differences as large as these, all units together, were they alike; NaN with fewer than two.
    widened
        How many times wider than chance alone would have it limits are drawn at most, because the units differ among
        each other by more than chance; 1 = not at all.
    """

    table: pd.DataFrame
    compared: int
    p_joint: float
    widened: float


def compare(cases: pd.DataFrame, unit: str, strata: Sequence[Sequence[str]], hit: str) -> Compared:
    """Compare units fairly: case mix, funnel, joint test, partly pooled estimate, and plain words.

    Parameters
    ----------
    cases, unit, strata, hit
        As in `standardise`.

    Notes
    -----
    Joint test: Σ of each unit's (observed − expected)² over the variance of that difference, weighted by the share of
    it that is its own cases', against χ² with one degree of freedom less than there are units; with one stratum it is
    Pearson's. Only where it is below 0.05 are the limits widened, by √φ of `over_dispersion` (Spiegelhalter 2005) of
    the other units. They are always as much wider as the expected count is unsure.
    """
    table = standardise(cases, unit, strata, hit)
    enough = (table["n"] >= FEWEST_FOR_RATE).to_numpy()
    variance, unsure = (table[name].to_numpy(dtype=float) for name in ("variance", "unsure"))
    spread = np.maximum(variance + unsure, 1e-9)
    z: Floats = ((table["observed"] - table["expected"]) / np.sqrt(spread)).to_numpy(dtype=float)
    compared = int(enough.sum())
    p_joint = float(chdtrc(compared - 1, (z**2 * variance / spread)[enough].sum())) if compared > 1 else math.nan
    widened = _widened(z, enough) if p_joint < SURE else np.ones(len(table))
    target = (table["expected"] / table["n"]).to_numpy(dtype=float)
    limits = funnel_limits(table["n"], target, widen=widened * np.sqrt(spread / np.maximum(variance, 1e-9)))
    pooled = shrink(table["observed"], table["n"], target)
    crude = table["crude"].to_numpy()
    said = np.select(
        [
            ~enough,
            crude < limits["low_998"],
            crude > limits["high_998"],
            crude < limits["low_95"],
            crude > limits["high_95"],
        ],
        [TOO_FEW, BELOW, ABOVE, EDGE_LOW, EDGE_HIGH],
        INSIDE,
    )
    table = table.assign(
        target=target,
        **{name: limits[name].to_numpy() for name in ("low_998", "low_95", "high_95", "high_998")},
        **{name: pooled[name].to_numpy() for name in ("rate", "low", "high")},
        said=pd.Series(said, index=table.index, dtype=object),
    )
    return Compared(table, compared, p_joint, float(widened.max(initial=1.0)))


def _widened(z: Floats, enough: NDArray[np.bool_]) -> Floats:
    """How much wider each unit's limits are for what the others differ by beyond chance; its own result widens none."""
    others = [np.delete(z, place)[np.delete(enough, place)] for place in range(len(z))]
    return np.sqrt([max(1.0, over_dispersion(some)) for some in others])


def p_of_one_rate(x: ArrayLike, n: ArrayLike) -> float:
    """Chance of shares as different as these, had all groups one rate (Pearson's chi-squared); NaN for one group."""
    hits, size = _counts(x, n)
    if hits.size < 2:
        return math.nan
    rate = hits.sum() / size.sum()
    spread = size * rate * (1 - rate)
    if rate in (0.0, 1.0):
        return 1.0
    return float(chdtrc(hits.size - 1, ((hits - size * rate) ** 2 / spread).sum()))


def _counts(x: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    hits, size = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(n, dtype=float))
    return hits, size


def _centre(hits: Floats, size: Floats, target: ArrayLike | None, strength: float) -> Floats:
    if target is not None:
        given = np.clip(np.asarray(target, dtype=float), 1e-6, 1 - 1e-6)
        return np.asarray(np.broadcast_to(given, hits.shape), dtype=float)
    found = minimize_scalar(
        lambda mean: float(_unlikely(hits, size, np.full(hits.shape, mean), strength)),
        bounds=(1e-6, 1 - 1e-6),
        method="bounded",
    )
    return np.full(hits.shape, float(found.x))


def _mixed_quantile(p: float, weight: Floats, alpha: Floats, beta: Floats) -> Floats:
    """Quantile of a mixture of beta distributions, by halving: weight a part, alpha and beta part × group."""
    low, high = np.zeros(alpha.shape[1]), np.ones(alpha.shape[1])
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        is_below = weight @ betainc(alpha, beta, middle) < p
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    return np.asarray((low + high) / 2, dtype=float)


def _unlikely(hits: Floats, size: Floats, mean: Floats, strength: Floats | float) -> Floats:
    """How unlikely the hits of all groups are; a row of ``mean`` a strength gives one number each."""
    alpha, beta = mean * strength, (1 - mean) * strength
    return np.asarray(-(betaln(alpha + hits, beta + size - hits) - betaln(alpha, beta)).sum(axis=-1))
