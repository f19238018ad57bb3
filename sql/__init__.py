"""The tables: what happened, from raw lines to marts. One .sql file makes one table, and says what it means.

``create`` makes all tables and views, ``rebuild`` fills the core and the marts from the staged tables (after a load
`sql.refresh` does, for the units touched alone), ``offenders`` runs what must hold, ``data_dictionary`` says what every
column means. All take an open DuckDB connection.

Tables of the core and the marts hold what the visits of a unit say, whatever the day. What depends on the end of
follow-up, or counts over units, is a view: a new day changes no row.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

SCHEMA_VERSION = 6

_FOLDER = Path(__file__).parent
RAW = "10_raw"
"""Folder of the tables that a load fills; all others are derived."""
_RESERVED = ("key", "reads", "written by", "changes by")
_STATEMENT_END = re.compile(r"^((?!--).*);[ \t]*$", re.MULTILINE)
_HEADER_ENTRY = re.compile(r"^-- ([a-z][\w ]*):[ \t]+(.*)$")
_HEADER_MORE = re.compile(r"^--[ \t]{8,}(.*)$")
_RAW_COLUMN = re.compile(r"^    (\w+) \w.*?--[ \t]*(.*)$", re.MULTILINE)
_MUST_HOLD = re.compile(r"^-- must hold: (.*)$", re.MULTILINE)


@dataclass(frozen=True)
class TableFile:
    """One .sql file, taken apart.

    Attributes
    ----------
    table
        Name of the table, and of the file.
    folder
        Layer: ``10_raw``, ``20_core`` or ``30_marts``.
    grain
        First line of the file: what one row is.
    key
        Columns that tell its rows apart, as its header says; empty for a table of one row.
    reads
        Tables the statement reads, as its header says.
    comments
        Meaning of a column, where this file states it.
    create
        The statement that makes the table.
    must_hold
        Name of an invariant -> the query that returns its offenders.
    changes_by
        Column by which rows go with the visits of a unit, as its header says; None = a view, a table that a load fills,
        or one made as a whole.
    """

    table: str
    folder: str
    grain: str
    key: tuple[str, ...]
    reads: tuple[str, ...]
    comments: dict[str, str]
    create: str
    must_hold: dict[str, str]
    changes_by: str | None

    @property
    def is_view(self) -> bool:
        """Whether the statement makes a view: readers find it like a table."""
        return "\ncreate or replace view " in self.create

    @property
    def is_figure(self) -> bool:
        """Whether it is a view of the marts: what it says follows from its tables and the day."""
        return self.is_view and self.folder == "30_marts"

    @property
    def query(self) -> str:
        """The query whose rows fill a table of core or marts."""
        return self.create.split(f"\ncreate or replace table {self.table} as\n", 1)[1]


def create(connection: duckdb.DuckDBPyConnection) -> None:
    """Make all tables and views as today's files have them, with their comments.

    Tables that a load fills stay where they are; those of core and marts are made anew, empty: see `rebuild`.
    """
    here = "database_name = current_database() and schema_name = 'main'"
    for name, what in connection.execute(
        f"select table_name, 'table' from duckdb_tables() where {here} "
        f"union all select view_name, 'view' from duckdb_views() where {here}"
    ).fetchall():
        if any(file.table == name and (file.is_view or file.folder != RAW) for file in table_files()):
            connection.execute(f"drop {what} {name}")
    connection.execute(_script())


def rebuild(connection: duckdb.DuckDBPyConnection, built: Callable[[int, int], None] = lambda _done, _of: None) -> None:
    """Fill the core and the marts anew from the staged tables; the caller holds the transaction.

    Parameters
    ----------
    connection
        Where the staged tables are.
    built
        Told after every table how many are built, and of how many.

    Raises
    ------
    ValueError
        There are visits, and ``setting`` does not hold exactly one row.
    """
    ((settings, visits),) = connection.execute(
        "select (select count(*) from setting), (select count(*) from stage_visit)"
    ).fetchall()
    if settings > 1 or (visits and not settings):
        raise ValueError(f"table setting holds {settings} rows; rebuild needs exactly one")
    files = built_tables()
    for done, file in enumerate(files, start=1):
        connection.execute(f"truncate {file.table}")
        connection.execute(f"insert into {file.table}\n{file.query}")
        built(done, len(files))


def offenders(connection: duckdb.DuckDBPyConnection) -> dict[str, list[tuple[Any, ...]]]:
    """Run everything that must hold.

    Returns
    -------
    dict
        "table: what must hold" -> the rows that break it; an empty list is the good answer.
    """
    return {
        f"{file.table}: {name}": connection.execute(query).fetchall()
        for file in table_files()
        for name, query in file.must_hold.items()
    }


def data_dictionary(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Describe every table and column there is, in the order of the flow.

    Returns
    -------
    DataFrame
        One row a column: layer, table, grain, column, type, meaning (None = the files do not say).
    """
    layer = {file.table: (file.folder, file.grain) for file in table_files()}
    columns = connection.execute(
        "select table_name, column_name, data_type, comment from duckdb_columns()"
        " where schema_name = 'main' and not internal order by table_oid, column_index"
    ).df()
    columns = columns[columns["table_name"].isin(list(layer))]
    place = {table: position for position, table in enumerate(layer)}
    columns = columns.assign(
        place=columns["table_name"].map(place),
        layer=columns["table_name"].map(lambda table: layer[table][0]),
        grain=columns["table_name"].map(lambda table: layer[table][1]),
    ).sort_values("place", kind="stable")
    return columns.rename(
        columns={"table_name": "table", "column_name": "column", "data_type": "type", "comment": "meaning"}
    )[["layer", "table", "grain", "column", "type", "meaning"]].reset_index(drop=True)


