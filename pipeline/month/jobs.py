"""The jobs behind each figure: which faults a figure counts, and what happened on each of their visits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.month.scope import Scope

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

FIGURE_CAP = 300
ROW_CAP = 25

# each gives: key, episode_id, sorting (the jobs worth reading first); $first, $last, $end bound the period of the
# report, $weighed the first month of the year weighed, $shown the first month of the chart
_LISTS = {
    "first_time_fix": """
        select 'first_time_fix' as key, episode_id,
            case status when 'not fixed first time' then 0 when 'not yet known' then 1 else 2 end as sorting
        from report_fault
        where month between $first and $last and status <> 'not counted'
    """,
    "callbacks": """
        select distinct 'callbacks' as key, episode_id, 0 as sorting
        from report_fix
        where fix_date between $first and $end and event = 'return' and days <= $window
    """,
    "wrong_swaps": """
        select 'wrong_swaps' as key, episode_id, -sum(total_cost) as sorting
        from report_part
        where visit_date between $first and $end and verdict = 'not the cause'
        group by episode_id
    """,
    "days_to_cure": """
        select 'days_to_cure' as key, episode_id,
            case when state = 'open' then -100000 else -datediff('day', first_visit_date, cure_date) end as sorting
        from report_fault
        where first_visit_date between $first and $end and state in ('cured', 'open')
            and why <> 'the first visit returns to a job that is not loaded'
    """,
    "month": """
        select 'month-' || strftime(month, '%Y-%m') as key, episode_id, 0 as sorting
        from report_fault
        where month between $shown and $last and status = 'not fixed first time'
    """,
    "swap": """
        select 'swap-' || part || chr(31) || coalesce(confirmed_cause, '') as key, episode_id,
            -sum(total_cost) as sorting
        from report_part
        where visit_date between $weighed and $end and verdict = 'not the cause'
        group by all
    """,
    "cause": """
        select 'cause-' || kind || chr(31) || main_symptom || chr(31) || cause as key, episode_id,
            -datediff('day', date '2000-01-01', first_visit_date) as sorting
        from report_fault
        where month between $weighed and $last and state = 'cured' and cause is not null and main_symptom is not null
    """,
    "technician": """
        select 'technician-' || technician as key, episode_id, 0 as sorting
        from report_fault
        where month between $weighed and $last and status = 'not fixed first time' and technician is not null
    """,
    "make": """
        select 'make-' || make as key, episode_id, 0 as sorting
        from report_fault
        where month between $weighed and $last and status = 'not fixed first time' and make is not null
    """,
    "age": """
        select 'age-' || age_band as key, episode_id, 0 as sorting
        from report_fault
        where month between $weighed and $last and status = 'not fixed first time'
    """,
    "part": """
        select distinct 'part-' || part as key, episode_id, 0 as sorting
        from report_missing
        where visit_date between $weighed and $end
    """,
    "quality": """
        select 'quality-no_cause' as key, episode_id, 0 as sorting
        from report_fault
        where month between $first and $last and state = 'cured' and cause is null
        union all
        select 'quality-left_truncated' as key, episode_id, 0 as sorting
        from report_fault
        where month between $first and $last and why = 'the first visit returns to a job that is not loaded'
    """,
}


_CUT = f"""
    with
        listed as ({"union all".join(_LISTS.values())}),
        placed as (
            select
                key,
                episode_id,
                row_number() over (partition by key order by sorting, episode_id desc) as place,
                count(*) over (partition by key) as total,
                cap
            from listed
            inner join report_key on report_key.wanted = listed.key
        )
    select key, episode_id, total
    from placed
    where place <= cap
    order by key, place
"""


def job_lists(connection: duckdb.DuckDBPyConnection, scope: Scope, keys: set[str]) -> pd.DataFrame:
    """List the faults behind each figure, the ones worth reading first, long lists cut.

    Parameters
    ----------
    connection
        The database, the scope's tables laid out.
    scope
        The report's scope.
    keys
        The lists wanted, such as ``wrong_swaps``, ``month-2026-09``, ``technician-A. Marsh``; parts of a key are
        joined by the unit separator.

    Returns
    -------
    DataFrame
        One row a list and fault, in order: key, episode_id, total (faults in the whole list).
    """
    import pandas as pd

    bounds = {
        "first": scope.first,
        "last": scope.last,
        "end": scope.end,
        "weighed": scope.weighed_from,
        "shown": scope.shown_from,
        "window": scope.window_days,
    }
    caps = {key: FIGURE_CAP if key in _LISTS else ROW_CAP for key in sorted(keys)}
    connection.register("report_key", pd.DataFrame({"wanted": list(caps), "cap": list(caps.values())}))
    try:
        return connection.execute(_CUT, bounds).df()
    finally:
        connection.unregister("report_key")


_VISITS = """
    with fitted as (
        select
            part_fitted.visit_id,
            string_agg(part_fitted.part, chr(31) order by part_fitted.part_line_id) as parts
        from report_episode
        inner join episode_visit on episode_visit.episode_id = report_episode.episode_id
        inner join part_fitted on part_fitted.visit_id = episode_visit.visit_id
        group by part_fitted.visit_id
    ),
    wrong as (
        select part_verdict.visit_id, sum(part_verdict.total_cost) as money
        from report_episode
        inner join part_verdict on part_verdict.episode_id = report_episode.episode_id
        where part_verdict.verdict = 'not the cause'
        group by part_verdict.visit_id
    )
    select
        episode_visit.episode_id,
        visit.visit_date,
        left(visit.job_no, 100) as job_no,
        case when $technician is null or visit.technician = $technician then left(visit.technician, 100) end
            as technician,
        visit.outcome,
        left(visit.cause, 400) as cause,
        fitted.parts,
        wrong.money as money
    from report_episode
    inner join episode_visit on episode_visit.episode_id = report_episode.episode_id
    inner join visit on visit.visit_id = episode_visit.visit_id
    left join fitted on fitted.visit_id = visit.visit_id
    left join wrong on wrong.visit_id = visit.visit_id
    order by episode_visit.episode_id, episode_visit.visit_no
"""


_UNITS = """
    select
        episode.episode_id,
        episode.kind,
        episode.make,
        episode.model,
        left(visit.complaint, 400) as complaint
    from report_episode
    inner join episode on episode.episode_id = report_episode.episode_id
    inner join visit on visit.visit_id = episode.episode_id
    order by episode.episode_id
"""


def job_details(
    connection: duckdb.DuckDBPyConnection, episodes: list[int], technician: str | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tell what happened on the visits of some faults; with ``technician`` no other is named.

    Returns
    -------
    tuple of DataFrame
        One row a fault: episode_id, kind, make, model, complaint (as told at the first visit). And one row a visit,
        in order: episode_id, visit_date, job_no, technician, outcome, cause, parts (terms joined by the unit separator;
        missing = none), money (cost of its parts that were not the cause; missing = none).
    """
    import pandas as pd

    connection.register("report_episode", pd.DataFrame({"episode_id": sorted(set(episodes))}, dtype="int64"))
    try:
        units = connection.execute(_UNITS).df()
        visits = connection.execute(
            _VISITS,
            {"technician": technician},
        ).df()
    finally:
        connection.unregister("report_episode")
    return units, visits
