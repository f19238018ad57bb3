"""Tables of an older version, or built by other SQL, become today's."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import sql
from pipeline.errors import DatabaseUnusable, shown
from pipeline.store.beside import stem

if TYPE_CHECKING:
    import duckdb

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


def version(connection: duckdb.DuckDBPyConnection, path: Path) -> tuple[int | None, bool]:
    """Return the version of the tables in the file, None where there are none of ours, and whether they are today's."""
    tables = dict(
        connection.execute(
            "select table_name, comment from duckdb_tables() "
            "union all select view_name, comment from duckdb_views() where not internal"
        ).fetchall()
    )
    macros = _names(connection, "select distinct function_name from duckdb_functions() where not internal")
    if "database_version" not in tables:
        if tables or macros:
            raise DatabaseUnusable(
                f"{shown(path, 200)} holds tables, views or macros of another program.", "Name another file with --db."
            )
        return None, False
    _refuse_shadows(connection, path, macros)
    (found,) = connection.execute("select coalesce(max(version), 0) from database_version").fetchall()[0]
    if found > sql.SCHEMA_VERSION:
        raise DatabaseUnusable(
            f"{shown(path, 200)} was made by a newer priorjobs: its tables are version {found}, "
            f"this one knows {sql.SCHEMA_VERSION}.",
            "Install the newer version, or name another database with --db.",
        )
    is_current = found == sql.SCHEMA_VERSION and tables["database_version"] == sql.fingerprint()
    lacking = sorted({file.table for file in sql.table_files()} - set(tables))
    if is_current and lacking:
        raise DatabaseUnusable(
            f"{shown(path, 200)} is damaged: it lacks {', '.join(lacking[:5])}.",
            "Move it away and bring a backup back: priorjobs restore FILE",
        )
    return found, is_current


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
    connection.execute(f"comment on table database_version is '{sql.fingerprint()}'")
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
