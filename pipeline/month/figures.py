"""The four figures of a report and their curves: sums and counts in SQL, intervals and curves from ``models``.

Every function expects the scope's tables to be laid out (``report_scope.laid_out``) and gives one tidy frame.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from pipeline.month.scope import Scope, moved

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

FEWEST_FOR_RATE = 10
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
        One row a month: month, fixed, known, not_yet_known, rate, low, high, is_provisional. With faults not yet known
        the rate is the Kaplan-Meier estimate; under ten faults rate, low and high are NaN.
    """
    import pandas as pd

    span = {"first": scope.shown_from, "last": scope.last}
    counts = connection.execute(_FIX_COUNTS, span).df()
    times = connection.execute(_FIX_TIMES, {**span, "window": scope.window_days}).df()
    rated = [
        _first_time_rate(row, times[times["month"] == row.month], scope.window_days) for row in counts.itertuples()
    ]
    return pd.concat([counts, pd.DataFrame(rated, columns=["rate", "low", "high"])], axis=1).assign(
        is_provisional=counts["not_yet_known"] > 0
    )


def first_time_fix(connection: duckdb.DuckDBPyConnection, first: dt.date, last: dt.date, window: int) -> dict[str, Any]:
    """Give the first-time fixes of one stretch of months as one figure.

    Returns
    -------
    dict
        fixed, known, not_yet_known, value (rate), low, high, is_provisional, followed (the day up to which the estimate
        speaks: the window, or as far as anybody was followed); NaN under ten faults.
    """
    span = {"first": first, "last": last}
    counts = connection.execute(_FIX_COUNTS, span).df()[["fixed", "known", "not_yet_known"]].sum()
    times = connection.execute(_FIX_TIMES, {**span, "window": window}).df()
    rate, low, high = _first_time_rate(counts, times, window)
    return {
        "fixed": int(counts["fixed"]),
        "known": int(counts["known"]),
        "not_yet_known": int(counts["not_yet_known"]),
        "value": rate,
        "low": low,
        "high": high,
        "is_provisional": bool(counts["not_yet_known"] > 0),
        "followed": int(min(window, times["days"].max() if len(times) else window)),
    }


def _first_time_rate(counts: Any, times: pd.DataFrame, window: int) -> tuple[float, float, float]:
    from models.statistics.intervals import wilson
    from models.statistics.survival import survival_at

    if counts.known + counts.not_yet_known < FEWEST_FOR_RATE:
        return math.nan, math.nan, math.nan
    if counts.not_yet_known == 0:
        low, high = wilson(int(counts.fixed), int(counts.known))
        return counts.fixed / counts.known, low, high
    days, is_event = _spread(times, "is_event", "faults")
    rate, low, high = survival_at(days, is_event, min(window, float(days.max())))
    return rate, low, high


def _spread(times: pd.DataFrame, event: str, count: str) -> tuple[Any, Any]:
    """Spread grouped rows out to one entry each."""
    import numpy as np

    repeats = times[count].to_numpy(dtype=int)
    return np.repeat(times["days"].to_numpy(dtype=float), repeats), np.repeat(times[event].to_numpy(), repeats)


_RETURN_TIMES = """
    select
        least(days, $longest) as days,
        case when days > $longest then 0 when event = 'return' then 1 when event = 'new fault' then 2 else 0 end
            as event,
        count(*) as fixes
    from report_fix
    where fix_date between $first and $end
    group by all
    order by all
"""


def returns(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date) -> pd.DataFrame:
    """Give the cumulative incidence of a return by day since the fix, for the fixes of one stretch of days.

    Returns
    -------
    DataFrame
        One row a day from 0 to the last day that follow-up reaches, 90 at most: day, incidence, low, high. Empty when
        there are fewer than ten fixes.
    """
    import numpy as np
    import pandas as pd

    from models.statistics.survival import incidence_at

    times = connection.execute(_RETURN_TIMES, {"first": first, "end": end, "longest": LAST_DAY}).df()
    if times["fixes"].sum() < FEWEST_FOR_RATE:
        return pd.DataFrame({"day": [], "incidence": [], "low": [], "high": []}, dtype=float)
    return incidence_at(*_spread(times, "event", "fixes"), 1, np.arange(int(times["days"].max()) + 1))


