"""A workshop's own word list, TOML or CSV, put over the shipped ones.

TOML: one table a term, named for its list; all but ``term`` may be left out::

    [[kind]]
    term = "wine cooler"
    written = ["wine fridge"]
    cautions = ["isolate", "sealed system"]

    [[complaint]]
    term = "does not drain"
    written = ["wont pump away"]
    group = "water out"                # complaints of one group may be one fault seen twice

    [[cause]]
    term = "blocked lint chute"
    written = ["chute full"]
    kinds = ["tumble dryer"]
    symptoms = ["takes too long"]      # with parts, share, action, minutes and expected it joins the plan
    parts = []
    action = "clear lint chute"
    minutes = 15

    [[part]]
    term = "drain pump"
    written = ["PMP-204"]
    price = 31.5

    [[finding]]
    term = "lint chute"
    check = "look into lint chute"     # makes it a check of the plan; minutes, kinds, cautions as for the shipped ones
    kinds = ["tumble dryer"]
    [finding.values]
    blocked = ["full", "stuffed"]
    clear = ["free"]

    [[outcome]]
    term = "fixed"
    written = ["all sorted"]

    [[make]]
    term = "Ostrel"
    written = ["ostrel ltd"]

    [ignore]
    words = ["tidewell"]               # mean nothing, are not asked about

    [denial]
    words = ["ne", "pas"]              # turn round what they stand beside: "ne fuit pas" is no leak

    [codes.ostrel]                     # see codes.toml
    flashes = true

CSV: the columns ``list,term,written`` and, as needed, ``kinds,parts,group,symptoms,action,minutes,price``; several
forms in a cell are split by ``|``.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import LayoutError, shown
from pipeline.small_text import small_text
from pipeline.words.lists import LISTS, OUTCOMES, Row, WordLists, add_term, many, read_codes_table
from pipeline.words.phrases import Phrase
from pipeline.words.vocabulary import plain

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_BYTES = 16 << 20


def read_own(lists: WordLists, path: Path) -> None:
    """Add a workshop's own word list.

    Raises
    ------
    LayoutError
        With file, line, value and remedy.
    """
    try:
        text = small_text(Path(path), MOST_BYTES)
    except (OSError, UnicodeDecodeError) as error:
        raise LayoutError(
            f"The word list {shown(path.name)} cannot be read: {getattr(error, 'strerror', None) or error}.",
            "Check the name; save it as UTF-8.",
        ) from None
    if Path(path).suffix.lower() == ".csv":
        _read_own_csv(lists, text, Path(path).name)
    elif Path(path).suffix.lower() == ".toml":
        _read_own_toml(lists, text, Path(path).name)
    else:
        raise LayoutError(
            f"The word list {shown(path.name)} is neither TOML nor CSV.", "Name it something.toml or something.csv."
        )


def _read_own_csv(lists: WordLists, text: str, file: str) -> None:
    """Columns list, term, written (forms split by |), and, as needed, kinds, parts, group, symptoms."""
    reader = csv.DictReader(io.StringIO(text))
    missing = {"list", "term"} - set(reader.fieldnames or ())
    if missing:
        raise LayoutError(
            f"{file}, line 1: the column {shown(min(missing))} is missing.",
            "The first line is: list,term,written,kinds,parts,group.",
        )
    for row in reader:
        entry = {key: value.strip() for key, value in row.items() if key and isinstance(value, str) and value.strip()}
        name = entry.pop("list", "")
        lined: dict[str, Any] = dict(entry)
        for field in ("written", "kinds", "parts", "symptoms"):
            if field in lined:
                lined[field] = many(lined[field])
        _add_entry(lists, name, lined, f"{file}, line {reader.line_num}")


def _read_own_toml(lists: WordLists, text: str, file: str) -> None:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LayoutError(f"{file} is not TOML: {error}.", "Fix that line; texts stand in double quotes.") from None
    strange = set(table) - set(LISTS) - {"codes", "ignore", "denial"}
    if strange:
        name = min(strange)
        raise LayoutError(
            f"{file}, line {_line_of(text, name)}: there is no list {shown(name)}.",
            f"Lists are: {', '.join(LISTS)}, codes, ignore, denial.",
        )
    for name in LISTS:
        entries = table.get(name, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            raise LayoutError(
                f"{file}, line {_line_of(text, name)}: {shown(name)} is not a list of entries.",
                f"Write [[{name}]] above each entry.",
            )
        for number, entry in enumerate(entries):
            _add_entry(lists, name, entry, f"{file}, line {_line_of(text, name, number)}")
    read_codes_table(lists, table, file)
    ignored = table.get("ignore", {})
    if not isinstance(ignored, dict):
        raise LayoutError(f"{file}: ignore is {shown(ignored)}.", 'Write [ignore] and below it words = ["…"].')
    _add_denial(lists, table.get("denial", {}), file)
    for word in _texts(ignored, "words", f"{file}, table ignore"):
        lists.silenced.add(("complaint", plain(str(word))))


def _add_denial(lists: WordLists, denial: Any, file: str) -> None:
    """Let words of another language deny, in every language that texts are read in."""
    if not isinstance(denial, dict):
        raise LayoutError(f"{file}: denial is {shown(denial)}.", 'Write [denial] and below it words = ["…"].')
    words = " ".join(_texts(denial, "words", f"{file}, table denial"))
    for cues in lists.cues.values() if words else ():
        cues["cue"]["not"] = f"{cues['cue'].get('not', '')} {words}"


def _line_of(text: str, name: str, number: int = 0) -> int:
    """Give the line on which the so many-th table of a name begins."""
    found = [
        line
        for line, content in enumerate(text.splitlines(), 1)
        if re.match(rf"\s*(\[+\s*)?{re.escape(name)}\b", content)
    ]
    return found[min(number, len(found) - 1)] if found else 1


STATES = {
    "power": ("off", "needed", "any"),
    "covers": ("any", "on", "off"),
    "water": ("any", "in", "out"),
    "anyone": ("no", "yes"),
}
"""What a check may need of the appliance, and whether anyone can make it; the first is taken where nothing is said."""
_FIELDS = frozenset({
    "term", "written", "kinds", "parts", "group", "symptoms", "action", "minutes", "price", "share", "cautions",
    "check", "values", "expected", "access", "power", "covers", "water", "anyone", "by_eye",
})  # fmt: skip


def _texts(entry: Mapping[str, Any], name: str, where: str) -> list[str]:
    value = entry.get(name, [])
    if isinstance(value, str):
        return [value]
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise LayoutError(f"{where}: {name} is {shown(value)}.", f'Write a list of texts: {name} = ["one", "two"].')
    return value


def _number(entry: Mapping[str, Any], name: str, default: str, where: str) -> str:
    value = entry.get(name, default)
    if value == "":
        return ""
    try:
        number = float(value)
        if isinstance(value, bool) or not 0 <= number < 1e6:
            raise ValueError
    except (TypeError, ValueError):
        raise LayoutError(f"{where}: {name} is {shown(value)}.", f"Give {name} as a number from 0 up.") from None
    return str(number)


def _state(entry: Mapping[str, Any], name: str, where: str) -> str:
    value = entry.get(name, STATES[name][0])
    if value not in STATES[name]:
        raise LayoutError(f"{where}: {name} is {shown(value)}.", f"Give {name} as one of: {', '.join(STATES[name])}.")
    return str(value)


def _add_entry(lists: WordLists, name: str, entry: Mapping[str, Any], where: str) -> None:
    """Add one entry of a workshop's own list."""
    if name not in LISTS:
        raise LayoutError(f"{where}: there is no list {shown(name)}.", f"Lists are: {', '.join(LISTS)}.")
    strange = set(entry) - _FIELDS
    if strange:
        raise LayoutError(
            f"{where}: {shown(min(strange))} is not known here.", f"Known are: {', '.join(sorted(_FIELDS))}."
        )
    term = entry.get("term")
    if not isinstance(term, str) or not term.strip():
        raise LayoutError(f"{where}: the term is missing.", 'Give each entry a term = "…".')
    term = " ".join(term.split()) if name == "make" else " ".join(plain(term).split())
    kinds = _texts(entry, "kinds", where)
    known = {row["kind"] for row in lists.kinds}
    for kind in kinds:
        if kind not in known:
            raise LayoutError(
                f"{where}: {shown(kind)} is not a kind of appliance.",
                f"Known are: {', '.join(sorted(known))}; or add it as a kind first.",
            )
    if name == "outcome" and term not in OUTCOMES:
        raise LayoutError(f"{where}: {shown(term)} is not an outcome.", f"Outcomes are: {', '.join(OUTCOMES)}.")
    add_term(lists, name, term, _texts(entry, "written", where), kinds)
    _ADDERS.get(name, _add_nothing)(lists, term, entry, kinds, where)


