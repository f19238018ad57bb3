"""Which part a call needs: of which kind, make and model family; and which of them are on the van or in the store.

``stock.csv`` beside the workshop, or the file named with ``--stock``, has one line a part. Columns: ``part`` (needed),
``kind``, ``make``, ``model_family``, ``part_number`` (empty = fits any), ``van`` and ``store`` (whole numbers, empty
= 0; a file with neither holds one of each in the store). ``quantity`` is another name for ``store``.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pipeline.errors import UsageError, shown
from pipeline.small_text import small_text

if TYPE_CHECKING:
    import duckdb

    from pipeline.call.question import Question
    from pipeline.store.database import Database
    from pipeline.words import Words

FILE = "stock.csv"
COLUMNS = ("part", "kind", "make", "model_family", "part_number", "van", "store")
MOST_UNITS = 10_000
MOST_BYTES = 16 << 20

NUMBERS = r"""
select
    visit.kind,
    part_fitted.part,
    coalesce(visit.make, '') as make,
    coalesce(visit.model_family, '') as model_family,
    mode(regexp_extract(part_fitted.as_written, '\b[A-Z]{1,6}-?\d{2,}[A-Z0-9-]*\b')) as part_number
from part_fitted
join visit using (visit_id)
where regexp_matches(part_fitted.as_written, '\b[A-Z]{1,6}-?\d{2,}[A-Z0-9-]*\b')
    and visit.kind in (select unnest($kinds::varchar[]))
