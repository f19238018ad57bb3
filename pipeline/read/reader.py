"""Any file of records becomes a table of text cells with line numbers; what cannot be read is kept with its reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import FileUnreadable, shown

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
    if source.form == "text":
        return delimited.read_text(connection, source, reading, scratch)
    if source.form == "json":
        return json_parquet.read_json(connection, source)
    if source.form == "parquet":
        return json_parquet.read_parquet(connection, source)
    return spreadsheet.read_sheet(connection, source, reading)
