"""The owner's own marts: a folder of SQL files beside the database, each one query, built as tables after every load.

``workshop.marts/busy_days.sql`` beside ``workshop.duckdb`` makes the table ``own_busy_days``.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import duckdb

from pipeline.errors import shown

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.store.database import Database

PREFIX = "own_"


def folder_of(database: Database) -> Path:
    """Where the owner's queries lie."""
    return database.path.with_suffix(".marts")


def own_tables(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Names of the own marts that are built."""
    rows = connection.execute(
        "select table_name from duckdb_tables() where schema_name = 'main' and not temporary "
        f"and starts_with(table_name, '{PREFIX}') order by 1"
    ).fetchall()
    return [name for (name,) in rows]


def build_own_marts(database: Database) -> list[str]:
    """Build every own mart anew and drop those whose file is gone; returns what a person should know.

    A query that fails leaves its mart out, stops nothing, and is told.
    """
    connection = database.connection
    files = sorted(folder_of(database).glob("*.sql"))
    notes = []
    for table in own_tables(connection):
        connection.execute(f'drop table "{table}"')
    for file in files:
        if not re.fullmatch(r"[a-z][a-z0-9_]*", file.stem):
            notes.append(
                f"Own mart {shown(file.name)} was not built: name it in small letters, digits and underscores."
            )
            continue
        try:
            query = file.read_text(encoding="utf-8-sig").strip().rstrip(";")
            connection.execute(f'create table "{PREFIX}{file.stem}" as from (\n{query}\n)')
            (rows,) = connection.execute(f'select count(*) from "{PREFIX}{file.stem}"').fetchall()[0]
            notes.append(f"Own mart {PREFIX}{file.stem}: {rows:,} rows.")
        except (duckdb.Error, OSError, UnicodeDecodeError) as fault:
            notes.append(f"Own mart {shown(file.name)} was not built: {shown(str(fault).splitlines()[0], 160)}")
    return notes
