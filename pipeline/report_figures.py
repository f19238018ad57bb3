"""The figures of a report, gathered from the marts: sums and counts in SQL, intervals and curves from ``models``.

Every function expects the scope's tables to be laid out (``report_scope.laid_out``) and gives one tidy frame.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from pipeline.report_scope import Scope, moved

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

FEWEST_FOR_RATE = 10
LAST_DAY = 90
COMPLAINTS_SHOWN = 3
CAUSES_SHOWN = 4
LEAST_SHARE = 0.03
KINDS_SHOWN = 3

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
        fixed, known, not_yet_known, value (rate), low, high, is_provisional; NaN under ten faults.
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
    }


def _first_time_rate(counts: Any, times: pd.DataFrame, window: int) -> tuple[float, float, float]:
    from models.rates import wilson
    from models.survival import survival_at

    if counts.known + counts.not_yet_known < FEWEST_FOR_RATE:
        return math.nan, math.nan, math.nan
    if counts.not_yet_known == 0:
        low, high = wilson(int(counts.fixed), int(counts.known))
        return counts.fixed / counts.known, low, high
    days, is_event = _spread(times, "is_event", "faults")
    return tuple(survival_at(days, is_event, min(window, float(days.max()))))


def _spread(times: pd.DataFrame, event: str, count: str) -> tuple[Any, Any]:
    """Spread grouped rows out to one entry each."""
    import numpy as np

    repeats = times[count].to_numpy(dtype=int)
    return np.repeat(times["days"].to_numpy(dtype=float), repeats), np.repeat(times[event].to_numpy(), repeats)


_RETURN_TIMES = """
    select
        least(days, $longest) as days,
        case when days > $longest then 0 when event = 'return' then 1 when event = 'new fault' then 2 else 0 end as event,
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

    from models.survival import cumulative_incidence

    times = connection.execute(_RETURN_TIMES, {"first": first, "end": end, "longest": LAST_DAY}).df()
    if times["fixes"].sum() < FEWEST_FOR_RATE:
        return pd.DataFrame({"day": [], "incidence": [], "low": [], "high": []}, dtype=float)
    curve = cumulative_incidence(*_spread(times, "event", "fixes"))
    back = curve[curve["event"] == 1]
    days = np.arange(int(times["days"].max()) + 1)
    place = np.searchsorted(back["days"].to_numpy(dtype=float), days, side="right")
    steps = {
        column: np.concatenate([[0.0], back[column].to_numpy(dtype=float)])[place]
        for column in ("incidence", "low", "high")
    }
    return pd.DataFrame({"day": days, **steps})


def callbacks(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date, window: int) -> dict[str, Any]:
    """Give the returns within the window of the fixes of one stretch of days as one figure.

    Returns
    -------
    dict
        fixes, returns (within the window so far), open (fixes whose window is not over), value (cumulative incidence at
        the window, or on the last day reached), low, high, is_provisional, by_day (7, 30, 90: None when not reached).
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
        parts (lines not the cause), judged (verdicts cured or not the cause), open (still open), value (money), minutes,
        low, high (NaN under ten parts), is_provisional.
    """
    from models.change import weighted_count_interval

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
        faults, open, value (median by Kaplan-Meier; infinity = not reached), low, high, ninety (day by which nine in ten
        are cured; infinity = not reached), is_provisional; NaN under ten faults.
    """
    from models.survival import kaplan_meier

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


def wrong_swaps(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date) -> pd.DataFrame:
    """Give wrongly swapped parts with what it really was.

    Returns
    -------
    DataFrame
        One row a part and true cause, dearest first: part, instead_of, count, of (verdicts cured or not the cause on this
        part), money, minutes.
    """
    return connection.execute(
        """
        with judged as (
            select part, count(*) as of
            from report_part
            where visit_date between $first and $end and verdict in ('cured', 'not the cause')
            group by part
        )
        select
            report_part.part as part,
            report_part.confirmed_cause as instead_of,
            count(*) as count,
            max(judged.of) as of,
            sum(report_part.total_cost) as money,
            sum(coalesce(report_part.labour_minutes, 0) + coalesce(report_part.trip_minutes, 0)) as minutes
        from report_part
        inner join judged on judged.part = report_part.part
        where report_part.visit_date between $first and $end and report_part.verdict = 'not the cause'
        group by report_part.part, report_part.confirmed_cause
        order by money desc, part, instead_of
        """,
        {"first": first, "end": end},
    ).df()


def causes(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give the causes within complaint for the main kinds, from cured faults with a confirmed cause.

    Returns
    -------
    DataFrame
        One row a kind, complaint and cause, most frequent first: kind, complaint, cause (missing = all others together),
        count, of (of the complaint), share, low, high.
    """
    from models.rates import wilson

    counted = connection.execute(
        """
        with
            cured as (
                select kind, main_symptom as complaint, cause
                from report_fault
                where month between $first and $last and state = 'cured' and cause is not null and main_symptom is not null
            ),
            counted as (
                select kind, complaint, cause, count(*) as times
                from cured
                group by kind, complaint, cause
            ),
            placed as (
                select
                    *,
                    sum(times) over (partition by kind, complaint) as of,
                    sum(times) over (partition by kind) as of_kind,
                    row_number() over (partition by kind, complaint order by times desc, cause) as place
                from counted
            ),
            ranked as (
                select
                    *,
                    place <= $causes and (place = 1 or times >= $least * of) as is_shown,
                    dense_rank() over (partition by kind order by of desc, complaint) as complaint_place,
                    dense_rank() over (order by of_kind desc, kind) as kind_place
                from placed
            )
        select
            kind,
            complaint,
            case when is_shown then cause end as cause,
            sum(times) as count,
            max(of) as of,
            kind_place,
            complaint_place,
            is_shown
        from ranked
        where kind_place <= $kinds and complaint_place <= $complaints
        group by all
        order by kind_place, complaint_place, is_shown desc, count desc, cause
        """,
        {
            "first": scope.weighed_from,
            "last": scope.last,
            "causes": CAUSES_SHOWN,
            "least": LEAST_SHARE,
            "kinds": KINDS_SHOWN,
            "complaints": COMPLAINTS_SHOWN,
        },
    ).df()
    counted = counted.drop(columns=["kind_place", "complaint_place", "is_shown"]).astype({"count": int, "of": int})
    limits = [wilson(count, of) for count, of in zip(counted["count"], counted["of"], strict=True)]
    return counted.assign(
        share=counted["count"] / counted["of"],
        low=[float(low) for low, _ in limits],
        high=[float(high) for _, high in limits],
    )