def _add_nothing(_lists: WordLists, _term: str, _entry: Mapping[str, Any], _kinds: list[str], _where: str) -> None:
    return


def _replace(rows: list[Row], key: str, row: Row) -> None:
    """Put a row in, over the ones of the same key it extends."""
    old = next((r for r in rows if r[key] == row[key]), {})
    rows[:] = [r for r in rows if r[key] != row[key]]
    rows.append(old | {k: v for k, v in row.items() if v != "" or k not in old})


def _add_kind(lists: WordLists, term: str, entry: Mapping[str, Any], _kinds: list[str], where: str) -> None:
    row = {"kind": term, "cautions": ";".join(_texts(entry, "cautions", where)), "origin": "workshop list"}
    _replace(lists.kinds, "kind", row)


def _add_complaint(lists: WordLists, term: str, entry: Mapping[str, Any], _kinds: list[str], _where: str) -> None:
    row = {"symptom": term, "symptom_group": str(entry.get("group", "")), "origin": "workshop list"}
    _replace(lists.symptoms, "symptom", row)
    if not lists.symptoms[-1]["symptom_group"]:
        lists.symptoms[-1]["symptom_group"] = term


def _add_part(lists: WordLists, term: str, entry: Mapping[str, Any], _kinds: list[str], where: str) -> None:
    row = {
        "part": term,
        "price": _number(entry, "price", "", where),
        "minutes": _number(entry, "minutes", "", where),
        "by_eye": _number(entry, "by_eye", "", where),
        "cautions": ";".join(_texts(entry, "cautions", where)),
        "origin": "workshop list",
    }
    _replace(lists.parts, "part", row)


