"""Whether a workbook claims far more cells than it writes: a reader that lays them all out would never end."""

from __future__ import annotations

import re
import zipfile
import zlib
from typing import TYPE_CHECKING

from pipeline.errors import FileUnreadable, shown

if TYPE_CHECKING:
    from pathlib import Path

MOST_CELLS = 40_000_000  # rows times columns of one sheet as laid out, about 1 GB
LONG_REPEAT = 2_000  # an ODS cell or row said to repeat oftener than this must be the empty rest of its sheet

_WIDE_CELL = re.compile(rb"""\sr\s*=\s*["'](?:[A-Za-z]{2}|[^"'A-Za-z0-9])""")
_CELL = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]*)([0-9]*)["']""")
_ODD_CELL = re.compile(rb"""\sr\s*=\s*["'](?![A-Za-z]{0,3}[0-9]{1,7}["'])""")
_REPEAT = re.compile(rb"""number-(columns|rows)-repeated\s*=\s*["']\s*\+?0*([0-9]+)""")


def check_size(path: Path, name: str) -> None:
    """Refuse a workbook that no memory could hold.

    Parameters
    ----------
    path
        An XLSX, XLSM or ODS file; an old XLS, whose format has no such sizes, passes.
    name
        Shown to the user.

    Raises
    ------
    FileUnreadable
        A sheet of more than ``MOST_CELLS`` cells, or a binary workbook (XLSB), whose sizes cannot be looked at.
    """
    if not zipfile.is_zipfile(path):
        return
    try:
        with zipfile.ZipFile(path) as book:
            for member in book.infolist():
                _check_member(book, member, name)
    except (OSError, EOFError, ValueError, zlib.error, zipfile.BadZipFile, NotImplementedError, RuntimeError) as fault:
        raise FileUnreadable(
            f"{shown(name)} is not a whole spreadsheet: {shown(fault, 100)}", "Save or export it again."
        ) from fault


def _check_member(book: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> None:
    inside = member.filename.lower()
    if inside.endswith(".bin") and "worksheets" in inside:
        raise FileUnreadable(f"{shown(name)} is a binary workbook (XLSB).", "Save it as XLSX or CSV, then load it.")
    is_sheet = inside.startswith("xl/") and inside.endswith(".xml") and "sheet" in inside
    if is_sheet and _claimed_cells(book.read(member)) > MOST_CELLS:
        raise _too_large(name)
    if inside == "content.xml" and _repeats_without_end(book.read(member)):
        raise _too_large(name)


def _too_large(name: str) -> FileUnreadable:
    return FileUnreadable(
        f"{shown(name)} has a sheet that claims more than {MOST_CELLS:,} cells.",
        "Delete the stray cells far to the right or below, or export the sheet as CSV, then load it.",
    )


def _claimed_cells(sheet: bytes) -> int:
    """Rows times columns that the references of an XLSX sheet span; up to 26 columns always pass."""
    if not _WIDE_CELL.search(sheet):
        return 0
    if _ODD_CELL.search(sheet):
        return MOST_CELLS + 1
    columns, rows = {b"A"}, {b"1"}
    for column, row in _CELL.findall(sheet):
        columns.add(column.upper())
        rows.add(row)
    return max(map(_number_of_column, columns)) * max(int(row or 0) for row in rows)


def _number_of_column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _repeats_without_end(content: bytes) -> bool:
    """Tell whether an ODS repeats beyond reason a cell or row that has a value, or that stands before one."""
    for found in _REPEAT.finditer(content):
        if len(found[2]) >= len(str(LONG_REPEAT)) and int(found[2][:12]) > LONG_REPEAT:
            start = content.rfind(b"<", 0, found.start())
            end = content.find(b"</table:table-row>" if found[1] == b"columns" else b"</table:table>", found.end())
            if content.find(b"office:", start, end if end >= 0 else len(content)) >= 0:
                return True
    return False
