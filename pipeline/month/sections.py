"""The sections of a report: wrong swaps, causes, parts, kinds and the records themselves, counted from the marts.

Every function expects the scope's tables to be laid out (``report_scope.laid_out``) and gives one tidy frame.
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import TYPE_CHECKING

from models.statistics.intervals import FEWEST_FOR_RATE
from pipeline.month.scope import Scope

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

COMPLAINTS_SHOWN = 3
CAUSES_SHOWN = 4
LEAST_SHARE = 0.03
KINDS_SHOWN = 3


def wrong_swaps(connection: duckdb.DuckDBPyConnection, first: dt.date, end: dt.date) -> pd.DataFrame:
    """Give wrongly swapped parts with what it really was.

    Returns
    -------
    DataFrame
        One row a part and true cause, dearest first: part, instead_of, count, of (verdicts cured or not the cause on
        this part), money, minutes, is_ahead (of the next row, by more than chance).
    """
    found = connection.execute(
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
    return found.assign(is_ahead=_ahead(found["money"], found["count"]))


def _ahead(amount: pd.Series, events: pd.Series, groups: pd.Series | None = None) -> list[bool]:
    """Tell of each row whether it is ahead of the next of its group by more than chance."""
    from models.statistics.change import is_ahead

    of = [0] * len(amount) if groups is None else groups.tolist()
    rows = [*zip(amount.astype(float).tolist(), events.astype(int).tolist(), of, strict=True)]
    return [
        is_ahead(first, second if group == other else 0.0, first_events, second_events if group == other else 0)
        for (first, first_events, group), (second, second_events, other) in pairwise([*rows, (0.0, 0, None)])
    ]


_CAUSES = """
    with
        cured as (
            select kind, main_symptom as complaint, cause
            from report_fault
            where month between $first and $last
                and state = 'cured'
                and cause is not null
                and main_symptom is not null
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
"""


def causes(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give the causes within complaint for the main kinds, from cured faults with a confirmed cause.

    Returns
    -------
    DataFrame
        One row a kind, complaint and cause, most frequent first: kind, complaint, cause (missing = all others),
        count, of (of the complaint), share, low, high, is_ahead (of the complaint's next cause, by more than chance).
    """
    from models.statistics.intervals import wilson

    counted = connection.execute(
        _CAUSES,
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
    low, high = wilson(counted["count"].to_numpy(dtype=float), counted["of"].to_numpy(dtype=float))
    count = counted["count"].where(counted["cause"].notna(), 0)
    return counted.assign(
        is_ahead=_ahead(count, count, counted["kind"] + "\x1f" + counted["complaint"]),
        share=counted["count"] / counted["of"],
        low=low,
        high=high,
    )


_PARTS = """
    with
        used as (
            select
                part,
                count(distinct visit_id) as fitted,
                count(distinct visit_id) filter (where verdict = 'cured') as cured
            from report_part
            where visit_date between $first and $end
            group by part
        ),
        missing as (
            select part, count(*) as missing, sum(days_waited) as days_waited
            from report_missing
            where visit_date between $first and $end
            group by part
        )
    select
        used.part as part,
        used.fitted as fitted,
        used.cured as cured,
        coalesce(missing.missing, 0) as missing,
        coalesce(missing.days_waited, 0) as days_waited,
        coalesce(missing.missing, 0) * follow_up.trip_cost as trip_money
    from used
    cross join follow_up
    left join missing on missing.part = used.part
    order by missing desc, fitted desc, part
    limit 40
"""


def parts(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give parts used, and parts missing from the van.

    Returns
    -------
    DataFrame
        One row a part: part, fitted (visits), cured (of them), missing (visits that ended in "part needed" and had this
        part fitted later in the same fault), days_waited (for it, summed), trip_money (what those second trips cost:
        what one more of it on the van would have saved at most), is_ahead (of the next part, by more than chance).
    """
    found = connection.execute(
        _PARTS,
        {"first": scope.weighed_from, "end": scope.end},
    ).df()
    return found.assign(is_ahead=_ahead(found["missing"], found["missing"]))


_GAPS = """
    with
        in_scope as (
            select *
            from visit
            where visit_date between $first and $end
                and ($kind is null or kind = $kind)
                and ($technician is null or technician = $technician)
                and ($branch is null or branch = $branch)
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
            select
                count(distinct appliance_id) as units,
                count(distinct appliance_id) filter (where identity <> 'serial') as weak
            from visit_appliance
            where visit_id in (select visit_id from in_scope)
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
    union all select 'unknown_words', count(*) filter (where term is null), count(*) from word_use
    union all select 'rejected', (
        select count(*) from rejected_record join load_batch using (batch_id) where taken_back_at is null
    ), cast(null as bigint)
"""


def quality(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Count what is missing or weak in the records of the period.

    Returns
    -------
    DataFrame
        One row a fault of the records: name, count, of (missing = no base).
    """
    return connection.execute(
        _GAPS,
        {
            "first": scope.first,
            "last": scope.last,
            "end": scope.end,
            "kind": scope.kind,
            "technician": scope.technician,
            "branch": scope.branch,
        },
    ).df()


def kinds(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give first-time fixes by kind over the period.

    Returns
    -------
    DataFrame
        One row a kind, the most frequent first: kind, fixed, known, not_yet_known, not_counted, rate, low, high (NaN
        under ten known; provisional where some are not yet known).
    """
    from models.statistics.intervals import wilson

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
