"""Which column of an export means what: a layout says it, with constants, value maps, formats and a line's grain."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from pipeline.errors import LayoutError, shown
from pipeline.read.incoming import Reading, plain_name
from pipeline.read.small_text import small_text

FIELDS = (
    "visit_date", "appliance_kind", "job_no", "customer_ref", "make", "model", "serial", "age", "complaint",
    "fault_code", "findings", "cause", "work_done", "parts", "outcome", "technician", "minutes", "labour_charge",
    "parts_cost", "callback_of",
)  # fmt: skip
PART_FIELDS = ("part", "part_quantity", "part_unit_cost")
REQUIRED = ("visit_date", "appliance_kind")
ONE_OF = ("serial", "customer_ref", "job_no")
GRAINS = ("visit", "part")


@dataclass(frozen=True)
class Rule:
    """Where a field comes from: a column, values in it that say nothing, and the piece after a mark that counts."""

    column: str
    ignore: tuple[str, ...] = ()
    after: str | None = None


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
        "visit" = one line a visit; "part" = one line a part fitted, lines of one job and day are one visit.
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

    @property
    def label(self) -> str:
        """Name and a short fingerprint of the content, so that a mended layout reads a file anew."""
        content = json.dumps(dataclasses.asdict(self), sort_keys=True, default=str)
        return f"{self.name} #{hashlib.sha256(content.encode()).hexdigest()[:8]}"

    def names(self) -> frozenset[str]:
        """Column names the layout asks for, made comparable."""
        return frozenset(plain_name(rule.column) for rules in self.columns.values() for rule in rules)

    def reading(self, sheet: str | None = None) -> Reading:
        """How to read a file of this layout."""
        return Reading(
            encoding=self.encoding,
            delimiter=self.delimiter,
            quote=self.quote,
            sheet=sheet or self.sheet,
            header_line=self.header_line,
            known_names=self.names(),
        )

    def missing(self, header: tuple[str, ...]) -> list[str]:
        """Fields a line cannot do without that no column or constant of this header gives; empty = it fits."""
        given = {f for f, rules in self.columns.items() if any(position(header, r.column) is not None for r in rules)}
        given |= set(self.constants)
        lacking = [name for name in REQUIRED if name not in given]
        if not given & set(ONE_OF):
            lacking.append(" or ".join(ONE_OF))
        return lacking


def position(header: tuple[str, ...], column: str) -> int | None:
    """Find a column by its name, exactly or, where only one agrees, without regard to case, spaces and marks."""
    if column in header:
        return header.index(column)
    alike = [i for i, name in enumerate(header) if plain_name(name) == plain_name(column)]
    return alike[0] if len(alike) == 1 else None


def shipped() -> tuple[str, ...]:
    """Names of the layouts that come with the tool."""
    folder = files(__package__) / "layouts"
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


def open_layout(which: Path | str) -> Layout:
    """Open a shipped layout by its name, or a layout file by its path.

    Raises
    ------
    LayoutError
        No such layout, not TOML, or it says something impossible; every fault is named.
    """
    if str(which) in shipped():
        return parse_layout((files(__package__) / "layouts" / f"{which}.toml").read_text(encoding="utf-8"), str(which))
    path = Path(which)
    try:
        text = small_text(path)
    except (OSError, UnicodeDecodeError) as fault:
        raise LayoutError(
            f"{shown(which)} is neither a layout file that can be read nor a shipped layout.",
            f"Shipped are {', '.join(shipped())}; a layout file is TOML in UTF-8.",
        ) from fault
    return parse_layout(text, path.stem)


def parse_layout(text: str, name: str) -> Layout:
    """Make a layout of TOML text; all its faults are told at once.

    Raises
    ------
    LayoutError
        See above.

    Examples
    --------
    >>> text = '[columns]' + chr(10) + 'visit_date = "Day"' + chr(10) + 'appliance_kind = ["Kind", "Group"]'
    >>> [rule.column for rule in parse_layout(text, "office").columns["appliance_kind"]]
    ['Kind', 'Group']
    """
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise LayoutError(f"The layout {shown(name)} is not TOML: {fault}", "Fix that line.") from fault
    faults: list[str] = []
    settings = {key: value for key, value in given.items() if key not in ("columns", "constants", "values")}
    for key, value in settings.items():
        if complaint := _setting_fault(key, value):
            faults.append(complaint)
    columns = {f: _rules(f, rule, faults) for f, rule in _table(given, "columns", faults).items()}
    constants = _table(given, "constants", faults)
    values = _table(given, "values", faults)
    allowed = (*FIELDS, *PART_FIELDS)
    for section, content in (("columns", columns), ("constants", constants), ("values", values)):
        for f in content:
            if f not in allowed:
                faults.append(f"[{section}] names {shown(f)}, which is no field (fields: {', '.join(allowed)})")
    if not all(isinstance(v, str) for v in constants.values()):
        faults.append("[constants] holds text only")
    if not all(isinstance(m, dict) and all(isinstance(v, str) for v in m.values()) for m in values.values()):
        faults.append('[values.FIELD] holds lines such as "Done" = "fixed"')
    if not columns:
        faults.append("[columns] is missing or empty")
    if faults:
        raise LayoutError(f"The layout {shown(name)} cannot be used: {'; '.join(faults)}.", "Fix these and load again.")
    return Layout(
        columns=columns,
        constants=constants,
        values={f: {k.strip().casefold(): v for k, v in m.items()} for f, m in values.items()},
        **({"name": name} | settings | {"personal": tuple(settings.get("personal", ()))}),
    )


def _table(given: dict[str, Any], section: str, faults: list[str]) -> dict[str, Any]:
    found = given.get(section, {})
    if isinstance(found, dict):
        return found
    faults.append(f"[{section}] must be a TOML table")
    return {}


_TEXT_SETTINGS = ("name", "grain", "date_format", "decimal_mark", "currency", "encoding", "delimiter", "quote", "sheet")


def _setting_fault(key: str, value: Any) -> str | None:
    known = (*_TEXT_SETTINGS, "header_line", "personal")
    if key not in known:
        return f"{shown(key)} is an unknown setting (settings: {', '.join(known)})"
    if key == "personal":
        is_good = isinstance(value, list) and all(isinstance(v, str) for v in value)
        return None if is_good else "personal is a list of column names"
    if key == "header_line":
        is_good = isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 400
        return None if is_good else "header_line is a line number from 1 to 400, or 0 for none"
    if not isinstance(value, str) or not value:
        return f"{key} is text"
    if key == "grain" and value not in GRAINS:
        return f"grain is {' or '.join(GRAINS)}, not {shown(value)}"
    if key == "decimal_mark" and value not in (".", ","):
        return f'decimal_mark is "." or ",", not {shown(value)}'
    if key in ("delimiter", "quote") and (len(value) != 1 or value in "\r\n\0" or len(value.encode()) > 1):
        return f"{key} is one character, not {shown(value)}"
    return None


def _rules(f: str, given: Any, faults: list[str]) -> tuple[Rule, ...]:
    rules: list[Rule] = []
    for one in given if isinstance(given, list) else [given]:
        if isinstance(one, str) and one:
            rules.append(Rule(one))
            continue
        ignore = one.get("ignore", []) if isinstance(one, dict) else None
        is_good = (
            isinstance(one, dict)
            and isinstance(one.get("column"), str)
            and isinstance(ignore, list)
            and all(isinstance(v, str) for v in ignore)
            and isinstance(one.get("after", ""), str)
            and set(one) <= {"column", "ignore", "after"}
        )
        if is_good:
            rules.append(Rule(one["column"], tuple(v.strip().casefold() for v in ignore or ()), one.get("after")))
        else:
            faults.append(f'{f} is a column name, or {{column = "…", ignore = ["…"], after = "…"}}, or a list of these')
    return tuple(rules)


def as_toml(layout: Layout) -> str:
    """Write a layout as TOML that `parse_layout` reads back to the same layout."""
    lines = [f"name = {_quoted(layout.name)}", f"grain = {_quoted(layout.grain)}"]
    for key in ("date_format", "decimal_mark", "currency", "encoding", "delimiter", "quote", "sheet"):
        if (value := getattr(layout, key)) is not None:
            lines.append(f"{key} = {_quoted(value)}")
    if layout.header_line is not None:
        lines.append(f"header_line = {layout.header_line}")
    if layout.personal:
        lines.append(f"personal = [{', '.join(_quoted(p) for p in layout.personal)}]")
    lines += ["", "[columns]"]
    for f, rules in layout.columns.items():
        written = [_rule_toml(rule) for rule in rules]
        lines.append(f"{f} = {written[0] if len(written) == 1 else '[' + ', '.join(written) + ']'}")
    if layout.constants:
        lines += ["", "[constants]", *(f"{f} = {_quoted(v)}" for f, v in layout.constants.items())]
    for f, mapped in layout.values.items():
        lines += ["", f"[values.{f}]", *(f"{_quoted(k)} = {_quoted(v)}" for k, v in mapped.items())]
    return "\n".join(lines) + "\n"


def _rule_toml(rule: Rule) -> str:
    if not rule.ignore and rule.after is None:
        return _quoted(rule.column)
    parts = [f"column = {_quoted(rule.column)}"]
    if rule.ignore:
        parts.append(f"ignore = [{', '.join(_quoted(v) for v in rule.ignore)}]")
    if rule.after is not None:
        parts.append(f"after = {_quoted(rule.after)}")
    return "{" + ", ".join(parts) + "}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
