"""Is a line new, already held word for word, or a new version of a visit held before?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.layout import FIELDS

if TYPE_CHECKING:
    import duckdb

CONTENT = (*FIELDS, "other_columns")
BASE_KEY = "regexp_replace(visit_key, '\\|#[0-9]+$', '')"


@dataclass(frozen=True)
class Versions:
    """Lines by what became of them: loaded = new or a new version; replaced = new versions among the loaded."""

    loaded: int
    unchanged: int
    replaced: int


def compare(connection: duckdb.DuckDBPyConnection, grain: str) -> Versions:
    """Make ``fresh`` of the candidate lines that are new or changed.

    Reads ``candidate`` and ``raw_record``. fresh: line_no, day, visit_key, line_in_visit, content_hash, held_id
    (visit_id of the version held before, null = a new visit), the fields as text, other_columns.

    A visit is known by its job number and day; where a job holds several appliances on one day also by the appliance;
    without a job number by the appliance and day. Several visits with one such key in a file of one line a visit are
    told apart by their content, then by their order.
    """
    (candidates,) = connection.execute("select count(*) from candidate").fetchall()[0]
    _part_units(connection)
    _find_held(connection)
    fields = ", ".join(f"candidate.{name}" for name in CONTENT)
    if grain == "visit" and _is_all_new(connection, candidates):
        connection.execute(
            "create or replace temp view fresh as select line_no, day, base_key as visit_key, 1 as line_in_visit, "
            f"line_hash as content_hash, null::bigint as held_id, {fields} from candidate"
        )
        return Versions(candidates, 0, 0)
    _match(connection, grain)
    connection.execute(
        "create or replace temp table fresh as select candidate.line_no, candidate.day, versioned.visit_key, "
        f"versioned.line_in_visit, versioned.content_hash, versioned.held_id, {fields} "
        "from versioned join candidate using (line_no)"
    )
    loaded, replaced = connection.execute("select count(*), count(held_id) from fresh").fetchall()[0]
    return Versions(loaded, candidates - loaded, replaced)


def _part_units(connection: duckdb.DuckDBPyConnection) -> None:
    """Tell apart the appliances of a job that holds several on one day."""
    crowded = (
        "select base_key from candidate where starts_with(base_key, 'job:') group by base_key "
        "having count(*) > 1 and count(distinct unit_in_job) > 1"
    )
    if connection.execute(f"select count(*) from ({crowded})").fetchall()[0][0]:
        connection.execute(
            f"update candidate set base_key = base_key || '|' || unit_in_job where base_key in ({crowded})"
        )


def _find_held(connection: duckdb.DuckDBPyConnection) -> None:
    """Make table ``held`` of the visits in force that the candidates may be versions of."""
    connection.execute(
        f"create or replace temp table held as select visit_key, {BASE_KEY} as base_key, "
        "min(record_id) as visit_id, max_by(content_hash, batch_id) as content_hash from raw_record "
        f"where {BASE_KEY} in (select base_key from candidate) group by all"
    )


def _is_all_new(connection: duckdb.DuckDBPyConnection, candidates: int) -> bool:
    held, different = connection.execute(
        "select (select count(*) from held), (select count(distinct base_key) from candidate)"
    ).fetchall()[0]
    return bool(held == 0 and different == candidates)


def _match(connection: duckdb.DuckDBPyConnection, grain: str) -> None:
    """Make table ``versioned`` of the lines that are new or changed: line_no, visit_key, line_in_visit, hash, held_id."""
    if grain == "part":
        connection.execute(
            "create or replace temp table arrived as select line_no, base_key, "
            "row_number() over (partition by base_key order by line_no) as line_in_visit, "
            "md5(string_agg(line_hash, '' order by line_no) over (partition by base_key)) as content_hash from candidate"
        )
    else:
        connection.execute(
            "create or replace temp view arrived as "
            "select line_no, base_key, 1 as line_in_visit, line_hash as content_hash from candidate"
        )
    connection.execute(
        "create or replace temp table versioned as with "
        "changed as (select * from arrived where not exists (select 1 from held "
        "where held.base_key = arrived.base_key and held.content_hash = arrived.content_hash)), "
        "visits as (select base_key, content_hash, min(line_no) as line_no from changed group by all), "
        "numbered as (select *, row_number() over (partition by base_key order by line_no) as n from visits), "
        "stale as (select *, row_number() over (partition by base_key order by visit_id) as n from held "
        "where not exists (select 1 from arrived "
        "where held.base_key = arrived.base_key and held.content_hash = arrived.content_hash)), "
        "taken as (select base_key, max(coalesce(try_cast(regexp_extract(visit_key, '\\|#([0-9]+)$', 1) as integer), 1)) as highest "
        "from held group by all), "
        "named as (select numbered.base_key, numbered.content_hash, numbered.line_no, stale.visit_id as held_id, "
        "coalesce(stale.visit_key, numbered.base_key || case when "
        "numbered.n - coalesce(gone.gone, 0) + coalesce(taken.highest, 0) > 1 then "
        "'|#' || (numbered.n - coalesce(gone.gone, 0) + coalesce(taken.highest, 0)) else '' end) as visit_key "
        "from numbered left join stale using (base_key, n) left join taken using (base_key) "
        "left join (select base_key, count(*) as gone from stale group by all) as gone using (base_key)) "
        "select changed.line_no, named.visit_key, changed.line_in_visit, changed.content_hash, named.held_id "
        "from changed join named using (base_key, content_hash) "
        + ("" if grain == "part" else "where changed.line_no = named.line_no")
    )