@cache
def table_files() -> tuple[TableFile, ...]:
    """Return every .sql file, layer by layer, each after the tables it reads."""
    files = {path.stem: _read(path) for path in sorted(_FOLDER.glob("[0-9]*/*.sql"))}
    order = TopologicalSorter({table: file.reads for table, file in files.items()})
    return tuple(sorted((files[table] for table in order.static_order()), key=lambda file: file.folder))


@cache
def built_tables() -> tuple[TableFile, ...]:
    """Return the files of core and marts that make tables, each after those it reads."""
    return tuple(file for file in table_files() if file.folder != RAW and not file.is_view)


@cache
def fingerprint() -> str:
    """Return what changes when any .sql file does: tables built by other files are not those the program knows."""
    digest = hashlib.blake2b(digest_size=16)
    for path in sorted(_FOLDER.glob("[0-9]*/*.sql")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def meaning(table: str, column: str) -> str | None:
    """Return what a column means: as its own file says, else as the tables it reads say."""
    files = {file.table: file for file in table_files()}
    file = files[table]
    if column in file.comments:
        return file.comments[column]
    return next((found for source in file.reads if (found := meaning(source, column)) is not None), None)


def _read(path: Path) -> TableFile:
    parts = _STATEMENT_END.sub("\\1\0", path.read_text(encoding="utf-8")).split("\0")
    statements = [part.strip() for part in parts if part.strip()]
    create, checks = statements[0], statements[1:]
    header = _header(create)
    comments = {name: text for name, text in header.items() if name not in _RESERVED}
    if path.parent.name == RAW:
        comments |= dict(_RAW_COLUMN.findall(create))
    return TableFile(
        table=path.stem,
        folder=path.parent.name,
        grain=create.splitlines()[0].removeprefix("-- "),
        key=_names(header["key"]) if header["key"] != "none, one row" else (),
        reads=_names(header.get("reads", "")),
        comments=comments,
        create=create,
        must_hold={_MUST_HOLD.findall(check)[0]: check for check in checks},
        changes_by=header.get("changes by"),
    )


def _names(entry: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in entry.split(",") if name.strip())


def _header(statement: str) -> dict[str, str]:
    entries: dict[str, str] = {}
    last = None
    for line in statement.splitlines()[1:]:
        if not line.startswith("--"):
            break
        if found := _HEADER_ENTRY.match(line):
            last = found[1]
            entries[last] = found[2].strip()
        elif last is not None and (more := _HEADER_MORE.match(line)):
            entries[last] += " " + more[1].strip()
        else:
            last = None
    return entries


@cache
def _script() -> str:
    """Statements that make all tables and views, with their comments.

    The columns of core and marts are those that their queries give on an empty workshop.
    """
    import duckdb

    files = table_files()
    with duckdb.connect(config={"threads": 1}) as empty:
        for file in files:
            empty.execute(file.create)
        made = dict(empty.execute("select table_name, sql from duckdb_tables()").fetchall())
        columns = dict(
            empty.execute(
                "select table_name, list(column_name order by column_index) from duckdb_columns() "
                "where schema_name = 'main' group by table_name"
            ).fetchall()
        )
    return "".join(
        (file.create + ";" if file.is_view or file.folder == RAW else made[file.table])
        + _comments(file, columns[file.table])
        for file in files
    )


def _comments(file: TableFile, columns: list[str]) -> str:
    meanings = {column: meaning(file.table, column) for column in columns}
    return f"comment on {'view' if file.is_view else 'table'} {file.table} is {_quoted(file.grain)};" + "".join(
        f"comment on column {file.table}.{column} is {_quoted(text)};"
        for column, text in meanings.items()
        if text is not None
    )


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