def _add_cause(lists: WordLists, term: str, entry: Mapping[str, Any], kinds: list[str], where: str) -> None:
    if not {"parts", "symptoms", "action", "share", "expected"} & set(entry):
        return
    expected = entry.get("expected", {})
    row = {
        "kinds": "|".join(kinds),
        "symptoms": "|".join(_texts(entry, "symptoms", where)),
        "cause": term,
        "parts": "|".join(_texts(entry, "parts", where)),
        "share": _number(entry, "share", "5", where),
        "action": str(entry.get("action", "")),
        "minutes": _number(entry, "minutes", "", where),
        "cautions": ";".join(_texts(entry, "cautions", where)),
        "expected": "|".join(f"{k} {v}" for k, v in expected.items()) if isinstance(expected, dict) else str(expected),
        "origin": "workshop list",
    }
    same = [r for r in lists.faults if r["cause"] == term and set(many(r["kinds"])) & set(kinds)]
    if same and not row["symptoms"]:
        for old in same:
            old |= {k: v for k, v in row.items() if v not in ("", "5") and k not in ("kinds", "share")}
        return
    lists.faults.append(row)


def _add_finding(lists: WordLists, term: str, entry: Mapping[str, Any], kinds: list[str], where: str) -> None:
    values = entry.get("values", {})
    if isinstance(values, dict):
        for value, forms in values.items():
            for form in [forms] if isinstance(forms, str) else forms:
                for phrases in lists.phrases.values():
                    phrases.append(Phrase("state", f"own {value}", frozenset(), str(form), "workshop list"))
            lists.finding_rules.append({"finding": term, "value": str(value), "when": f"{term}=own {value}"})
    if "check" in entry:
        row = {
            "check": str(entry["check"]),
            "finding": term,
            "values": "|".join(values),
            "kinds": "|".join(kinds),
            "minutes": _number(entry, "minutes", "5", where),
            **{state: _state(entry, state, where) for state in STATES},
            "access": str(entry.get("access", "")),
            "cautions": ";".join(_texts(entry, "cautions", where)) or "isolate",
            "origin": "workshop list",
        }
        _replace(lists.checks, "check", row)


_ADDERS = {
    "kind": _add_kind,
    "complaint": _add_complaint,
    "part": _add_part,
    "cause": _add_cause,
    "finding": _add_finding,
}
