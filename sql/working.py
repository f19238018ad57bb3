"""What a load hands from step to step: the tables in ``load/``, each made by the file of its name.

A file ``NAME_more.sql`` whose header says ``makes: NAME`` makes the same table in another case, or adds to it; one that
says ``written by`` declares a table that Python fills. Only what follows a layout is written in Python: ``incoming``
and ``line`` (`pipeline.load.shape`, `pipeline.load.mapping`), ``hashed``, ``screened`` and the macro ``plain_name``
(`pipeline.load.screen`).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

_FOLDER = Path(__file__).parent / "load"


def make(connection: duckdb.DuckDBPyConnection, *steps: str, **parameters: Any) -> None:
    """Run steps in order; ``parameters`` are bound where a step names them."""
    for step in steps:
        connection.execute(_statement(step), parameters or None)


def drop(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    """Drop a working table, which may be a view."""
    query = "select 1 from duckdb_views() where view_name = ? and temporary and not internal"
    what = "view" if connection.execute(query, [name]).fetchall() else "table"
    connection.execute(f"drop {what} {name}")


def drop_temporary(connection: duckdb.DuckDBPyConnection) -> None:
    """Forget the working tables: they hold unmasked text."""
    views = connection.execute("select view_name from duckdb_views() where temporary and not internal").fetchall()
    tables = connection.execute("select table_name from duckdb_tables() where temporary").fetchall()
    for (name,) in views:
        connection.execute(f"drop view if exists {name}")
    for (name,) in tables:
        connection.execute(f"drop table if exists {name}")


@cache
def _statement(step: str) -> str:
    return (_FOLDER / f"{step}.sql").read_text(encoding="utf-8")
