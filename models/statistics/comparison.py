"""Fair comparison of technicians, makes or months: like cases with like, and no more blame than chance leaves over.

Never a bare league table: each row says where it stands among the limits that chance alone would allow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.special import betainc, betaln
from scipy.stats import binom

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
FEWEST = 10
WEAKEST, STRONGEST, STRENGTHS = 2.0, 10_000.0, 60  # of the pooling, in cases


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
    r = binom.ppf(p, size, rate)
    at, under = binom.cdf(r, size, rate), binom.cdf(r - 1, size, rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        alpha = np.where(at > under, (at - p) / (at - under), 0.0)
    return np.asarray(np.clip((r - alpha) / size, 0.0, 1.0), dtype=float)


def funnel_limits(n: ArrayLike, target: ArrayLike, widen: float = 1.0) -> pd.DataFrame:
    """Limits within which chance alone keeps a rate: 95 % and 99.8 %.

    The upper limit is the mirror of the lower one of the complement, so that a rate and its complement flag the same
    people; the single formula used on both sides would flag one in eleven at n = 20 with nothing wrong.

    Parameters
    ----------
    n, target
        As in `lower_limit`.
    widen
        √φ of `over_dispersion`: the distances from the target are multiplied by it.

    Returns
    -------
    DataFrame
        n, target, low_998, low_95, high_95, high_998, all within 0 and 1.
    """
    size, rate = np.broadcast_arrays(np.asarray(n, dtype=float), np.asarray(target, dtype=float))

    def moved(limit: Floats) -> Floats:
        return np.asarray(np.clip(rate + widen * (limit - rate), 0.0, 1.0), dtype=float)

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


def standardise(
    cases: pd.DataFrame, unit: str, strata: Sequence[str], hit: str, weights: pd.Series | None = None
) -> pd.DataFrame:
    """Compare units as if they had met the same mix of cases.

    Parameters
    ----------
    cases
        One row a case.
    unit
        Column of who or what is compared; rows without it are passed over.
    strata
        Columns that make cases alike (kind, complaint, age band); a missing value is a stratum of its own.
    hit
        Column of 0 and 1, or booleans: the case counts as a hit.
    weights
        Weight of each stratum for the direct rate, by a frame index of the strata; default: all cases there are.

    Returns
    -------
    DataFrame
        One row a unit: unit, n, observed, expected (n × the stratum's pooled rate, summed), ratio (observed /
        expected), crude, indirect (ratio × overall rate), direct (weighted rate over the strata the unit met; NaN
        where it met no case of a stratum with weight).
    """
    met = cases[cases[unit].notna()]
    keys = [met[name].astype(object).where(met[name].notna(), "not known") for name in strata]
    stratum = pd.MultiIndex.from_arrays(keys) if keys else pd.MultiIndex.from_arrays([np.zeros(len(met))])
    code, levels = pd.factorize(stratum)
    value = met[hit].astype(float).to_numpy()
    size = np.bincount(code, minlength=len(levels)).astype(float)
    pooled = np.bincount(code, weights=value, minlength=len(levels)) / np.maximum(size, 1)
    share = size / max(size.sum(), 1)
    if weights is not None:
        share = weights.reindex(pd.MultiIndex.from_tuples(levels)).fillna(0).to_numpy(dtype=float)
        share = share / share.sum()
    who, names = pd.factorize(met[unit], sort=True)
    cell = (
        pd.DataFrame({"who": who, "code": code, "value": value}).groupby(["who", "code"])["value"].agg(["sum", "count"])
    )
    cell = cell.reset_index()
    rate = (cell["sum"] / cell["count"]).to_numpy()
    met_weight = np.bincount(cell["who"], weights=share[cell["code"]], minlength=len(names))
    direct = np.bincount(cell["who"], weights=share[cell["code"]] * rate, minlength=len(names))
    n = np.bincount(who, minlength=len(names)).astype(float)
    observed = np.bincount(who, weights=value, minlength=len(names))
    expected = np.bincount(who, weights=pooled[code], minlength=len(names))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(expected > 0, observed / expected, np.nan)
        complete = np.where(np.isclose(met_weight, 1.0), direct, np.nan)
    overall = value.mean() if len(value) else np.nan
    return pd.DataFrame(
        {
            "unit": names,
            "n": n.astype(int),
            "observed": observed.astype(int),
            "expected": expected,
            "ratio": ratio,
            "crude": observed / np.maximum(n, 1),
            "indirect": np.clip(ratio * overall, 0, 1),
            "direct": complete,
        }
    )


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
        return _unlikely(hits, size, _centre(hits, size, target, strength), strength)

    best = minimize_scalar(loss, bounds=(np.log(WEAKEST), np.log(STRONGEST)), method="bounded")
    strength = float(np.exp(best.x))
    mean = _centre(hits, size, target, strength)
    return (hits + mean * strength) / (size + strength), strength


def shrink(x: ArrayLike, n: ArrayLike, target: ArrayLike | None = None, confidence: float = 0.95) -> pd.DataFrame:
    """Partially pooled rates: small groups lean on the others, large ones stand for themselves.

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
    means = [_centre(hits, size, target, float(strength)) for strength in strengths]
    loss = np.array([_unlikely(hits, size, m, float(s)) for m, s in zip(means, strengths, strict=True)])
    # the strengths are evenly spaced in log; equal weight in the deviation √(m(1 − m)/(s + 1)) means s / (s + 1)^1.5
    weight = np.exp(loss.min() - loss) * strengths / (strengths + 1) ** 1.5
    weight /= weight.sum()
    alpha = np.array([hits + m * s for m, s in zip(means, strengths, strict=True)])
    beta = np.array([size - hits + (1 - m) * s for m, s in zip(means, strengths, strict=True)])
    tail = (1 - confidence) / 2
    return pd.DataFrame(
        {
            "rate": weight @ (alpha / (alpha + beta)),
            "low": _mixed_quantile(tail, weight, alpha, beta),
            "high": _mixed_quantile(1 - tail, weight, alpha, beta),
        }
    )


