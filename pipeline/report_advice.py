"""The advice rows of a report: on which complaint a part is often not the cause, with the faults behind each row."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.report_scope import Scope

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

MOST_JOBS = 100

_VERDICTS = """
    select
        report_part.part_line_id,
        report_part.visit_id,
        report_part.episode_id,
        report_part.part,
        report_part.kind,
        report_part.make,
        report_part.main_symptom,
        report_part.fault_code,
        report_part.verdict,
        report_part.confirmed_cause,
        report_part.total_cost,
        report_part.labour_minutes,
        report_part.trip_minutes,
        visit.job_no
    from report_part
    inner join visit on visit.visit_id = report_part.visit_id
    where report_part.visit_date between $shown and $end and report_part.verdict in ('cured', 'not the cause')
    order by report_part.part_line_id
"""
_FINDINGS = """
    select visit_finding.visit_id, visit_finding.finding, visit_finding.value
    from visit_finding
    where not visit_finding.is_doubtful
        and visit_finding.visit_id in (
            select visit_id
            from report_part
            where visit_date between $shown and $end and verdict in ('cured', 'not the cause')
        )
    order by all
"""


def advice(connection: duckdb.DuckDBPyConnection, scope: Scope) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find the advice rows in the verdicts of the months shown (two years), and the faults behind each.

    Returns
    -------
    tuple of DataFrame
        The rows of ``models.advice.find_advice``, worth most first, with ``jobs`` the key of the row's list. And one
        row a list and fault: key, episode_id, total.
    """
    import pandas as pd

    from models.advice import find_advice

    span = {"shown": scope.shown_from, "end": scope.end}
    verdicts = connection.execute(_VERDICTS, span).df()
    found = find_advice(verdicts, connection.execute(_FINDINGS, span).df())
    episode_of = verdicts[verdicts["verdict"] == "not the cause"].set_index("part_line_id")["episode_id"]
    keys = [f"advice-{place}" for place in range(1, len(found) + 1)]
    lists = [
        pd.DataFrame({"key": key, "episode_id": episode_of.reindex(lines).dropna().astype("int64").unique()})
        for key, lines in zip(keys, found["part_line_ids"], strict=True)
    ]
    empty = pd.DataFrame({"key": [], "episode_id": [], "total": []})
    listed = [frame.assign(total=len(frame)).head(MOST_JOBS) for frame in lists]
    rows = found.drop(columns=["part_line_ids"]).assign(job_nos=found["jobs"], jobs=keys)
    return rows, pd.concat(listed, ignore_index=True) if listed else empty
