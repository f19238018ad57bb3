"""Spreadsheets: which sheet, where its column names stand, and its cells as text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import FileUnreadable, UsageError, shown
from pipeline.read.incoming import (
    HEADER_WITHIN,
    Line,
    Reading,
    Records,
    Refused,
    find_header,
    plain_name,
    store,
    unique_names,
)
from pipeline.read.joined import join_tables
from pipeline.read.json_parquet import as_text
from pipeline.read.sheet_size import check_size

if TYPE_CHECKING:
    import duckdb
    from python_calamine import CalamineSheet, CalamineWorkbook

    from pipeline.read.sources import Source

REMEDY_CELLS = "Give the extra cells a column name, or clear them, and load the file again."


def read_sheet(connection: duckdb.DuckDBPyConnection, source: Source, reading: Reading) -> Records:
    """Read one sheet of an XLSX, XLS or ODS workbook; see `pipeline.read.reader.read`.

    Without a sheet's name, the sheet whose first lines show most known column names is read, with every other of the
    very same columns, and the rest are named in the notes. Line numbers are the sheet's own.

    Raises
    ------
    FileUnreadable
        Damaged, or no sheet holds a table.
    UsageError
        No sheet of that name.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        check_size(source.path, source.name)
        with CalamineWorkbook.from_path(source.path) as book:
            chosen, others = _choose(book, source, reading)
            first = _open_sheet(book, chosen, source, reading)
            records = Records(first.header, how={"sheet": chosen})
            tables = [first, *(t for name in others if (t := _try_sheet(book, name, source, reading)))]
            alike = [t for t in tables if t.plain_header == first.plain_header and (not reading.sheet or t is first)]
            if reading.sheets:
                alike = [_open_sheet(book, _named(book, source, name), source, reading) for name in reading.sheets]
                records = Records(alike[0].header, how={"sheet": " + ".join(t.name for t in alike)})
            elif len(alike) > 1:
                records.how["sheet"] = " + ".join(t.name for t in alike)
            _store_sheets(connection, alike, records)
            if reading.join:
                second = _open_sheet(book, _named(book, source, reading.join[0]), source, reading)
                _join(connection, second, reading.join[1], records)
            read = {t.name for t in alike} | ({reading.join[0]} if reading.join else set())
            opened = {t.name: t.header for t in tables}
            records.other_sheets = {name: opened.get(name, ()) for name in (chosen, *others) if name not in read}
    except (CalamineError, OSError, ValueError) as fault:
        raise FileUnreadable(
            f"{shown(source.name)} is not a whole spreadsheet: {shown(fault, 100)}", "Save or export it again."
        ) from fault
    if records.other_sheets:
        records.notes.append(
            f"Sheet {shown(records.how['sheet'])} was read; not read: "
            f"{', '.join(shown(o) for o in records.other_sheets)} (name one with --sheet)."
        )
    return records


@dataclass(frozen=True)
class _Table:
    """A sheet's table: its name, its columns, the line they stand on, and the sheet."""

    name: str
    header: tuple[str, ...]
    header_line: int
    sheet: CalamineSheet

    @property
    def plain_header(self) -> tuple[str, ...]:
        return tuple(plain_name(name) for name in self.header)


def _open_sheet(book: CalamineWorkbook, name: str, source: Source, reading: Reading) -> _Table:
    sheet = book.get_sheet_by_name(name)
    first = [row for _, row in zip(range(400), _rows(sheet), strict=False)]
    at = find_header([row for _, row in first if any(row)] or [[]], reading, f"{source.name}, sheet {name}")
    filled = [item for item in first if any(item[1])]
    header_line = filled[at][0] if at >= 0 else 0
    header = filled[at][1] if at >= 0 else []
    named = max((i + 1 for i, cell in enumerate(header) if cell and cell.strip()), default=0)
    below = sorted(
        max((i + 1 for i, cell in enumerate(row) if cell and cell.strip()), default=0)
        for line_no, row in filled if line_no > header_line
    )  # fmt: skip
    width = max(named, below[len(below) // 2] if below else 0, 1)
    return _Table(name, unique_names(header, width), header_line, sheet)


def _try_sheet(book: CalamineWorkbook, name: str, source: Source, reading: Reading) -> _Table | None:
    try:
        return _open_sheet(book, name, source, reading)
    except FileUnreadable:
        return None


def _store_sheets(connection: duckdb.DuckDBPyConnection, tables: list[_Table], records: Records) -> None:
    """Fill ``incoming`` with the lines of sheets of the same columns; those of a second sheet are counted on."""

    def refuse(line: Line, rule: str) -> None:
        text = "; ".join(cell or "" for cell in line[1])
        records.refused.append(Refused(line[0], text, "", text[:200], rule, REMEDY_CELLS))

    def lines() -> Iterator[Line]:
        before = last = 0
        for table in tables:
            if before:
                records.notes.append(f"Lines of sheet {shown(table.name)} are counted on: its line 1 is {before + 1}.")
            for line_no, row in _rows(table.sheet):
                last = before + line_no
                if line_no > table.header_line:
                    yield last, row
            before = last

    store(connection, len(records.header), lines(), refuse)


def _join(connection: duckdb.DuckDBPyConnection, table: _Table, by: str, records: Records) -> None:
    """Add the lines of a second sheet to those with the same value in a column; what fits none is refused."""
    connection.execute("create or replace temp table first_table as select * from incoming")
    second = Records(table.header)
    _store_sheets(connection, [table], second)
    connection.execute("create or replace temp table second_table as select * from incoming")
    join_tables(connection, records, f"sheet {shown(records.how['sheet'])}", second, f"sheet {shown(table.name)}", by)


def _named(book: CalamineWorkbook, source: Source, asked: str) -> str:
    for name in book.sheet_names:
        if name.strip().casefold() == asked.strip().casefold():
            return str(name)
    raise UsageError(
        f"{shown(source.name)} has no sheet {shown(asked)}.",
        f"It has {', '.join(shown(name) for name in book.sheet_names)}.",
    )


def _choose(book: CalamineWorkbook, source: Source, reading: Reading) -> tuple[str, list[str]]:
    names = book.sheet_names
    if reading.sheet is not None:
        return _named(book, source, reading.sheet), []
    scores = {name: _score(book.get_sheet_by_name(name), reading.known_names) for name in names}
    filled = [name for name in names if scores[name][1] > 1]
    if not filled:
        raise FileUnreadable(f"{shown(source.name)} has no sheet with a table of records.", "Check the workbook.")
    chosen = max(filled, key=lambda name: scores[name])
    return chosen, [name for name in filled if name != chosen]


def _score(sheet: CalamineSheet, known_names: frozenset[str]) -> tuple[int, int]:
    known = lines = 0
    for line_no, row in _rows(sheet):
        if line_no > HEADER_WITHIN:
            break
        known = max(known, len({plain_name(cell) for cell in row} & known_names))
        lines += any(row)
    return known, max(lines, sheet.total_height if lines > 1 else 0)


def _rows(sheet: CalamineSheet) -> Iterator[tuple[int, list[str | None]]]:
    for line_no, row in enumerate(sheet.iter_rows(), start=1):
        yield line_no, [_cell(value) for value in row]


def _cell(value: Any) -> str | None:
    return None if value == "" else as_text(value)