def compare(cases: pd.DataFrame, unit: str, strata: Sequence[str], hit: str) -> pd.DataFrame:
    """Compare units fairly: case mix, funnel, partly pooled estimate, and plain words.

    Parameters
    ----------
    cases, unit, strata, hit
        As in `standardise`.

    Returns
    -------
    DataFrame
        The columns of `standardise`, and: target (rate expected of its own cases), low_998, low_95, high_95, high_998
        (limits around the target for its n, widened when groups differ by more than chance), rate, low, high (partly
        pooled toward the target), said. Groups under 10 cases: "too few to compare", whatever their rate.

    Notes
    -----
    The expected counts include the unit itself, and cases of one unit with unequal chances vary a little less than
    the binomial: both make the limits slightly wide, never narrow.
    """
    table = standardise(cases, unit, strata, hit)
    if table.empty:
        extra = ["target", "low_998", "low_95", "high_95", "high_998", "rate", "low", "high", "said"]
        return table.assign(**{name: pd.Series(dtype=object if name == "said" else float) for name in extra})
    target = (table["expected"] / table["n"]).to_numpy()
    se = np.sqrt(np.maximum(target * (1 - target), 1e-12) / table["n"])
    enough = (table["n"] >= FEWEST).to_numpy()
    phi = over_dispersion(((table["crude"] - target) / se)[enough])
    limits = funnel_limits(table["n"], target, widen=float(np.sqrt(max(1.0, phi))))
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
    return table.assign(
        target=target,
        **{name: limits[name].to_numpy() for name in ("low_998", "low_95", "high_95", "high_998")},
        **{name: pooled[name].to_numpy() for name in ("rate", "low", "high")},
        said=said,
    )


def _counts(x: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    hits, size = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(n, dtype=float))
    return hits, size


def _centre(hits: Floats, size: Floats, target: ArrayLike | None, strength: float) -> Floats:
    if target is not None:
        given = np.clip(np.asarray(target, dtype=float), 1e-6, 1 - 1e-6)
        return np.asarray(np.broadcast_to(given, hits.shape), dtype=float)
    found = minimize_scalar(
        lambda mean: _unlikely(hits, size, np.full(hits.shape, mean), strength),
        bounds=(1e-6, 1 - 1e-6),
        method="bounded",
    )
    return np.full(hits.shape, float(found.x))


def _mixed_quantile(p: float, weight: Floats, alpha: Floats, beta: Floats) -> Floats:
    """Quantile of a mixture of beta distributions, by halving: weight a part, alpha and beta part × group."""
    low, high = np.zeros(alpha.shape[1]), np.ones(alpha.shape[1])
    for _ in range(40):
        middle = (low + high) / 2
        is_below = weight @ betainc(alpha, beta, middle) < p
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    return np.asarray((low + high) / 2, dtype=float)


def _unlikely(hits: Floats, size: Floats, mean: Floats, strength: float) -> float:
    alpha, beta = mean * strength, (1 - mean) * strength
    return -float((betaln(alpha + hits, beta + size - hits) - betaln(alpha, beta)).sum())
