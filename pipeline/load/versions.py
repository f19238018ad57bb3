"""Whether a line is new, already held word for word, or a new version of a visit held before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.load.screen import plain_sql, unit_sql

if TYPE_CHECKING:
    import duckdb

BASE_KEY = "regexp_replace(visit_key, '\\|#[0-9]+$', '')"
NUMBER = "coalesce(try_cast(regexp_extract(visit_key, '\\|#([0-9]+)$', 1) as integer), 1)"


@dataclass(frozen=True)
class Versions:
    """Lines by what became of them: loaded = new or a new version; replaced = new versions among the loaded."""

    loaded: int
    unchanged: int
    replaced: int


def compare(connection: duckdb.DuckDBPyConnection, grain: str) -> Versions:
    """Make ``fresh`` of the candidate lines that are new or changed.

    Reads ``candidate``, ``screened`` and ``counted_record``. fresh: line_no, day, visit_key, line_in_visit,
    content_hash (null = the line's own), held_id (visit_id of the version held before, null = a new visit).
    Table ``found_again`` has the others: line_no, record_id of the line held.

    A visit is known by its job number and day, without a job number by the appliance and day. Where several visits go
    by one such key, a visit is a version of the held one with the same content, else with the same appliance, else with
    the same complaint; what matches none is a new visit: a doubled one can be seen and mended, a lost one cannot.
    """
    (candidates,) = connection.execute("select count(*) from candidate").fetchall()[0]
    _find_held(connection)
    if grain == "visit" and _is_all_new(connection, candidates):
        connection.execute(
            "create or replace temp view fresh as select line_no, day, base_key as visit_key, 1 as line_in_visit, "
            "null::varchar as content_hash, null::bigint as held_id from candidate"
        )
        connection.execute("create or replace temp table found_again (line_no bigint, record_id bigint)")
        return Versions(candidates, 0, 0)
    _gather_visits(connection, grain)
    _match(connection)
    connection.execute(
        "create or replace temp table fresh as select candidate.line_no, candidate.day, named.visit_key, "
        "arrived.line_in_visit, arrived.content_hash, named.held_id "
        "from named join arrived using (visit_line) join candidate using (line_no)"
    )
    loaded, replaced = connection.execute("select count(*), count(held_id) from fresh").fetchall()[0]
    return Versions(loaded, candidates - loaded, replaced)


def _find_held(connection: duckdb.DuckDBPyConnection) -> None:
    """Make table ``held`` of the visits in force that the candidates may be versions of."""
    connection.execute(
        "create or replace temp table held as with versions as ("
        f"select visit_key, {BASE_KEY} as base_key, min(record_id) as visit_id, max(batch_id) as batch_id "
        f"from counted_record where {BASE_KEY} in (select base_key from candidate) group by all) "
        "select visit_key, batch_id, base_key, visit_id, line.content_hash, "
        f"{unit_sql('stage_visit.serial', plain_sql('line.appliance_kind'))} as unit, line.complaint "
        "from versions join counted_record as line using (visit_key, batch_id) join stage_visit using (visit_id) "
        "where line.line_in_visit = 1"
    )


def _is_all_new(connection: duckdb.DuckDBPyConnection, candidates: int) -> bool:
    held, different = connection.execute(
        "select (select count(*) from held), (select count(distinct base_key) from candidate)"
    ).fetchall()[0]
    return bool(held == 0 and different == candidates)


def _gather_visits(connection: duckdb.DuckDBPyConnection, grain: str) -> None:
    """Make tables ``arrived`` (line_no, visit_line, line_in_visit, content_hash) and ``visit_arrived`` (visit_line, …).

    visit_line is the first line of a visit; lines that repeat a whole visit word for word are in neither table.
    """
    kind = f"coalesce({plain_sql('appliance_kind')}, '')"
    lines = (
        f"select line_no, base_key, complaint, line_hash, serial_term, {kind} as kind_key, "
        f"{unit_sql('serial_term', kind)} as unit from candidate join screened using (line_no)"
    )
    if grain == "part":
        several = (
            "(select base_key from lines group by base_key having count(distinct serial_term) > 1 "
            "or count(distinct kind_key) > 1)"
        )
        connection.execute(
            f"create or replace temp table arrived as with lines as materialized ({lines}), parts as (select *, "
            f"case when base_key in {several} then unit else '' end as part_of from lines) "
            "select *, min(line_no) over visit as visit_line, "
            "row_number() over (visit order by line_no) as line_in_visit, "
            "md5(string_agg(line_hash, '' order by line_no) over visit) as content_hash from parts "
            "window visit as (partition by base_key, part_of)"
        )
    else:
        connection.execute(
            "create or replace temp table arrived as select line_no, base_key, complaint, unit, "
            f"line_no as visit_line, 1 as line_in_visit, line_hash as content_hash from ({lines}) "
            "qualify row_number() over (partition by base_key, line_hash order by line_no) = 1"
        )
    connection.execute(
        "create or replace temp table visit_arrived as select visit_line, base_key, content_hash, unit, complaint "
        "from arrived where line_no = visit_line"
    )


def _match(connection: duckdb.DuckDBPyConnection) -> None:
    """Make table ``named`` of the visits that are new or changed: visit_line, visit_key, held_id."""
    connection.execute("create or replace temp table matched (visit_line bigint, visit_key varchar, held_id bigint)")
    for same in ("content_hash", "unit", "complaint"):
        connection.execute(
            "insert into matched with "
            f"a as (select *, row_number() over (partition by base_key, {same} order by visit_line) as n "
            "from visit_arrived where visit_line not in (select visit_line from matched)), "
            f"h as (select *, row_number() over (partition by base_key, {same} order by visit_id) as n "
            "from held where visit_key not in (select visit_key from matched)) "
            f"select a.visit_line, h.visit_key, h.visit_id from a join h using (base_key, {same}, n)"
        )
        if same == "content_hash":
            connection.execute("create or replace temp table unchanged as select visit_line from matched")
            connection.execute(
                "create or replace temp table found_again as select arrived.line_no, line.record_id from matched "
                "join held using (visit_key) join arrived using (visit_line) join counted_record as line "
                "on line.visit_key = held.visit_key and line.batch_id = held.batch_id "
                "and line.line_in_visit = arrived.line_in_visit"
            )
    connection.execute(
        "create or replace temp table named as with "
        f"highest as (select base_key, max({NUMBER}) as highest from held group by base_key), "
        "added as (select visit_line, base_key, coalesce(highest, 0) "
        "+ row_number() over (partition by base_key order by visit_line) as n "
        "from visit_arrived left join highest using (base_key) "
        "where visit_line not in (select visit_line from matched)) "
        "select visit_line, base_key || case when n > 1 then '|#' || n else '' end as visit_key, "
        "null::bigint as held_id from added union all "
        "select * from matched where visit_line not in (select visit_line from unchanged)"
    )