group by all
order by all
"""


class PartOf(NamedTuple):
    """A part of something; "" = any, or not known."""

    part: str
    kind: str = ""
    make: str = ""
    model_family: str = ""
    part_number: str = ""

    @property
    def label(self) -> str:
        """The part as people tell it apart from others of its name."""
        of = " ".join(word for word in self[1:] if word)
        return f"{self.part} ({of})" if of else self.part


@dataclass(frozen=True)
class Stocked:
    """One line of the stock: which part, how many are on the van, how many in the store."""

    part: PartOf
    van: int
    store: int


class Parts:
    """Tells parts of one name apart.

    Parameters
    ----------
    stock
        Lines of the stock; None = everything can be had.
    numbers
        (kind, part, make, model family) → part number on record.
    """

    def __init__(self, stock: Sequence[Stocked] | None, numbers: dict[tuple[str, str, str, str], str]) -> None:
        self.stock, self.numbers = stock, numbers
        self._shared: dict[tuple[str, int], tuple[Question, PartOf]] = {}

    def of(self, part: str, question: Question) -> PartOf:
        """Return the part a call needs; where the stock has one that fits, that one, the most closely named first.

        Where `share_out` gave the call another that fits, it is that one.
        """
        if (part, id(question)) in self._shared:
            return self._shared[part, id(question)][1]
        return next(iter(self.fitting(part, question)), self._whole(part, question))

    def fitting(self, part: str, question: Question) -> list[PartOf]:
        """Parts of the stock that fit a call, the most closely named first."""
        whole = self._whole(part, question)
        found = {row.part for row in self.stock or () if _fits(row.part, whole)}
        return sorted(found, key=lambda row: (sum(map(bool, row)), row), reverse=True)

    def share_out(self, calls: Sequence[tuple[Question, Mapping[str, float]]]) -> None:
        """Pool what fits: a call whose closest part is spoken for by likelier calls is given the next that fits.

        Parameters
        ----------
        calls
            Of each call of the round: the question, and part → chance that it is needed.
        """
        left: dict[str, float] = dict(self.units() or {})
        wanted = [(-p, number, part) for number, (_, chances) in enumerate(calls) for part, p in chances.items()]
        for less, number, part in sorted(wanted):
            question = calls[number][0]
            fitting = self.fitting(part, question)
            given = next((row for row in fitting if left[row.label] >= min(1.0, -less)), next(iter(fitting), None))
            if given is not None:
                left[given.label] += less
                self._shared[part, id(question)] = question, given

    def _whole(self, part: str, question: Question) -> PartOf:
        make, family = question.make or "", question.model_family or ""
        return PartOf(part, question.kind, make, family, self.numbers.get((question.kind, part, make, family), ""))

    def units(self) -> dict[str, int] | None:
        """Label → units that can be had, on the van and in the store; None = everything can."""
        if self.stock is None:
            return None
        units: dict[str, int] = {}
        for row in self.stock:
            units[row.part.label] = units.get(row.part.label, 0) + row.van + row.store
        return units

    def places(self, label: str) -> tuple[int, int]:
        """Units on the van and in the store."""
        rows = [row for row in self.stock or () if row.part.label == label]
        return sum(row.van for row in rows), sum(row.store for row in rows)


def _fits(stocked: PartOf, wanted: PartOf) -> bool:
    named = zip(stocked[1:4], wanted[1:4], strict=True)
    other = stocked.part_number and wanted.part_number and stocked.part_number != wanted.part_number
    return not other and stocked.part == wanted.part and all(not has or has == needs for has, needs in named)


def part_numbers(connection: duckdb.DuckDBPyConnection, kinds: Iterable[str]) -> dict[tuple[str, str, str, str], str]:
    """Read the part number written most often for each part of a kind, make and model family."""
    rows = connection.execute(NUMBERS, {"kinds": sorted(set(kinds))}).fetchall()
    return {(kind, part, make, family): number for kind, part, make, family, number in rows}


def stock_beside(
    database: Database, words: Words, question: Question, names: Iterable[str]
) -> dict[str, tuple[int, int]] | None:
    """Units on the van and in the store of the parts a call may need, by the file beside the workshop.

    Returns
    -------
    dict
        Part → units; a part no line fits has none. None = there is no such file.

    Raises
    ------
    UsageError
        As `read_stock`.
    """
    path = database.path.parent / FILE
    if not path.is_file():
        return None
    parts = Parts(read_stock(words, path), part_numbers(database.connection, [question.kind]))
    places = {name: [parts.places(row.label) for row in parts.fitting(name, question)] for name in names}
    return {name: (sum(van for van, _ in rows), sum(store for _, store in rows)) for name, rows in places.items()}


def read_stock(words: Words, path: Path) -> list[Stocked]:
    """Read a stock file.

    Raises
    ------
    UsageError
        With line, column, value and remedy.
    """
    import pandas as pd

    rows = _rows(path)
    parts = words.match("part", pd.Series([row["part"] for _, row in rows], dtype="str"))["term"]
    kinds = words.match("kind", pd.Series([row["kind"] or None for _, row in rows], dtype="str"))["term"]
    has_counts = any(row[name] for _, row in rows for name in ("van", "store"))
    stocked = []
    for (line, row), part, kind in zip(rows, parts, kinds, strict=True):
        if not row["part"]:
            raise _wrong(path, line, "part", row["part"], "Name the part.")
        van, store = (_units(path, line, name, row[name]) for name in ("van", "store"))
        name = PartOf(
            str(part), "" if pd.isna(kind) else str(kind), row["make"], row["model_family"], row["part_number"]
        )
        stocked.append(Stocked(name, van, store if has_counts else 1))
    return stocked


def unknown_parts(words: Words, stock: Sequence[Stocked]) -> list[str]:
    """Names in a stock that no word list knows as a part: nothing ever asks for them."""
    known = set(words.parts()["part"])
    return list(dict.fromkeys(row.part.part for row in stock if row.part.part not in known))


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Lines with their numbers, every column there, blank lines left out."""
    try:
        text = small_text(path, MOST_BYTES)
    except (OSError, UnicodeDecodeError) as fault:
        raise UsageError(f"{shown(path.name)} cannot be read: {fault}.", "Give a CSV file in UTF-8.") from None
    reader = csv.DictReader(io.StringIO(text), restkey="")
    names = [(name or "").strip().lower() for name in reader.fieldnames or ()]
    reader.fieldnames = ["store" if name == "quantity" else name for name in names]
    strange = [name for name in reader.fieldnames if name not in COLUMNS]
    if "part" not in reader.fieldnames:
        raise UsageError(f'{shown(path.name)} has no column "part".', f"Its columns are: {', '.join(COLUMNS)}.")
    if strange:
        raise UsageError(
            f"{shown(path.name)}, line 1: {shown(strange[0])} is an unknown column.",
            f"Its columns are: {', '.join(COLUMNS)}.",
        )
    rows = []
    for row in reader:
        if row.get(""):
            raise UsageError(
                f"{shown(path.name)}, line {reader.line_num}: more cells than columns.",
                "Quote text with commas.",
            )
        cells = {name: (row.get(name) or "").strip() for name in COLUMNS}
        if any(cells.values()):
            rows.append((reader.line_num, cells))
    return rows


def _units(path: Path, line: int, column: str, value: str) -> int:
    if not value:
        return 0
    if not (value.isascii() and value.isdigit()) or int(value) > MOST_UNITS:
        raise _wrong(path, line, column, value, f"Write a whole number from 0 to {MOST_UNITS:,}.")
    return int(value)


def _wrong(path: Path, line: int, column: str, value: str, remedy: str) -> UsageError:
    return UsageError(f"{shown(path.name)}, line {line}, column {column}: {shown(value)} is not allowed.", remedy)
