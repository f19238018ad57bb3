"""Follow-up that is not over yet: how long until a return, when some have not been watched for long.

Times are days (or any unit, the same throughout); an event at a time at which others leave the watch happens while
those are still watched.
"""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from models.statistics.intervals import wilson

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

INCIDENCE = ("event", "days", "at_risk", "events", "survival", "incidence", "se", "low", "high")


class Estimate(NamedTuple):
    """A share with its interval; all NaN when the follow-up does not reach that far."""

    rate: float
    low: float
    high: float


def kaplan_meier(
    days: ArrayLike, event: ArrayLike, *, entry: ArrayLike | None = None, confidence: float = 0.95
) -> pd.DataFrame:
    """Share that has had no event yet, by time.

    Parameters
    ----------
    days
        Time to the event, or to the end of watching. Not NaN, not negative.
    event
        True: the event happened then; false: watching ended.
    entry
        Time at which each came under watch, when that is later than 0 (left truncation).
    confidence
        Of the pointwise interval (log–log form, within 0 and 1).

    Returns
    -------
    DataFrame
        One row a time with an event: days, at_risk, events, survival, se (Greenwood), low, high.

    Notes
    -----
    Greenwood's variance is S² Σ d / (n (n − d)). Checked against NIST/SEMATECH e-Handbook 8.2.1.5 and Freireich 1963.
    """
    time, happened = _pair(days, event)
    begin = np.zeros_like(time) if entry is None else np.asarray(entry, dtype=float)
    at, counts = np.unique(time[happened], return_counts=True)
    at_risk = _at_risk(time, begin, at)
    survival = np.cumprod(1 - counts / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(counts / (at_risk * (at_risk - counts)))
        se = np.where(survival > 0, survival * np.sqrt(greenwood), 0.0)
        spread = _z(confidence) * np.sqrt(greenwood) / np.log(survival)
        low = np.where(survival > 0, survival ** np.exp(-spread), 0.0)
        high = np.where(survival > 0, survival ** np.exp(spread), 0.0)
    return pd.DataFrame(
        {"days": at, "at_risk": at_risk, "events": counts, "survival": survival, "se": se, "low": low, "high": high}
    )


def well_followed(days: ArrayLike, event: ArrayLike) -> float:
    """Give the last day to which a quarter of those without an event were watched.

    A curve is read, and compared, up to there: beyond it few are left, and one event moves it far.

    Parameters
    ----------
    days, event
        As for `kaplan_meier`.

    Returns
    -------
    float
        NaN when every case has had its event.
    """
    time, happened = _pair(days, event)
    watched = np.sort(time[~happened])
    return float(watched[len(watched) - -(-len(watched) // 4)]) if len(watched) else float("nan")


def survival_at(
    days: ArrayLike,
    event: ArrayLike,
    at: float,
    *,
    entry: ArrayLike | None = None,
    settled: tuple[ArrayLike, ArrayLike] | None = None,
    confidence: float = 0.95,
) -> Estimate:
    """Share without an event up to and including one day.

    The interval is Wilson's for the effective number of cases n* = S(1 − S) / Var(S): without unfinished follow-up
    that is the plain Wilson interval, and it stays honest when no event has been seen (then n* is the number still
    watched).

    Parameters
    ----------
    days, event, entry, confidence
        As for `kaplan_meier`.
    at
        The day asked about.
    settled
        Days and events of others watched to the end: where nobody here was watched up to ``at``, the stretch from the
        last day reached is theirs.

    Returns
    -------
    Estimate
        NaN throughout when nobody was watched up to ``at``, the curve is not yet 0 and nothing is settled.
    """
    time, happened = _pair(days, event)
    reached = float(time.max(initial=0.0))
    if settled is not None and reached < at:
        return _carried_on(survival_at(time, happened, reached, entry=entry), settled, reached, at, confidence)
    curve = kaplan_meier(time, happened, entry=entry, confidence=confidence)
    before = curve[curve["days"] <= at]
    share = float(before["survival"].iloc[-1]) if len(before) else 1.0
    begin = np.zeros_like(time) if entry is None else np.asarray(entry, dtype=float)
    still = int(((time >= at) & ((begin < at) | (begin == 0))).sum())
    if still == 0 and share > 0:
        return Estimate(float("nan"), float("nan"), float("nan"))
    variance = float(before["se"].iloc[-1]) ** 2 if len(before) else 0.0
    if share <= 0:
        effective = float(len(time))
    elif variance > 0:
        effective = share * (1 - share) / variance
    else:
        effective = float(still)
    low, high = wilson(share * effective, effective, confidence)
    return Estimate(share, low, high)


def _carried_on(
    so_far: Estimate, settled: tuple[ArrayLike, ArrayLike], reached: float, at: float, confidence: float
) -> Estimate:
    """Carry a share on from the last day reached by the share of others that came through the rest of the way."""
    time, happened = _pair(*settled)
    begun = int(((time > reached) | ((time == reached) & ~happened)).sum())
    lost = int((happened & (time > reached) & (time <= at)).sum())
    if begun == 0 or so_far.rate != so_far.rate:
        return Estimate(float("nan"), float("nan"), float("nan"))
    rate = so_far.rate * (begun - lost) / begun
    low, high = (so_far.rate * limit for limit in wilson(begun - lost, begun, confidence))
    # limits of a product of two independent shares, each from its own distance to its limits (Zou & Donner 2008)
    tail = (begun - lost) / begun
    down = ((so_far.rate - so_far.low) * tail) ** 2 + (rate - low) ** 2
    up = ((so_far.high - so_far.rate) * tail) ** 2 + (high - rate) ** 2
    return Estimate(rate, max(0.0, rate - down**0.5), min(1.0, rate + up**0.5))


def provisional_rate(first_time_fix: pd.DataFrame, window_days: int, confidence: float = 0.95) -> Estimate:
    """First-time-fix rate of a month that is not over, from what is known so far.

    An episode not fixed at its first visit fails on day 0, one that came back fails on that day, one not yet known is
    watched up to today: the Kaplan–Meier share that has not failed by the end of the window.

    Parameters
    ----------
    first_time_fix
        Rows of the mart: status, why, days_to_return, days_followed. Rows that are not counted are passed over.
    window_days
        The callback window W.
    """
    counted = first_time_fix[first_time_fix["status"] != "not counted"]
    failed = (counted["status"] == "not fixed first time").to_numpy()
    came_back = (counted["why"] == "came back within the window").to_numpy()
    returned = pd.to_numeric(counted["days_to_return"]).to_numpy(dtype=float)
    followed = np.minimum(pd.to_numeric(counted["days_followed"]).to_numpy(dtype=float), window_days)
    days = np.where(failed, np.where(came_back, returned, 0.0), followed)
    if not len(counted):
        return Estimate(float("nan"), float("nan"), float("nan"))
    return survival_at(days, failed, window_days, confidence=confidence)


def cumulative_incidence(days: ArrayLike, event_code: ArrayLike, confidence: float = 0.95) -> pd.DataFrame:
    """Share that has had each kind of event, by time, when one kind rules out the others (Aalen–Johansen).

    Parameters
    ----------
    days
        Time to the first event of any kind, or to the end of watching.
    event_code
        Name or number of the event; 0, "", "none yet", NaN and None mean that watching ended.

    Returns
    -------
    DataFrame
        One row an event kind and time with an event of any kind: event, days, at_risk, events, survival (no event of
        any kind), incidence, se, low, high (log–log form). At every time survival + Σ incidence = 1.

    Notes
    -----
    Treating the other kinds as censored (1 − Kaplan–Meier) overstates. Checked against Satagopan et al. 2004, British
    Journal of Cancer 91, 1229–1235, Table 2. Variance by the delta method (Marubini & Valsecchi 1995, equation 10.12,
    from memory; it agrees with an independent solver in the tests).
    """
    time = np.asarray(days, dtype=float)
    codes = pd.Series(np.asarray(event_code, dtype=object))
    ended = codes.isna() | codes.isin([0, "", "none yet"])
    names = sorted(codes[~ended].unique(), key=str)
    at = np.unique(time[~ended.to_numpy()])
    at_risk = _at_risk(time, np.zeros_like(time), at)
    counts = {
        name: np.array(
            np.bincount(np.searchsorted(at, time[(codes == name).to_numpy()]), minlength=len(at)), dtype=float
        )
        for name in names
    }
    every = sum(counts.values(), np.zeros(len(at)))
    survival = np.cumprod(1 - every / at_risk)
    before = np.concatenate([[1.0], survival[:-1]])[: len(at)]
    frames = []
    for name in names:
        here = counts[name]
        incidence = np.cumsum(before * here / at_risk)
        se = np.sqrt(np.maximum(_incidence_variance(incidence, before, here, every, at_risk), 0))
        columns = (name, at, at_risk, here.astype(int), survival, incidence, se, *_log_log(incidence, se, confidence))
        frames.append(pd.DataFrame(dict(zip(INCIDENCE, columns, strict=True))))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=INCIDENCE)


def incidence_at(
    days: ArrayLike, event_code: ArrayLike, event: Any, at: ArrayLike, confidence: float = 0.95
) -> pd.DataFrame:
    """Share that has had one kind of event up to and including each of some days, with an interval.

    The curve is that of `cumulative_incidence`; the interval is Wilson's for the effective number of cases, as in
    `survival_at`: before the first event it is that of none among those still watched, not zero wide.

    Parameters
    ----------
    days, event_code
        As for `cumulative_incidence`.
    event
        The kind of event.
    at
        Days asked about.

    Returns
    -------
    DataFrame
        One row a day asked: day, incidence, low, high; NaN beyond the last day anybody was watched.
    """
    time, asked = np.asarray(days, dtype=float), np.atleast_1d(np.asarray(at, dtype=float))
    curve = cumulative_incidence(time, event_code, confidence)
    rows = curve[curve["event"] == event]
    place = np.searchsorted(rows["days"].to_numpy(dtype=float), asked, side="right")
    incidence = np.concatenate([[0.0], rows["incidence"].to_numpy(dtype=float)])[place]
    variance = np.concatenate([[0.0], rows["se"].to_numpy(dtype=float)])[place] ** 2
    still = _at_risk(time, np.zeros_like(time), asked)
    has_spread = variance > 0
    effective = np.where(has_spread, incidence * (1 - incidence) / np.where(has_spread, variance, 1.0), still)
    low, high = wilson(incidence * effective, effective, confidence)
    is_watched = asked <= time.max(initial=-1.0)
    shares = {"incidence": incidence, "low": low, "high": high}
    return pd.DataFrame({"day": asked, **{name: np.where(is_watched, told, np.nan) for name, told in shares.items()}})


def mean_cumulative(
    unit: ArrayLike,
    days: ArrayLike,
    is_event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    at: ArrayLike | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Mean number of repairs a machine has had by an age (mean cumulative function).

    Parameters
    ----------
    unit, days, is_event
        One row an event or an end of watch: the machine, its age then, and whether it is an event. A machine's watch
        ends at its highest age given. Two events of one machine at one age both count.
    entry
        On each row, the age at which that machine came under watch (its smallest value counts); default 0.
    at
        Ages to report; default: every age with an event.

    Returns
    -------
    DataFrame
        days, at_risk, mean, se (robust), low, high (log form, not below 0).

    Notes
    -----
    M(t) = Σ d / n. Robust variance of Lawless & Nadeau 1995, Technometrics 37, 158–168, which does not assume that
    repairs of one machine are independent. Checked on the valve seats of Nelson 1995, Technometrics 37, 147–157.
    """
    code, _ = pd.factorize(np.asarray(unit))
    age, happened = _pair(days, is_event)
    number = int(code.max()) + 1 if len(code) else 0
    end = np.zeros(number)
    np.maximum.at(end, code, age)
    begin = np.zeros(number)
    if entry is not None:
        begin = np.full(number, np.inf)
        np.minimum.at(begin, code, np.asarray(entry, dtype=float))
    times, counts = np.unique(age[happened], return_counts=True)
    at_risk = _at_risk(end, begin, times)
    wanted = times if at is None else np.asarray(at, dtype=float)
    mean = np.concatenate([[0.0], np.cumsum(counts / at_risk)])[np.searchsorted(times, wanted, side="right")]
    se = _robust_se(code[happened], age[happened], begin, end, wanted)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(mean > 0, np.exp(_z(confidence) * se / mean), 1.0)
    still = np.array([((end >= t) & ((begin < t) | (begin == 0))).sum() for t in wanted], dtype=int)
    return pd.DataFrame(
        {"days": wanted, "at_risk": still, "mean": mean, "se": se, "low": mean / factor, "high": mean * factor}
    )


def _robust_se(code: NDArray[np.intp], age: Floats, begin: Floats, end: Floats, wanted: Floats) -> Floats:
    """Deviation of a mean cumulative function by each age wanted: of every machine, what it had less what was expected.

    ``code`` and ``age`` are the machine and age of each event, ``begin`` and ``end`` each machine's watch.
    """
    times, counts = np.unique(age, return_counts=True)
    at_risk = _at_risk(end, begin, times)
    expected = np.concatenate([[0.0], np.cumsum(counts / at_risk**2)])
    start = np.where(begin == 0, 0, np.searchsorted(times, begin, side="right"))
    stop = np.searchsorted(times, end, side="right")
    weight = 1 / at_risk[np.searchsorted(times, age)] if len(times) else np.zeros(0)
    se = np.empty(len(wanted))
    for place, until in enumerate(np.searchsorted(times, wanted, side="right")):
        reached = expected[np.clip(stop, 0, until)] - expected[np.clip(start, 0, until)]
        seen = np.bincount(code, weights=weight * (age <= wanted[place]), minlength=len(end))
        se[place] = np.sqrt(((seen - np.maximum(reached, 0)) ** 2).sum())
    return se


def _incidence_variance(incidence: Floats, before: Floats, here: Floats, every: Floats, at_risk: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.where(at_risk > every, every / (at_risk * (at_risk - every)), 0.0)
    own = before**2 * here * (at_risk - here) / at_risk**3
    cross = before * here / at_risk**2
    # Σ_i (F(t) − F_i)² h_i + Σ_i own_i − 2 Σ_i (F(t) − F_i) cross_i, opened so that each sum runs once
    first = incidence**2 * np.cumsum(hazard) - 2 * incidence * np.cumsum(hazard * incidence)
    first += np.cumsum(hazard * incidence**2)
    variance = first + np.cumsum(own) - 2 * (incidence * np.cumsum(cross) - np.cumsum(cross * incidence))
    return np.asarray(variance, dtype=float)


def _log_log(share: Floats, se: Floats, confidence: float) -> tuple[Floats, Floats]:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        spread = _z(confidence) * se / (share * np.log(share))
        low, high = share ** np.exp(-spread), share ** np.exp(spread)
    plain = (share <= 0) | (share >= 1)
    return np.where(plain, share, low), np.where(plain, share, high)


def _at_risk(end: Floats, begin: Floats, at: Floats) -> Floats:
    left = np.searchsorted(np.sort(end), at, side="left")
    # who came under watch at 0 is watched from the start, also on day 0
    begun = np.searchsorted(np.sort(np.where(begin == 0, -1.0, begin)), at, side="left")
    return np.asarray(begun - left, dtype=float)


def _pair(days: ArrayLike, event: ArrayLike) -> tuple[Floats, NDArray[np.bool_]]:
    time = np.asarray(days, dtype=float)
    if np.isnan(time).any() or (time < 0).any():
        raise ValueError("times are numbers that are not negative")
    happened = np.asarray(event).astype(bool)
    if happened.shape != time.shape:
        raise ValueError("times and events differ in length")
    return time, happened


def _z(confidence: float) -> float:
    return NormalDist().inv_cdf((1 + confidence) / 2)
