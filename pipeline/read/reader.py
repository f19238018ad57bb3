"""Any file of records becomes a table of text cells with line numbers; what cannot be read is kept with its reason."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.errors import FileUnreadable, UsageError, shown

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

    from pipeline.read.incoming import Reading, Records
    from pipeline.read.sources import Source


def read(connection: duckdb.DuckDBPyConnection, source: Source, reading: Reading, scratch: Path) -> Records:
    """Read one file into the temporary table ``incoming``.

    Parameters
    ----------
    connection
        Where the table is made; an old one is replaced.
    source
        The file; see `pipeline.read.sources`.
    reading
        What is known beforehand.
    scratch
        Folder the connection may read from.

    Returns
    -------
    Records
        One row of ``incoming`` a line that is not blank; missing cells are null.

    Raises
    ------
    FileUnreadable
        Not readable as what it claims to be, or without a header.
    """
    from pipeline.read import delimited, json_parquet, spreadsheet

    if source.size == 0:
        raise FileUnreadable(f"{shown(source.name)} is empty.", "Export it again.")
    if source.form == "sheet":
        return spreadsheet.read_sheet(connection, source, reading)
    if reading.join:
        return _read_joined(connection, source, reading, scratch)
    if source.form == "text":
        return delimited.read_text(connection, source, reading, scratch)
    if source.form == "json":
        return json_parquet.read_json(connection, source)
    return json_parquet.read_parquet(connection, source)


def _read_joined(connection: duckdb.DuckDBPyConnection, source: Source, reading: Reading, scratch: Path) -> Records:
    """Read a file with the lines of a second one that was given beside it."""
    from pipeline.read.joined import join_tables

    name, by = reading.join or ("", "")
    if source.second is None:
        raise UsageError(
            f"The layout adds the lines of {shown(name)} to {shown(source.name)}, and no file of that name was given.",
            f"Load both at once: priorjobs load {source.name} {name} --layout FILE",
        )
    alone = replace(reading, join=None)
    records = read(connection, source, alone, scratch)
    connection.execute("create or replace temp table first_table as select * from incoming")
    second = read(connection, source.second, replace(alone, header_line=None, encoding=None, delimiter=None), scratch)
    connection.execute("create or replace temp table second_table as select * from incoming")
    (lines,) = connection.execute("select count(*) from second_table").fetchall()[0]
    join_tables(connection, records, source.name, second, source.second.name, by)
    records.refused += [replace(line, rule=f"({source.second.name}) {line.rule}") for line in second.refused]
    records.notes.append(f"The {lines:,} lines of {shown(source.second.name)} were added by {shown(by)}.")
    return records
