"""Tables of an older version, or built by other SQL, become today's."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple

import duckdb

import sql
from pipeline.errors import DatabaseUnusable, shown
from pipeline.store.workshop_files import stem

ADDED_COLUMNS = (  # since version 1, to tables that loads fill
    ("load_batch", "mapping varchar"),
    ("load_batch", "header varchar"),
    ("load_batch", "records_after bigint"),
    ("load_batch", "taken_back_at timestamp"),
    ("raw_record", "withdrawn_by integer"),
    ("setting", "wrong_labour_billed boolean default false"),
    ("raw_record", "branch varchar"),
    ("stage_visit", "branch varchar"),
    ("raw_record", "photos varchar"),
    ("stage_visit", "photos varchar"),
)


def _names(connection: duckdb.DuckDBPyConnection, query: str) -> list[str]:
    return sorted(str(name) for (name,) in connection.execute(query).fetchall())


def _refuse_shadows(connection: duckdb.DuckDBPyConnection, path: Path, macros: list[str]) -> None:
    """Refuse a file whose macros take the place of functions that the queries use: what they mean would be another."""
    if not macros:
        return
    ours = set(_names(connection, "select distinct function_name from duckdb_functions() where internal"))
    if shadows := [name for name in macros if name in ours]:
        raise DatabaseUnusable(
            f"{shown(path, 200)} holds macros in place of DuckDB's own functions: {', '.join(map(shown, shadows))}.",
            "Drop them there (drop macro NAME), or name another file with --db.",
        )


class Found(NamedTuple):
    """What an opened file holds.

    Attributes
    ----------
    version
        Of its tables; None = none of ours.
    is_current
        Whether they are those that today's program makes.
    changed
        Views of ours that another program changed, and what it dropped that is built from records.
    """

    version: int | None
    is_current: bool
    changed: tuple[str, ...] = ()


def found_in(connection: duckdb.DuckDBPyConnection, path: Path) -> Found:
    """Say what a file holds; refuse what is not ours, or no longer."""
    comments = dict(
        connection.execute(
            "select table_name, comment from duckdb_tables() "
            "union all select view_name, comment from duckdb_views() where not internal"
        ).fetchall()
    )
    macros = _names(connection, "select distinct function_name from duckdb_functions() where not internal")
    if "database_version" not in comments:
        if comments or macros:
            raise DatabaseUnusable(
                f"{shown(path, 200)} holds tables, views or macros of another program.", "Name another file with --db."
            )
        return Found(None, is_current=False)
    _refuse_shadows(connection, path, macros)
    (version,) = connection.execute("select coalesce(max(version), 0) from database_version").fetchall()[0]
    if version > sql.SCHEMA_VERSION:
        raise DatabaseUnusable(
            f"{shown(path, 200)} was made by a newer priorjobs: its tables are version {version}, "
            f"this one knows {sql.SCHEMA_VERSION}.",
            "Install the newer version, or name another database with --db.",
        )
    fingerprint, _, signed = str(comments["database_version"]).partition("\n")
    changed = _changed(connection, path, json.loads(signed)) if signed else ()
    is_of_today = version == sql.SCHEMA_VERSION and fingerprint == sql.fingerprint() and bool(signed)
    return Found(version, is_of_today and not changed, changed)


def _changed(connection: duckdb.DuckDBPyConnection, path: Path, signed: dict[str, Any]) -> tuple[str, ...]:
    """Return what is not as it was signed and can be built anew; refuse where rows would be lost, ours or another's."""
    made, held = signed["made"], _made(connection)
    if signed["by"] != duckdb.__version__:  # it writes statements out in other words, perhaps
        held = {name: made.get(name, "") for name in held}
    loaded = {file.table for file in sql.table_files() if file.folder == sql.RAW and not file.is_view}
    changed = tuple(sorted(name for name in made if held.get(name) != made[name]))
    if lost := [name for name in changed if name in loaded and name not in held]:
        raise DatabaseUnusable(
            f"{shown(path, 200)} is damaged: it lacks {', '.join(lost[:5])}.",
            "Move it away and bring a backup back: priorjobs restore FILE",
        )
    tables = _names(connection, f"select table_name from duckdb_tables() where {_HERE}")
    if others := [name for name in changed if name in loaded or name in tables]:
        raise DatabaseUnusable(
            f"Another program changed {', '.join(others[:5])} in {shown(path, 200)}.",
            "Undo that with the program that did it (rename or drop what it added), "
            "or move the file away and bring a backup back: priorjobs restore FILE",
        )
    return changed


_HERE = "database_name = current_database() and schema_name = 'main'"


def _made(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Return our tables and views in the file, each with a hash of the statement that makes it."""
    ours = {file.table for file in sql.table_files()}
    found = connection.execute(
        f"select table_name, md5(sql)[:12] from duckdb_tables() where {_HERE} "
        f"union all select view_name, md5(sql)[:12] from duckdb_views() where {_HERE}"
    ).fetchall()
    return {name: statement for name, statement in sorted(found) if name in ours}


def copy_of(path: Path) -> Path:
    """Return where the file as it was is kept, before tables that loads fill change."""
    return path.with_name(f"{stem(path)}.before-version-{sql.SCHEMA_VERSION}.duckdb")


def build_todays(connection: duckdb.DuckDBPyConnection) -> None:
    """Build today's tables from what the file holds; the caller holds the transaction."""
    connection.execute("create table if not exists database_version (version integer not null)")
    for table, column in ADDED_COLUMNS:
        connection.execute(f"alter table if exists {table} add column if not exists {column}")
    sql.create(connection)
    _move_advice(connection)
    connection.execute("delete from database_version")
    connection.execute("insert into database_version values (?)", [sql.SCHEMA_VERSION])
    signed = json.dumps({"by": duckdb.__version__, "made": _made(connection)}, separators=(",", ":"))
    connection.execute(f"comment on table database_version is '{sql.fingerprint()}\n{signed}'")
    if connection.execute("select 1 from stage_visit limit 1").fetchall():
        sql.rebuild(connection)


def _move_advice(connection: duckdb.DuckDBPyConnection) -> None:
    """Up to version 3 advice taken up stood among the decisions on words, its pattern as JSON."""
    rows = connection.execute(
        "select correction_id, decided_at, term::date, written, undone_at from correction where list = 'advice'"
    ).fetchall()
    for number, decided_at, adopted_on, written, undone_at in rows:
        row = {"advice_id": number, "decided_at": decided_at, "adopted_on": adopted_on, "undone_at": undone_at}
        row |= json.loads(written)
        connection.execute(
            f"insert into advice_taken ({', '.join(row)}) values ({', '.join('?' * len(row))})", list(row.values())
        )
    connection.execute("delete from correction where list = 'advice'")
