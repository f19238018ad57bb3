"""A table or mart as a file for others: CSV, Parquet or XLSX, by the file's ending.

No cell of a spreadsheet file can be read as a formula: in XLSX text is written as text, in CSV text that a spreadsheet
would calculate gets an apostrophe before it. Parquet holds the values as they are.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import math
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import UsageError, shown
from pipeline.store.atomic_write import whole
from pipeline.store.outputs import PARQUET, WORKBOOK, may_write
from pipeline.store.own_marts import own_tables
from pipeline.store.sheet_text import safe_in_sheet

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.store.database import Database

ENDINGS = (".csv", ".json", ".parquet", ".xlsx")
ROWS_AT_ONCE = 20_000
SHEET_ROWS = 1_048_575  # below the header
CELL_LENGTH = 32_767


def tables() -> list[str]:
    """Names of the tables that can be exported, in the order of the flow."""
    import sql

    return [file.table for file in sql.table_files()]


def export_table(database: Database, table: str, path: Path) -> int:
    """Write one table to a file, whole or not at all, in the order of its key.

    Parameters
    ----------
    database
        The workshop's database.
    table
        Name of a table or mart.
    path
        Target; its ending names the form. A file of that name is replaced.

    Returns
    -------
    int
        Number of rows written.

    Raises
    ------
    UsageError
        No such table, an ending that is none of the four, too many rows for a sheet.
    FileUnusable
        The disk is full, or the place cannot be written.
    """
    import sql

    keys = {file.table: file.key for file in sql.table_files()}
    keys |= dict.fromkeys(own_tables(database.connection), ())
    if table not in keys:
        near = get_close_matches(table, keys, n=3)
        hint = f"Did you mean {', '.join(near)}?" if near else f"There are: {', '.join(keys)}."
        raise UsageError(f"There is no table {shown(table)}.", hint)
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise UsageError(
            f"{shown(path)} ends in {shown(path.suffix)}, which is not a kind of file that is written.",
            f"Name the file {', '.join(ENDINGS)}.",
        )
    (first, *_), *_ = database.connection.execute(f"describe {table}").fetchall()
    forms = {".csv": first.encode(), ".json": b"[", ".parquet": PARQUET, ".xlsx": WORKBOOK}
    may_write(path, forms[ending], database=database)
    ((rows,),) = database.connection.execute(f"select count(*) from {table}").fetchall()
    if ending == ".xlsx" and rows > SHEET_ROWS:
        raise UsageError(f"{table} has {rows:,} rows; a sheet holds {SHEET_ROWS:,}.", "Name the file .csv or .parquet.")
    order = f" order by {', '.join(keys[table])}" if keys[table] else ""
    query = f"select * from {table}{order}"
    with whole(path) as draft:
        WRITERS[ending](database, query, table, draft)
    return int(rows)


def _write_csv(database: Database, query: str, _table: str, path: Path) -> None:
    names, batches = _batches(database, query)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(names)
        for batch in batches:
            writer.writerows([_csv_cell(value) for value in row] for row in batch)


def _write_json(database: Database, query: str, _table: str, path: Path) -> None:
    """One JSON list, an object a line; what is not known is null."""
    names, batches = _batches(database, query)
    with path.open("w", encoding="utf-8") as file:
        before = "[\n"
        for batch in batches:
            for row in batch:
                known = [None if isinstance(v, float) and not math.isfinite(v) else v for v in row]
                one = dict(zip(names, known, strict=True))
                file.write(before + json.dumps(one, ensure_ascii=False, default=str))
                before = ",\n"
        file.write("[]\n" if before == "[\n" else "\n]\n")


def _write_parquet(database: Database, query: str, _table: str, path: Path) -> None:
    import pyarrow.parquet as pq

    reader: Any = database.connection.cursor().sql(query).to_arrow_reader(ROWS_AT_ONCE)
    with pq.ParquetWriter(path, reader.schema) as writer:
        for batch in reader:
            writer.write_batch(batch)


def _write_xlsx(database: Database, query: str, table: str, path: Path) -> None:
    import xlsxwriter

    from reports.render.sheet_metadata import name_no_program

    names, batches = _batches(database, query)
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "in_memory": False,
    }
    with xlsxwriter.Workbook(path, options) as book:
        sheet = book.add_worksheet(table[:31])
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        sheet.write_row(0, 0, names, book.add_format({"bold": True}))
        sheet.freeze_panes(1, 0)
        number = 0
        for batch in batches:
            for row in batch:
                number += 1
                for column, value in enumerate(row):
                    _write_cell(sheet, number, column, value, day, moment)
    name_no_program(path)


def _write_cell(sheet: Any, row: int, column: int, value: Any, day: Any, moment: Any) -> None:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value)
    elif isinstance(value, int | float) and abs(value) < 2**53:
        sheet.write_number(row, column, value)
    elif isinstance(value, dt.datetime):
        sheet.write_datetime(row, column, value, moment)
    elif isinstance(value, dt.date) and value.year >= 1900:
        sheet.write_datetime(row, column, value, day)
    else:
        sheet.write_string(row, column, _text(value)[:CELL_LENGTH])


def _csv_cell(value: Any) -> Any:
    if value is None or isinstance(value, bool | int | float):
        return value
    return safe_in_sheet(_text(value))


def _text(value: Any) -> str:
    return "; ".join(map(str, value)) if isinstance(value, list) else str(value)


def _batches(database: Database, query: str) -> tuple[list[str], Iterator[Sequence[tuple[Any, ...]]]]:
    result = database.connection.cursor().execute(query)
    names = [column[0] for column in result.description or []]

    def read() -> Iterator[Sequence[tuple[Any, ...]]]:
        while rows := result.fetchmany(ROWS_AT_ONCE):
            yield rows

    return names, read()


WRITERS = {".csv": _write_csv, ".json": _write_json, ".parquet": _write_parquet, ".xlsx": _write_xlsx}
