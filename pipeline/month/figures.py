"""The four figures of a report and their curves: sums and counts in SQL, intervals and curves from ``models``.

Every function expects the scope's tables to be laid out (``scope.laid_out``) and gives one tidy frame.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from models.statistics.intervals import FEWEST_FOR_RATE
from pipeline.month.scope import Scope, moved

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

LAST_DAY = 90

_FIX_COUNTS = """
    select
        month,
        count(*) filter (where status = 'fixed first time') as fixed,
        count(*) filter (where status in ('fixed first time', 'not fixed first time')) as known,
        count(*) filter (where status = 'not yet known') as not_yet_known
    from report_fault
    where month between $first and $last
    group by month
    order by month
"""

# time to "not fixed at the first visit": at once when the visit did not fix it, else the day of the return;
# a fault fixed so far is watched up to the end of its window, or of follow-up
_FIX_TIMES = """
    select
        month,
        case
            when why = 'came back within the window' then days_to_return
            when status = 'not fixed first time' then 0
            when status = 'fixed first time' then $window
            else days_followed
        end as days,
        status = 'not fixed first time' as is_event,
        count(*) as faults
    from report_fault
    where month between $first and $last and status <> 'not counted'
    group by all
    order by all
"""


def fix_by_month(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give first-time fixes month by month, from ``scope.shown_from`` on.

    Returns
    -------
    DataFrame
        One row a month: month, fixed, known, not_yet_known, rate, low, high, is_provisional; and on each row usual
        (rate of the settled months before the last) and against (the last month stands up, down or the same against
        it beyond chance; "" = not known). With faults not yet known
        the rate is the Kaplan-Meier estimate; under ten faults rate, low and high are NaN.
    """
    import pandas as pd

    span = {"first": scope.shown_from, "last": scope.last}
    counts = connection.execute(_FIX_COUNTS, span).df()
    times = connection.execute(_FIX_TIMES, {**span, "window": scope.window_days}).df()
    settled = _settled_times(connection, scope) if counts["not_yet_known"].any() else times.head(0)
    by_month: dict[Any, pd.DataFrame] = dict(tuple(times.groupby("month")))
    rated = [
        _first_time_rate(row, by_month.get(row.month, times.head(0)), scope.window_days, settled)
        for row in counts.itertuples()
    ]
    months = pd.concat([counts, pd.DataFrame(rated, columns=["rate", "low", "high"])], axis=1).assign(
        is_provisional=counts["not_yet_known"] > 0
    )
    usual, against = _against_usual(months)
    return months.assign(usual=usual, against=against)


def _against_usual(months: pd.DataFrame) -> tuple[float, str]:
    """Give the rate of the settled months before the last, and where the last stands against it beyond chance."""
    from models.statistics.change import difference
    from models.statistics.intervals import wilson

    settled = months.iloc[:-1][~months["is_provisional"].iloc[:-1].astype(bool)]
    fixed, known = int(settled["fixed"].sum()), int(settled["known"].sum())
    if known < FEWEST_FOR_RATE or math.isnan(months["rate"].iloc[-1]):
        return math.nan, ""
    last = months.iloc[-1]
    cases = min(known, last["known"] + last["not_yet_known"])
    _, low, high = difference(
        last["rate"], last["low"], last["high"], fixed / known, *wilson(fixed, known), cases=cases
    )
    return fixed / known, "up" if low > 0 else "down" if high < 0 else "same"


def first_time_fix(
    connection: duckdb.DuckDBPyConnection, scope: Scope, first: dt.date, last: dt.date
) -> dict[str, Any]:
    """Give the first-time fixes of one stretch of months as one figure.

    Returns
    -------
    dict
        fixed, known, not_yet_known, cases (known or not), value (rate), low, high, is_provisional, followed (the day up
        to which anybody was followed, the window at most; beyond it the estimate goes on as the settled months did),
        compared_on (the last day that a quarter were followed to), on_day (function: day -> rate, low, high of no
        return up to that day); NaN under ten faults.
    """
    from models.statistics.survival import survival_at, well_followed

    span = {"first": first, "last": last}
    counts = connection.execute(_FIX_COUNTS, span).df()[["fixed", "known", "not_yet_known"]].sum()
    times = connection.execute(_FIX_TIMES, {**span, "window": scope.window_days}).df()
    settled = _settled_times(connection, scope) if counts.not_yet_known else times.head(0)
    rate, low, high = _first_time_rate(counts, times, scope.window_days, settled)

    each = _spread(times, "is_event", "faults")
    quarter = well_followed(*each)

    def on_day(day: int) -> tuple[float, float, float]:
        if math.isnan(rate):
            return math.nan, math.nan, math.nan
        return survival_at(*each, day)

    return {
        "fixed": int(counts["fixed"]),
        "known": int(counts["known"]),
        "not_yet_known": int(counts["not_yet_known"]),
        "value": rate,
        "low": low,
        "high": high,
        "is_provisional": bool(counts["not_yet_known"] > 0),
        "cases": int(counts.known + counts.not_yet_known),
        "followed": int(min(scope.window_days, times["days"].max() if len(times) else scope.window_days)),
        "compared_on": scope.window_days if math.isnan(quarter) else int(min(scope.window_days, quarter)),
        "on_day": on_day,
    }


