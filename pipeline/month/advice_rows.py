"""The advice rows of a report: on which complaint a part is often not the cause, with the faults behind each row."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.month.scope import Scope

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

MOST_JOBS = 100


_LISTS = """
    with
        listed as (
            select distinct report_advice.key, part_verdict.episode_id
            from report_advice
            inner join part_verdict on part_verdict.part_line_id = report_advice.part_line_id
            where part_verdict.verdict = 'not the cause'
        ),
        placed as (
            select
                key,
                episode_id,
                row_number() over (partition by key order by episode_id desc) as place,
                count(*) over (partition by key) as total
            from listed
        )
    select key, episode_id, total
    from placed
    where place <= $most
    order by key, place
"""


def advice_rows(
    connection: duckdb.DuckDBPyConnection, scope: Scope, found: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the advice that stands today, and the faults behind each row.

    A view of one kind gets the rows that speak of it, under their own numbers; a technician's view gets the whole
    workshop's, since one person's verdicts are too few to find a pattern in.

    Parameters
    ----------
    connection
        The database.
    scope
        The report's scope.
    found
        The rows of `pipeline.advice.find.advice`.

    Returns
    -------
    tuple of DataFrame
        The rows, with ``jobs`` the key of the row's list and ``job_nos`` its job numbers. And one row a list and fault:
        key, episode_id, total.
    """
    import pandas as pd

    if scope.kind is not None:
        found = found[found["kinds"].map(lambda kinds: scope.kind in kinds).astype(bool)].reset_index(drop=True)
    keys = [f"advice-{number}" for number in found["number"]]
    rows = found.drop(columns=["part_line_ids"]).assign(job_nos=found["jobs"], jobs=keys)
    lines = pd.DataFrame(
        {"key": pd.Series(keys, dtype=object), "part_line_id": found["part_line_ids"].astype(object)}
    ).explode("part_line_id")
    connection.register("report_advice", lines.astype({"part_line_id": "int64"}))
    try:
        lists = connection.execute(
            _LISTS,
            {"most": MOST_JOBS},
        ).df()
    finally:
        connection.unregister("report_advice")
    return rows, lists
