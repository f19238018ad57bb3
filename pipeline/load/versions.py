"""Whether a line is new, already held word for word, or a new version of a visit held before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sql.working import make

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class Versions:
    """Lines by what became of them: loaded = new or a new version; replaced = new versions among the loaded.

    ``keys_differ``: each is a line a visit and is known by something that no other line, held or of the file, has.
    """

    loaded: int
    unchanged: int
    replaced: int
    keys_differ: bool = False


def compare(connection: duckdb.DuckDBPyConnection, grain: str) -> Versions:
    """Make working table ``fresh`` of the candidate lines that are new or changed, ``found_again`` of the others.

    Reads ``candidate``, ``screened`` and ``counted_record``.

    A visit is known by its job number and day, without a job number by the appliance and day. Where several visits go
    by one such key, a visit is a version of the held one with the same content, else with the same appliance, else with
    the same complaint; what matches none is a new visit: a doubled one can be seen and corrected, a lost one cannot.
    """
    (candidates,) = connection.execute("select count(*) from candidate").fetchall()[0]
    make(connection, "held")
    if grain == "visit" and _is_all_new(connection, candidates):
        make(connection, "fresh_all", "found_again_none")
        return Versions(candidates, 0, 0, keys_differ=True)
    make(connection, "arrived_of_parts" if grain == "part" else "arrived", "visit_arrived")
    make(connection, "matched", "matched_by_content_hash", "unchanged", "found_again")
    make(connection, "matched_by_unit", "matched_by_complaint", "named", "fresh")
    loaded, replaced = connection.execute("select count(*), count(held_id) from fresh").fetchall()[0]
    return Versions(loaded, candidates - loaded, replaced)


def _is_all_new(connection: duckdb.DuckDBPyConnection, candidates: int) -> bool:
    held, different = connection.execute(
        "select (select count(*) from held), (select count(distinct base_key) from candidate)"
    ).fetchall()[0]
    return bool(held == 0 and different == candidates)
