"""Which column of an export means what: a layout says it, with constants, value maps, formats and a line's grain."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pipeline.read.incoming import Reading, plain_name

FIELDS = (
    "visit_date", "appliance_kind", "job_no", "customer_ref", "make", "model", "serial", "age", "complaint",
    "fault_code", "findings", "cause", "work_done", "parts", "outcome", "technician", "minutes", "labour_charge",
    "parts_cost", "callback_of", "branch", "photos",
)  # fmt: skip
PART_FIELDS = ("part", "part_quantity", "part_unit_cost")
REQUIRED = ("visit_date", "appliance_kind")
ONE_OF = ("serial", "customer_ref", "job_no")
GRAINS = ("visit", "part", "invoice line", "job")
LABOUR_ITEMS = (
    "labour", "labor", "call out", "callout", "call-out", "work", "hour", "hours", "hrs", "inspection", "diagnosis",
    "lohn", "arbeit", "arbeitszeit", "arbeitslohn", "stunde", "stunden", "monteurstunde", "monteurstunden",
)  # fmt: skip
OTHER_ITEMS = (
    "carriage", "postage", "delivery", "shipping", "travel", "mileage", "parking", "vat", "tax", "discount", "deposit",
    "congestion", "admin", "payment", "rounding", "fracht", "versand", "porto", "anfahrt", "fahrtkosten", "wegegeld",
    "mwst", "ust", "rabatt", "skonto", "anzahlung",
)  # fmt: skip
OF_A_NOTE = {"complaint": "complaint", "findings": "finding", "cause": "cause", "work_done": "work"}
"""Fields that a running note may speak of, and what its clauses are called in `words.running_note`."""
OWN = "own"


@dataclass(frozen=True)
class Rule:
    """Where a field comes from: a column, and what of its text counts.

    Attributes
    ----------
    ignore
        Values that say nothing.
    after
        Only what stands after the last of these marks.
    split, piece
        The so many-th piece between these marks, counted from 1, or from the end with -1.
    label
        In a note of several labelled sections ("Found: …"), the section of this label.
    find
        Only the word of the field's own list that the text holds: "Tavrik dishwasher, no heat" is a dishwasher.
    running
        Of a running note without labels, only the clauses that speak of this field (`OF_A_NOTE`).
    """

    column: str
    ignore: tuple[str, ...] = ()
    after: str | None = None
    split: str | None = None
    piece: int = 1
    label: str | None = None
    find: bool = False
    running: bool = False


@dataclass(frozen=True)
class Join:
    """A second sheet of the workbook, or another file of the same load: its lines are added where a column agrees."""

    sheet: str
    by: str


@dataclass(frozen=True)
class Layout:
    """A mapping of one export's columns to the fields of a visit.

    Attributes
    ----------
    name
        Shown in reports and stored with every batch.
    columns
        For each field its rules; the first that gives a value counts.
    grain
        "visit" = one line a visit; "part" = one line a part fitted, lines of one job and day are one visit; "invoice
        line" = the same, but lines may be labour, carriage or tax, which are no parts; "job" = one line a job, whose
        visits stand in columns of their own.
    visits
        With grain "job": for each visit the fields that differ from the job's, visit_date among them.
    each
        A column that holds a list of objects (nested JSON): each of them is a line, its names are columns "list.name".
    join
        A second sheet whose lines are added.
    sheets
        Several sheets of the same columns, read one after the other.
    labour_items, other_items
        With grain "invoice line": words of an item that is labour, or neither labour nor part. Empty = the usual ones.
    constants
        Fields that are the same on every line.
    values
        For each field what a written value stands for, compared without regard to case.
    personal
        Columns without a field that hold names, addresses or numbers of people: kept as keyed hashes only.
    date_format, decimal_mark, currency, encoding, delimiter, quote, sheet, header_line
        How the file is written; None = look at the file.
    """

    name: str
    columns: Mapping[str, tuple[Rule, ...]]
    grain: str = "visit"
    constants: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    personal: tuple[str, ...] = ()
    date_format: str | None = None
    decimal_mark: str | None = None
    currency: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    quote: str | None = None
    sheet: str | None = None
    header_line: int | None = None
    visits: tuple[Mapping[str, tuple[Rule, ...]], ...] = ()
    each: str | None = None
    join: Join | None = None
    sheets: tuple[str, ...] = ()
    labour_items: tuple[str, ...] = ()
    other_items: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """Name and a short fingerprint of the content, so that a corrected layout reads a file again."""
        content = json.dumps(dataclasses.asdict(self, dict_factory=_without_newer), sort_keys=True, default=str)
        return f"{self.name} #{hashlib.sha256(content.encode()).hexdigest()[:8]}"

    def running(self, column: str) -> list[str]:
        """Fields that are clauses of a column's running notes."""
        return [f for f, rules in self.columns.items() if any(r.running and r.column == column for r in rules)]

    @property
    def running_notes(self) -> tuple[str, ...]:
        """Columns that hold running notes."""
        rules = (rule for held in self.columns.values() for rule in held if rule.running)
        return tuple(dict.fromkeys(rule.column for rule in rules))

    @property
    def finds_words(self) -> bool:
        """Whether a field is a word looked for in a text."""
        return any(rule.find for rules in self.columns.values() for rule in rules)

    def names(self) -> frozenset[str]:
        """Column names the layout asks for, made comparable."""
        every = (self.columns, *self.visits)
        return frozenset(plain_name(rule.column) for columns in every for rules in columns.values() for rule in rules)

    def reading(self, sheet: str | None = None) -> Reading:
        """How to read a file of this layout."""
        return Reading(
            encoding=self.encoding,
            delimiter=self.delimiter,
            quote=self.quote,
            sheet=sheet or self.sheet,
            sheets=self.sheets,
            join=(self.join.sheet, self.join.by) if self.join else None,
            header_line=self.header_line,
            known_names=self.names(),
        )

    def given(self, header: tuple[str, ...]) -> set[str]:
        """Fields that a column of this header or a constant gives; parts are given by the column of a part too."""
        given = {f for f, rules in self.columns.items() if any(position(header, r.column) is not None for r in rules)}
        return given | set(self.constants) | ({"parts"} if "part" in given else set())

    def missing(self, header: tuple[str, ...]) -> list[str]:
        """Fields a line cannot do without that no column or constant of this header gives; empty = it fits."""
        given = self.given(header)
        lacking = [name for name in REQUIRED if name not in given]
        if not given & set(ONE_OF):
            lacking.append(" or ".join(ONE_OF))
        return lacking


def _without_newer(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Leave out what layouts say only since later, where it is not said: their fingerprints stay what they were."""
    return {name: value for name, value in pairs if (name, value) != ("running", False)}


def position(header: tuple[str, ...], column: str) -> int | None:
    """Find a column by its name, exactly or, where only one agrees, without regard to case, spaces and marks."""
    if column in header:
        return header.index(column)
    alike = [i for i, name in enumerate(header) if plain_name(name) == plain_name(column)]
    return alike[0] if len(alike) == 1 else None
