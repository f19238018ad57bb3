"""Plain text for a terminal: aligned, wrapped, and nothing in it from a record can act."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
import unicodedata
from html import escape
from typing import TYPE_CHECKING, Any

from pipeline.values.missing import none_where_missing

if TYPE_CHECKING:
    import pandas as pd


def safe(text: object) -> str:
    """Replace control characters and direction overrides; line ends stay."""
    return "".join(
        c if c == "\n" or unicodedata.category(c)[0] != "C" else "\N{REPLACEMENT CHARACTER}" for c in str(text)
    )


def json_line(data: Any) -> str:
    """One JSON object as a line; other letters than ASCII are escaped where standard output cannot write them."""
    is_unicode = (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")
    return json.dumps(data, ensure_ascii=not is_unicode, default=str) + "\n"


def wrapped(lines: list[str], width: int | None = None, *, room: int = 0) -> list[str]:
    """Lines broken between words at the terminal's width, what follows set in; as they are where there is none.

    ``room`` is what is left free at the end of every line.
    """
    if width is None:
        if not sys.stdout.isatty():
            return lines
        width = max(shutil.get_terminal_size().columns, 40) - room
    return [
        piece
        for line in lines
        for piece in textwrap.wrap(line, width, subsequent_indent="     ", break_on_hyphens=False, drop_whitespace=True)
        or [""]
    ]


class Shown:
    """What shows in a notebook, and at a Python prompt, as its lines do in a terminal."""

    def lines(self) -> list[str]:
        """Give it in lines of plain text."""
        raise NotImplementedError

    def __repr__(self) -> str:
        return safe("\n".join(self.lines()))

    def _repr_html_(self) -> str:
        return f'<pre style="white-space: pre-wrap">{escape(repr(self))}</pre>'


def table(header: list[str], rows: list[list[Any]]) -> list[str]:
    """Aligned columns: numbers to the right, words to the left."""
    cells = [[cell(value) for value in row] for row in rows]
    widths = [max(len(row[i]) for row in [header, *cells]) for i in range(len(header))]
    is_number = [all(isinstance(row[i], int | float) or row[i] is None for row in rows) for i in range(len(header))]

    def line(row: list[str]) -> str:
        aligned = (c.rjust(w) if number else c.ljust(w) for c, w, number in zip(row, widths, is_number, strict=True))
        return "  ".join(aligned).rstrip()

    return [line(header), *(line(row) for row in cells)]


def frame(data: pd.DataFrame) -> list[str]:
    """A frame as aligned text; an empty one says so."""
    if data.empty:
        return ["Nothing yet."]
    return table([str(c) for c in data.columns], none_where_missing(data).to_numpy().tolist())


def pairs(data: dict[str, Any]) -> list[str]:
    """Names and values, one a line; nested values are indented."""
    lines: list[str] = []
    for name, value in data.items():
        label = str(name).replace("_", " ")
        if isinstance(value, dict):
            lines += [f"{label}:", *(f"  {line}" for line in pairs(value))]
        elif isinstance(value, list):
            lines += [f"{label}:", *(f"  {_item(item)}" for item in value)]
        else:
            lines.append(f"{label}: {cell(value)}")
    return lines


def _item(item: Any) -> str:
    if isinstance(item, dict):
        return ", ".join(f"{str(k).replace('_', ' ')} {cell(v)}" for k, v in item.items())
    return cell(item)


def cell(value: Any) -> str:
    """One value as text: a dash where nothing is known, thousands apart, three decimals below ten."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:,.3f}" if abs(value) < 10 else f"{value:,.1f}"
    if isinstance(value, int):
        return f"{value:,}"
    return str(value)
