"""Spreadsheets: which sheet, where its column names stand, and its cells as text."""

from __future__ import annotations

from collections.abc import Iterator
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
from pipeline.read.json_parquet import as_text
from pipeline.read.sheet_size import check_size

if TYPE_CHECKING:
    import duckdb
    from python_calamine import CalamineSheet, CalamineWorkbook

    from pipeline.read.sources import Source

REMEDY_CELLS = "Give the extra cells a column name, or clear them, and load the file again."


def read_sheet(connection: duckdb.DuckDBPyConnection, source: Source, reading: Reading) -> Records:
    """Read one sheet of an XLSX, XLS or ODS workbook; see `pipeline.read.reader.read`.

    Without a sheet's name, the sheet whose first lines show most known column names is read, and the others are named
    in the notes. Line numbers are the sheet's own.

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
            sheet = book.get_sheet_by_name(chosen)
            rows = _rows(sheet)
            first = [row for _, row in zip(range(400), rows, strict=False)]
            at = find_header([row for _, row in first if any(row)] or [[]], reading, f"{source.name}, sheet {chosen}")
            filled = [item for item in first if any(item[1])]
            header_line = filled[at][0] if at >= 0 else 0
            header = filled[at][1] if at >= 0 else []
            named = max((i + 1 for i, cell in enumerate(header) if cell and cell.strip()), default=0)
            below = sorted(
                max((i + 1 for i, cell in enumerate(row) if cell and cell.strip()), default=0)
                for line_no, row in filled if line_no > header_line
            )  # fmt: skip
            width = max(named, below[len(below) // 2] if below else 0, 1)
            records = Records(unique_names(header, width), how={"sheet": chosen})

            def refuse(line: Line, rule: str) -> None:
                text = "; ".join(cell or "" for cell in line[1])
                records.refused.append(Refused(line[0], text, "", text[:200], rule, REMEDY_CELLS))

            store(connection, width, (row for row in _rows(sheet) if row[0] > header_line), refuse)
    except (CalamineError, OSError, ValueError) as fault:
        raise FileUnreadable(
            f"{shown(source.name)} is not a whole spreadsheet: {shown(fault, 100)}", "Save or export it again."
        ) from fault
    if others:
        records.notes.append(
            f"Sheet {shown(chosen)} was read; not read: {', '.join(shown(o) for o in others)} (name one with --sheet)."
        )
    return records


def _choose(book: CalamineWorkbook, source: Source, reading: Reading) -> tuple[str, list[str]]:
    names = book.sheet_names
    if reading.sheet is not None:
        for name in names:
            if name.strip().casefold() == reading.sheet.strip().casefold():
                return name, []
        raise UsageError(
            f"{shown(source.name)} has no sheet {shown(reading.sheet)}.",
            f"It has {', '.join(shown(name) for name in names)}.",
        )
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
