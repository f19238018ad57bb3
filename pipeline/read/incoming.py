"""Lines of cells become the table of incoming records; what cannot be taken is kept with its reason."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline.errors import FileUnreadable, shown

if TYPE_CHECKING:
    import duckdb


MOST_COLUMNS = 400
_NO_WORD = re.compile(r"[\W_]+")
BATCH = 50_000
HEADER_WITHIN = 30  # lines: merged titles above a header are few


@dataclass(frozen=True)
class Refused:
    """One line that could not be read, and why."""

    line_no: int
    line_text: str
    column: str
    value: str
    rule: str
    remedy: str


@dataclass(frozen=True)
class Reading:
    """How to read a file: what a layout or the user states; None means look at the bytes."""

    encoding: str | None = None
    delimiter: str | None = None
    quote: str | None = None
    sheet: str | None = None
    sheets: tuple[str, ...] = ()
    join: tuple[str, str] | None = None
    header_line: int | None = None
    known_names: frozenset[str] = frozenset()


@dataclass
class Records:
    """What a file holds: table ``incoming`` with line_no and c1, c2, … as text, and what could not be read.

    Attributes
    ----------
    header
        Column names in order, made unique; c1 belongs to the first.
    refused
        Lines that could not be read.
    how
        What was found out about the file: encoding, delimiter, sheet.
    notes
        What a person should know, in sentences.
    other_sheets
        Sheets of the workbook that were not read, with their columns.
    """

    header: tuple[str, ...]
    refused: list[Refused] = field(default_factory=list)
    how: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    other_sheets: dict[str, tuple[str, ...]] = field(default_factory=dict)


Line = tuple[int, Sequence[str | None]]


def store(
    connection: duckdb.DuckDBPyConnection,
    width: int,
    lines: Iterable[Line],
    refuse: Callable[[Line, str], None],
) -> int:
    """Fill ``incoming`` with lines of cells, a batch at a time; returns how many were stored.

    Lines of blank cells are left out, their numbers go to ``blank_line``.

    A line with more cells than ``width`` goes to ``refuse`` unless the extra cells are empty; a shorter one is padded.
    """
    import pyarrow as pa

    names = ["line_no", *(f"c{i + 1}" for i in range(width))]
    types = [pa.int64(), *(pa.string() for _ in range(width))]
    connection.execute(
        f"create or replace temp table incoming (line_no bigint, {', '.join(f'{n} varchar' for n in names[1:])})"
    )
    stored = 0
    blank: list[int] = []
    for batch in _batches(_fitting(lines, width, refuse, blank)):
        columns = zip(*batch, strict=True)
        frame = pa.table([pa.array(c, type=t) for c, t in zip(columns, types, strict=True)], names=names)
        connection.from_arrow(frame).insert_into("incoming")
        stored += len(batch)
    connection.execute("create or replace temp table blank_line as select unnest(?::bigint[]) as line_no", [blank])
    return stored


def _fitting(
    lines: Iterable[Line], width: int, refuse: Callable[[Line, str], None], blank: list[int]
) -> Iterator[tuple[int | str | None, ...]]:
    padding = (None,) * width
    for line_no, cells in lines:
        if len(cells) > width:
            if any(cell and cell.strip() for cell in cells[width:]):
                refuse((line_no, cells), f"has {len(cells)} cells where the header has {width}")
                continue
            cells = cells[:width]
        if any(cell and not cell.isspace() for cell in cells):
            yield (line_no, *cells, *padding[len(cells) :])
        elif len(cells) > 1:
            blank.append(line_no)


def _batches(rows: Iterable[tuple[int | str | None, ...]]) -> Iterator[list[tuple[int | str | None, ...]]]:
    batch: list[tuple[int | str | None, ...]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def plain_name(name: str | None) -> str:
    """Make a column name comparable: lower case, words of letters and digits.

    Examples
    --------
    >>> plain_name("  Job-No. ")
    'job no'
    """
    return _NO_WORD.sub(" ", (name or "").casefold()).strip()


def find_header(rows: Sequence[Sequence[str | None]], reading: Reading, name: str) -> int:
    """Say which of the first rows holds the column names.

    The row with most known names; where no row knows any, the first that is as wide as the rows below it and holds no
    number.

    Raises
    ------
    FileUnreadable
        There is no such row.
    """
    if reading.header_line is not None:
        if reading.header_line > len(rows):
            raise FileUnreadable(
                f"{shown(name)} has no line {reading.header_line} to take column names from.",
                "Correct header_line in the layout file.",
            )
        return reading.header_line - 1
    best, most = -1, 0
    for i, row in enumerate(rows[:HEADER_WITHIN]):
        known = len({plain_name(cell) for cell in row} & reading.known_names)
        if known > most:
            best, most = i, known
    if most >= 2 or (most == 1 and best == 0):
        return best
    widths = [sum(1 for cell in row if cell and cell.strip()) for row in rows]
    usual = sorted(widths)[len(widths) // 2] if widths else 0
    for i, row in enumerate(rows[:HEADER_WITHIN]):
        filled = [cell for cell in row if cell and cell.strip()]
        if len(filled) >= max(1, 0.6 * usual) and not any(_is_number(cell) for cell in filled):
            return i
    raise FileUnreadable(
        f"{shown(name)} has no line of column names in its first {HEADER_WITHIN} lines.",
        "Add one, or say in a layout file where it is (header_line = 3; 0 means there is none).",
    )


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def unique_names(cells: Sequence[str | None], width: int) -> tuple[str, ...]:
    """Give every column a name of its own: empty ones "column 7", repeated ones "Date (2)"."""
    if width > MOST_COLUMNS:
        raise FileUnreadable(
            f"The file has {width:,} columns.", f"At most {MOST_COLUMNS:,} are read; export fewer columns."
        )
    names: list[str] = []
    taken: set[str] = set()
    for i in range(width):
        written = cells[i] if i < len(cells) else None
        stem = " ".join((written or "").split()) or f"column {i + 1}"
        name, n = stem, 1
        while name in taken:
            n += 1
            name = f"{stem} ({n})"
        taken.add(name)
        names.append(name)
    return tuple(names)