def callbacks(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date, window: int) -> dict[str, Any]:
    """Give the returns within the window of the fixes of one stretch of days as one figure.

    Returns
    -------
    dict
        fixes, returns (within the window so far), open (fixes whose window is not over), value (cumulative incidence at
        the window, or on the last day reached), low, high, is_provisional, followed (that day),
        by_day (7, 30, 90: None when not reached).
    """
    ((fixes, returned, still_open),) = connection.execute(
        """
        select
            count(*),
            count(*) filter (where event = 'return' and days <= $window),
            count(*) filter (where event = 'none yet' and days < $window)
        from report_fix
        where fix_date between $first and $end
        """,
        {"first": first, "end": end, "window": window},
    ).fetchall()
    curve = returns(connection, first, end)
    reached = curve[curve["day"] <= window]
    value, low, high = reached.iloc[-1][["incidence", "low", "high"]] if len(reached) else (math.nan,) * 3
    on_day = dict(zip(curve["day"], curve["incidence"], strict=True))
    return {
        "fixes": fixes,
        "returns": returned,
        "open": still_open,
        "value": float(value),
        "low": float(low),
        "high": float(high),
        "is_provisional": still_open > 0,
        "followed": int(reached["day"].max()) if len(reached) else window,
        "by_day": {str(day): on_day.get(day) for day in (7, 30, LAST_DAY)},
    }


def callback_curve(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give the callback curves of the last twelve months and of the twelve before.

    Returns
    -------
    DataFrame
        One row a period ("this", "last") and day: period, day, incidence, low, high.
    """
    import pandas as pd

    year_ago = moved(scope.weighed_from, -12)
    this = returns(connection, scope.weighed_from, scope.end).assign(period="this")
    last = returns(connection, year_ago, scope.weighed_from - dt.timedelta(days=1)).assign(period="last")
    return pd.concat([frame for frame in (this, last) if len(frame)] or [this], ignore_index=True)


def wrong_swap_money(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date) -> dict[str, Any]:
    """Give what wrongly swapped parts of one stretch of days cost, as one figure.

    Returns
    -------
    dict
        parts (lines not the cause), judged (verdicts cured or not the cause), open (still open), value (money),
        minutes, low, high (NaN under ten parts), is_provisional.
    """
    from models.statistics.change import weighted_count_interval

    lines = connection.execute(
        """
        select verdict, total_cost, coalesce(labour_minutes, 0) + coalesce(trip_minutes, 0) as minutes
        from report_part
        where visit_date between $first and $end
        order by part_line_id
        """,
        {"first": first, "end": end},
    ).df()
    wrong = lines[lines["verdict"] == "not the cause"]
    low, high = math.nan, math.nan
    if len(wrong) >= FEWEST_FOR_RATE:
        low, high = weighted_count_interval([max(0.0, float(cost)) for cost in wrong["total_cost"]])
    still_open = int((lines["verdict"] == "still open").sum())
    return {
        "parts": len(wrong),
        "judged": int(lines["verdict"].isin(["cured", "not the cause"]).sum()),
        "open": still_open,
        "value": float(wrong["total_cost"].sum()),
        "minutes": float(wrong["minutes"].sum()),
        "low": low,
        "high": high,
        "is_provisional": still_open > 0,
    }


def days_to_cure(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date) -> dict[str, Any]:
    """Give the days from first visit to cure of the faults begun in one stretch of days, as one figure.

    Returns
    -------
    dict
        faults, open, value (median by Kaplan-Meier; infinity = not reached), low, high, ninety (day by which nine in
        ten are cured; infinity = not reached), is_provisional; NaN under ten faults.
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
    shown = {"faults": faults, "open": still_open, "is_provisional": still_open > 0}
    if faults < FEWEST_FOR_RATE:
        return {**shown, "value": math.nan, "low": math.nan, "high": math.nan, "ninety": math.nan}
    curve = kaplan_meier(*_spread(times, "is_event", "faults"))
    return {
        **shown,
        "value": _day_below(curve, "survival", 0.5),
        "low": _day_below(curve, "low", 0.5),
        "high": _day_below(curve, "high", 0.5),
        "ninety": _day_below(curve, "survival", 0.1),
    }


def _day_below(curve: pd.DataFrame, column: str, share: float) -> float:
    below = curve[curve[column] <= share + 1e-12]
    return float(below["days"].iloc[0]) if len(below) else math.inf