def _settled_times(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Times of the faults of the last twelve months that were all followed through the window."""
    times = connection.execute(
        _FIX_TIMES, {"first": moved(scope.last, -12), "last": scope.last, "window": scope.window_days}
    ).df()
    is_open = times.assign(is_open=~times["is_event"].astype(bool) & (times["days"] < scope.window_days))
    return times[~times["month"].isin(is_open.loc[is_open["is_open"], "month"])]


def _first_time_rate(
    counts: Any, times: pd.DataFrame, window: int, settled: pd.DataFrame
) -> tuple[float, float, float]:
    from models.statistics.intervals import wilson
    from models.statistics.survival import survival_at

    if counts.known + counts.not_yet_known < FEWEST_FOR_RATE:
        return math.nan, math.nan, math.nan
    if counts.not_yet_known == 0:
        low, high = wilson(int(counts.fixed), int(counts.known))
        return counts.fixed / counts.known, low, high
    days, is_event = _spread(times, "is_event", "faults")
    if settled["faults"].sum() < FEWEST_FOR_RATE:
        return survival_at(days, is_event, min(window, float(days.max())))
    return survival_at(days, is_event, window, settled=_spread(settled, "is_event", "faults"))


def _spread(times: pd.DataFrame, event: str, count: str) -> tuple[Any, Any]:
    """Spread grouped rows out to one entry each."""
    import numpy as np

    repeats = times[count].to_numpy(dtype=int)
    return np.repeat(times["days"].to_numpy(dtype=float), repeats), np.repeat(times[event].to_numpy(), repeats)


_RETURN_TIMES = """
    select
        least(days, $longest) as days,
        case
            when days > $longest then 0
            when event = 'return' or ($late and is_late_return) then 1
            when event = 'new fault' then 2
            else 0
        end as event,
        count(*) as fixes
    from report_fix
    where fix_date between $first and $end
    group by all
    order by all
"""


def returns(
    connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date, *, with_late: bool = False
) -> pd.DataFrame:
    """Give the cumulative incidence of a return by day since the fix, for the fixes of one stretch of days.

    Late returns, after the window and within 90 days, are new faults unless ``with_late``.

    Returns
    -------
    DataFrame
        One row a day from 0 to the last day that follow-up reaches, 90 at most: day, incidence, low, high. Empty when
        there are fewer than ten fixes.
    """
    import numpy as np
    import pandas as pd

    from models.statistics.survival import incidence_at

    times = connection.execute(_RETURN_TIMES, {"first": first, "end": end, "longest": LAST_DAY, "late": with_late}).df()
    if times["fixes"].sum() < FEWEST_FOR_RATE:
        return pd.DataFrame({"day": [], "incidence": [], "low": [], "high": []}, dtype=float)
    return incidence_at(*_spread(times, "event", "fixes"), 1, np.arange(int(times["days"].max()) + 1))


def callbacks(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date, window: int) -> dict[str, Any]:
    """Give the returns within the window of the fixes of one stretch of days as one figure.

    Returns
    -------
    dict
        fixes, returns (within the window so far), open (fixes whose window is not over), value (cumulative incidence at
        the window, or on the last day reached), low, high, is_provisional, followed (that day), compared_on (the last
        day that a quarter were followed to), on_day (function: day -> incidence, low, high), by_day (7, 30, 90: None
        when not reached).
    """
    ((fixes, returned, still_open, quarter),) = connection.execute(
        """
        select
            count(*),
            count(*) filter (where event = 'return' and days <= $window),
            count(*) filter (where event = 'none yet' and days < $window),
            quantile_disc(least(days, $window), 0.75) filter (where event = 'none yet')
        from report_fix
        where fix_date between $first and $end
        """,
        {"first": first, "end": end, "window": window},
    ).fetchall()
    curve = returns(connection, first, end)
    reached = curve[curve["day"] <= window]
    value, low, high = reached.iloc[-1][["incidence", "low", "high"]] if len(reached) else (math.nan,) * 3
    on_day = dict(zip(curve["day"], curve["incidence"], strict=True))
    limits = curve.set_index("day")[["incidence", "low", "high"]]

    def at_day(day: int) -> tuple[float, float, float]:
        if day not in limits.index:
            return math.nan, math.nan, math.nan
        incidence, least, most = limits.loc[day].to_numpy(dtype=float)
        return float(incidence), float(least), float(most)

    return {
        "fixes": fixes,
        "returns": returned,
        "open": still_open,
        "value": float(value),
        "low": float(low),
        "high": float(high),
        "is_provisional": still_open > 0,
        "cases": fixes,
        "followed": int(reached["day"].max()) if len(reached) else window,
        "compared_on": window if quarter is None else int(quarter),
        "on_day": at_day,
        "by_day": {str(day): on_day.get(day) for day in (7, 30, LAST_DAY)},
    }


def callback_curve(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give the callback curves of the last twelve months and, where the records hold all of them, of the twelve before.

    Returns
    -------
    DataFrame
        One row a period ("this", "last") and day: period, day, incidence (with late returns beyond the window), low,
        high; late (late returns of the last twelve months), and against ("more", "less", "chance": this year against
        the year before on the window's last day, "" = not both known).
    """
    import pandas as pd

    from models.statistics.change import difference

    year_ago = moved(scope.weighed_from, -12)
    this = returns(connection, scope.weighed_from, scope.end, with_late=True).assign(period="this")
    is_held = scope.records_from <= year_ago  # part of a year would be compared with a whole one
    last = returns(connection, year_ago, scope.weighed_from - dt.timedelta(days=1), with_late=True)
    last = last if is_held else last.head(0)
    curves = pd.concat([frame for frame in (this, last.assign(period="last")) if len(frame)] or [this])
    at_window = curves[curves["day"] == scope.window_days]
    against = ""
    if len(at_window) == 2:
        _, low, high = difference(*at_window[["incidence", "low", "high"]].to_numpy().ravel())
        against = "more" if low > 0 else "less" if high < 0 else "chance"
    ((late,),) = connection.execute(
        "select count(*) from report_fix where is_late_return and fix_date between $first and $end",
        {"first": scope.weighed_from, "end": scope.end},
    ).fetchall()
    return curves.assign(late=late, against=against).reset_index(drop=True)


def days_to_cure(connection: duckdb.DuckDBPyConnection, scope: Scope, first: dt.date, end: dt.date) -> dict[str, Any]:
    """Give the days from first visit to cure of the faults begun in one stretch of days, as one figure.

    Returns
    -------
    dict
        faults, open, value (day by which nine in ten are cured, by Kaplan-Meier; infinity = not reached), low, high,
        half, half_low, half_high (the same of half of them), is_provisional (some are open, and not all waiting times
        are over); NaN under ten faults.
    """
    from models.statistics.survival import kaplan_meier

    times = connection.execute(
        """
        select
            datediff('day', first_visit_date, coalesce(cure_date, (select as_of from follow_up))) as days,
            state = 'cured' as is_event,
            count(*) as faults
        from report_fault
        where first_visit_date between $first and $end
            and state in ('cured', 'open')
            and why <> 'the first visit returns to a job that is not loaded'
        group by all
        order by all
        """,
        {"first": first, "end": end},
    ).df()
    faults = int(times["faults"].sum())
    still_open = int(times.loc[~times["is_event"].astype(bool), "faults"].sum())
    is_waiting = (scope.as_of - end).days < scope.waiting_days
    shown = {"faults": faults, "cases": faults, "open": still_open, "is_provisional": still_open > 0 and is_waiting}
    names = {"value": ("survival", 0.1), "low": ("low", 0.1), "high": ("high", 0.1)}
    names |= {"half": ("survival", 0.5), "half_low": ("low", 0.5), "half_high": ("high", 0.5)}
    if faults < FEWEST_FOR_RATE:
        return {**shown, **dict.fromkeys(names, math.nan)}
    curve = kaplan_meier(*_spread(times, "is_event", "faults"))
    return {**shown, **{name: _day_below(curve, column, share) for name, (column, share) in names.items()}}


def _day_below(curve: pd.DataFrame, column: str, share: float) -> float:
    below = curve["days"].to_numpy()[curve[column].to_numpy() <= share + 1e-12]
    return float(below[0]) if len(below) else math.inf