def parts(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give parts used, and parts missing from the van.

    Returns
    -------
    DataFrame
        One row a part: part, fitted (visits), cured (of them), missing (visits that ended in "part needed" and had this
        part fitted later in the same fault).
    """
    return connection.execute(
        """
        with
            used as (
                select part, count(distinct visit_id) as fitted, count(distinct visit_id) filter (where verdict = 'cured') as cured
                from report_part
                where visit_date between $first and $end
                group by part
            ),
            fitted_later as (
                select distinct report_part.part as part, waited.visit_id as visit_id
                from report_part
                inner join episode_visit as later on later.visit_id = report_part.visit_id
                inner join episode_visit as earlier
                    on earlier.episode_id = report_part.episode_id
                    and earlier.visit_no = later.visit_no - 1
                inner join visit as waited on waited.visit_id = earlier.visit_id
                where waited.outcome = 'part needed' and report_part.visit_date between $first and $end
            ),
            missing as (
                select part, count(*) as missing
                from fitted_later
                group by part
            )
        select
            used.part as part,
            used.fitted as fitted,
            used.cured as cured,
            coalesce(missing.missing, 0) as missing
        from used
        left join missing on missing.part = used.part
        order by missing desc, fitted desc, part
        limit 40
        """,
        {"first": scope.weighed_from, "end": scope.end},
    ).df()


def quality(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Count what is missing or weak in the records of the period.

    Returns
    -------
    DataFrame
        One row a fault of the records: name, count, of (missing = no base).
    """
    return connection.execute(
        """
        with
            in_scope as (
                select *
                from visit
                where visit_date between $first and $end
                    and ($kind is null or kind = $kind)
                    and ($technician is null or technician = $technician)
            ),
            visits as (
                select
                    count(*) as visits,
                    count(*) filter (where age_years is null) as no_age,
                    count(*) filter (where outcome = 'unknown') as unknown_outcome,
                    count(*) filter (
                        where visit_id not in (select visit_id from visit_symptom where visit_id is not null)
                    ) as no_complaint
                from in_scope
            ),
            units as (
                select count(*) as units, count(*) filter (where is_weak_identity) as weak
                from appliance
                where appliance_id in (select appliance_id from in_scope)
            ),
            faults as (
                select
                    count(*) filter (where state = 'cured') as cured,
                    count(*) filter (where state = 'cured' and cause is null) as no_cause,
                    count(*) as faults,
                    count(*) filter (where why = 'the first visit returns to a job that is not loaded') as truncated
                from report_fault
                where month between $first and $last
            ),
            lines as (
                select count(*) as lines, count(*) filter (where part_cost is null) as no_price
                from report_part
                where visit_date between $first and $end
            )
        select 'visits' as name, visits as count, cast(null as bigint) as of from visits
        union all select 'no_cause', no_cause, cured from faults
        union all select 'no_complaint', no_complaint, visits from visits
        union all select 'no_age', no_age, visits from visits
        union all select 'unknown_outcome', unknown_outcome, visits from visits
        union all select 'weak_identity', weak, units from units
        union all select 'left_truncated', truncated, faults from faults
        union all select 'no_price', no_price, lines from lines
        union all select 'unknown_words', (select count(*) from word_use where term is null), (select count(*) from word_use)
        union all select 'rejected', (select count(*) from rejected_record), cast(null as bigint)
        """,
        {
            "first": scope.first,
            "last": scope.last,
            "end": scope.end,
            "kind": scope.kind,
            "technician": scope.technician,
        },
    ).df()


def kinds(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give first-time fixes by kind over the period.

    Returns
    -------
    DataFrame
        One row a kind, the most frequent first: kind, fixed, known, not_yet_known, not_counted, rate, low, high (NaN under ten
        known; provisional where some are not yet known).
    """
    from models.rates import wilson

    counted = connection.execute(
        """
        select
            kind,
            count(*) filter (where status = 'fixed first time') as fixed,
            count(*) filter (where status in ('fixed first time', 'not fixed first time')) as known,
            count(*) filter (where status = 'not yet known') as not_yet_known,
            count(*) filter (where status = 'not counted') as not_counted
        from report_fault
        where month between $first and $last
        group by kind
        order by count(*) desc, kind
        """,
        {"first": scope.first, "last": scope.last},
    ).df()
    is_settled = (counted["known"] >= FEWEST_FOR_RATE) & (counted["not_yet_known"] == 0)
    low, high = wilson(counted["fixed"].to_numpy(dtype=float), counted["known"].to_numpy(dtype=float))
    return counted.assign(rate=(counted["fixed"] / counted["known"]).where(is_settled), low=low, high=high).assign(
        low=lambda frame: frame["low"].where(is_settled), high=lambda frame: frame["high"].where(is_settled)
    )
