"""What wrong parts and visits are worth, and whose: by month, by technician, and the margin of a visit.

Every function expects the scope's tables to be laid out (``scope.laid_out``) and gives one tidy frame.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.statistics.intervals import FEWEST_FOR_RATE
from pipeline.month.comparisons import words
from pipeline.month.scope import Scope

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


def swaps_by_month(connection: duckdb.DuckDBPyConnection, scope: Scope, delays: pd.DataFrame) -> pd.DataFrame:
    """Give the share of parts that were not the cause by month of fitting, for months of which most has come to light.

    Parameters
    ----------
    delays
        As `wrong_swaps.verdict_delays` gives them.

    Returns
    -------
    DataFrame
        One row a month: month, wrong (known so far), judged, shown (share of the wrong ones that has come to light),
        rate (corrected for the rest), low, high. NaN where fewer than ten are judged or less than half has come to
        light.
    """
    import numpy as np

    from models.statistics.delay import shown_by
    from models.statistics.intervals import wilson

    counted = connection.execute(
        """
        select
            month,
            count(*) filter (where verdict = 'not the cause') as wrong,
            count(*) as judged,
            greatest(0, datediff('day', month + interval 15 day, $as_of)) as days_since
        from report_part
        where month between $first and $last and verdict in ('cured', 'not the cause')
        group by month
        order by month
        """,
        {"first": scope.shown_from, "last": scope.last, "as_of": scope.as_of},
    ).df()
    shown = shown_by(delays["days"], delays["followed"], counted["days_since"]) if len(counted) else np.zeros(0)
    known, judged = counted["wrong"].to_numpy(dtype=float), counted["judged"].to_numpy(dtype=float)
    wrong = known / np.maximum(shown, 1e-9)
    is_known = (judged >= FEWEST_FOR_RATE) & (shown >= 0.5)
    rate = wrong / np.maximum(judged - known + wrong, 1e-9)
    low, high = wilson(rate * judged * shown, judged * shown)
    made = counted.drop(columns="days_since").assign(shown=shown)
    values = {"rate": rate, "low": low, "high": high}
    return made.assign(**{name: np.where(is_known, value, np.nan) for name, value in values.items()})


def swaps_by_technician(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Compare technicians' wrong parts, like work with like (kind, complaint and part), over twelve months.

    Returns
    -------
    DataFrame
        One row a technician, in alphabetical order: technician, judged, wrong, expected (of such parts), p_joint and
        widened (of all together; the same on each row), words (as for `comparisons.technicians`: low is fewer wrong
        parts).
    """
    from models.statistics.comparison import compare

    cases = connection.execute(
        """
        select technician, kind, main_symptom, part, cast(verdict = 'not the cause' as integer) as is_wrong
        from part_verdict
        where visit_date between $first and $end and verdict in ('cured', 'not the cause')
            and ($kind is null or kind = $kind)
            and ($branch is null or branch = $branch)
        order by part_line_id
        """,
        {"first": scope.weighed_from, "end": scope.end, "kind": scope.kind, "branch": scope.branch},
    ).df()
    made = compare(cases, "technician", [("kind",), ("kind", "part"), ("kind", "part", "main_symptom")], "is_wrong")
    table = made.table.rename(columns={"unit": "technician", "n": "judged", "observed": "wrong"})
    table = table.assign(p_joint=made.p_joint, widened=made.widened, words=table["said"].map(words()))
    table = table[["technician", "judged", "wrong", "expected", "words", "p_joint", "widened"]]
    return table if scope.technician is None else table[table["technician"] == scope.technician]


def verdict_bounds(connection: duckdb.DuckDBPyConnection, scope: Scope) -> dict[str, float]:
    """Give the year's share of parts that were not the cause, and what it could be were the books worse than they look.

    Returns
    -------
    dict
        share (as judged), least, most (with parts that share the credit of a visit), at_5, at_10 (as little as it
        could be were 5 % or 10 % of causes written down wrongly: each such error taken to turn a verdict), judged; NaN
        under ten judged.
    """
    from models.statistics.bounds import share_behind_errors, shared_credit_bounds

    ((wrong, cured, shared, visits),) = connection.execute(
        """
        select
            count(*) filter (where verdict = 'not the cause'),
            count(*) filter (where verdict = 'cured'),
            count(*) filter (where verdict = 'shared credit'),
            count(distinct visit_id) filter (where verdict = 'shared credit')
        from report_part
        where visit_date between $first and $end
        """,
        {"first": scope.weighed_from, "end": scope.end},
    ).fetchall()
    judged = wrong + cured
    if judged < FEWEST_FOR_RATE:
        return {"judged": judged, **dict.fromkeys(("share", "least", "most", "at_5", "at_10"), float("nan"))}
    least, most = shared_credit_bounds(wrong, cured, shared, visits)
    share = wrong / judged
    corrected = {f"at_{error}": share_behind_errors(share, error / 100) for error in (5, 10)}
    return {"judged": judged, "share": share, "least": least, "most": most, **corrected}


def margins(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give what a visit brings over its hours and its road, by kind, from visits whose labour charge is recorded.

    Returns
    -------
    DataFrame
        One row a kind: kind, visits (with a charge and minutes), of (all), charged (labour, mean), cost (minutes at the
        hour rate and one trip, mean), margin (mean), low, high (95 %, normal). Kinds with ten such visits or more.
    """
    counted = connection.execute(
        """
        with visited as (
            select
                visit.kind,
                visit.labour_charge as charged,
                (visit.labour_minutes + follow_up.trip_minutes) / 60 * follow_up.hour_rate + follow_up.trip_cost as cost
            from visit
            cross join follow_up
            where visit.visit_date between $first and $end
                and ($kind is null or visit.kind = $kind)
                and ($technician is null or visit.technician = $technician)
                and ($branch is null or visit.branch = $branch)
        )
        select
            kind,
            count(charged - cost) as visits,
            count(*) as of,
            avg(charged) filter (where charged - cost is not null) as charged,
            avg(cost) filter (where charged - cost is not null) as cost,
            avg(charged - cost) as margin,
            coalesce(stddev_samp(charged - cost) / sqrt(count(charged - cost)), 0) as error
        from visited
        group by kind
        having count(charged - cost) >= 10
        order by visits desc, kind
        """,
        {
            "first": scope.weighed_from,
            "end": scope.end,
            "kind": scope.kind,
            "technician": scope.technician,
            "branch": scope.branch,
        },
    ).df()
    spread = 1.96 * counted["error"]
    return counted.assign(low=counted["margin"] - spread, high=counted["margin"] + spread).drop(columns="error")
