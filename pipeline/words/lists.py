"""Reads word lists: the shipped ones of each language, and a workshop's own in TOML or CSV."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import LayoutError, shown
from pipeline.words.codes import CodeRule
from pipeline.words.phrases import OTHER, Phrase
from pipeline.words.vocabulary import plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

SHIPPED = Path(__file__).parent
OUTCOMES = (
    "fixed",
    "not fixed",
    "part needed",
    "no fault found",
    "beyond economic repair",
    "declined",
    "no access",
    "made safe",
    "advice only",
    "unknown",
)
LISTS = ("kind", "complaint", "finding", "cause", "part", "outcome", "make")
_CANONICAL = ("kinds", "symptoms", "faults", "checks", "parts", "cautions")

Row = dict[str, str]


@dataclass
class WordLists:
    """Everything the word lists say, shipped and the workshop's own, before it is made ready for reading texts."""

    phrases: dict[str, list[Phrase]] = field(default_factory=dict)
    """Language → phrases of free text; the workshop's own are in every language."""
    cells: dict[str, list[Phrase]] = field(default_factory=dict)
    """List of whole cells (kind, outcome, make) → phrases."""
    ignored: dict[str, set[str]] = field(default_factory=dict)
    """List of whole cells → words beside a term that do not matter."""
    cues: dict[str, dict[str, Any]] = field(default_factory=dict)
    known: dict[str, list[str]] = field(default_factory=dict)
    kinds: list[Row] = field(default_factory=list)
    symptoms: list[Row] = field(default_factory=list)
    faults: list[Row] = field(default_factory=list)
    checks: list[Row] = field(default_factory=list)
    parts: list[Row] = field(default_factory=list)
    cautions: list[Row] = field(default_factory=list)
    cause_rules: list[Row] = field(default_factory=list)
    finding_rules: list[Row] = field(default_factory=list)
    readings: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Thing → lowest and highest resistance in ohm when it is good."""
    codes: dict[str, CodeRule] = field(default_factory=dict)
    silenced: set[tuple[str, str]] = field(default_factory=set)
    """(list, plain text) that review said means nothing."""


def read_table(path: Path) -> list[Row]:
    """Read one of our own CSV files."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _many(text: str) -> list[str]:
    return [piece.strip() for piece in text.split("|") if piece.strip()]


def read_shipped(languages: Iterable[str]) -> WordLists:
    """Read the shipped lists of some languages.

    Raises
    ------
    LayoutError
        A language that is not shipped.
    """
    lists = WordLists()
    shipped = sorted(path.name for path in SHIPPED.iterdir() if (path / "cues.toml").exists())
    for name in _CANONICAL:
        rows = getattr(lists, name)
        for row in read_table(SHIPPED / "en" / f"{name}.csv"):
            rows.append(row | {"origin": "shipped"})
    small = SHIPPED / "en" / "symptoms_small.csv"
    lists.symptoms += [row | {"origin": "shipped"} for row in read_table(small)]
    lists.cause_rules = read_table(SHIPPED / "en" / "causes.csv")
    lists.finding_rules = read_table(SHIPPED / "en" / "findings.csv")
    for row in read_table(SHIPPED / "en" / "readings.csv"):
        lists.readings[row["thing"]] = float(row["low_ohm"]), float(row["high_ohm"])
    read_codes_table(lists, tomllib.loads((SHIPPED / "codes.toml").read_text(encoding="utf-8")), "codes.toml")
    for language in languages:
        if language not in shipped:
            raise LayoutError(
                f"There is no word list for the language {shown(language)}.", f"Choose from: {', '.join(shipped)}."
            )
        _read_language(lists, language)
    _add_canonical(lists)
    return lists


def _read_language(lists: WordLists, language: str) -> None:
    folder = SHIPPED / language
    lists.cues[language] = tomllib.loads((folder / "cues.toml").read_text(encoding="utf-8"))
    lists.known[language] = (folder / "known.txt").read_text(encoding="utf-8").split()
    phrases = lists.phrases.setdefault(language, [])
    for path in sorted(folder.glob("phrases*.csv")):
        for row in read_table(path):
            kinds = frozenset(_many(row["kinds"]))
            phrases += [Phrase(row["class"], row["term"], kinds, written) for written in _many(row["phrases"])]
    for row in read_table(folder / "cells.csv"):
        if row["list"].startswith("ignore "):
            lists.ignored.setdefault(row["list"].removeprefix("ignore "), set()).update(_many(row["phrases"]))
        else:
            cells = lists.cells.setdefault(row["list"], [])
            cells += [Phrase(row["list"], row["term"], frozenset(), written) for written in _many(row["phrases"])]


def _add_canonical(lists: WordLists) -> None:
    """Make every canonical term a phrase for itself."""
    kinds_of: dict[str, set[str]] = {}
    for row in lists.faults:
        for symptom in _many(row["symptoms"]):
            kinds_of.setdefault(symptom, set()).update(_many(row["kinds"]))
    every_kind = {row["symptom"] for row in lists.symptoms if "does not" not in row["symptom"]} - set(_small_symptoms())
    own = [_own_name(row["symptom"], _kinds_of_symptom(row["symptom"], kinds_of, every_kind)) for row in lists.symptoms]
    own += [Phrase("cause", row["cause"], frozenset(_many(row["kinds"])), row["cause"]) for row in lists.faults]
    own += [Phrase("part", row["part"], frozenset(), row["part"]) for row in lists.parts]
    for phrases in lists.phrases.values():
        phrases += own
    lists.cells.setdefault("kind", []).extend(Phrase("kind", r["kind"], frozenset(), r["kind"]) for r in lists.kinds)
    lists.cells.setdefault("outcome", []).extend(Phrase("outcome", name, frozenset(), name) for name in OUTCOMES)
    lists.cells.setdefault("make", [])


def _small_symptoms() -> list[str]:
    return [row["symptom"] for row in read_table(SHIPPED / "en" / "symptoms_small.csv")]


def _own_name(symptom: str, kinds: frozenset[str]) -> Phrase:
    """Make a symptom's name a phrase for it; "does not drain" names the function that is denied."""
    for denial in ("does not ", "no "):
        if symptom.startswith(denial):
            return Phrase("function", symptom, kinds, symptom.removeprefix(denial))
    return Phrase("symptom", symptom, kinds, symptom)


def _kinds_of_symptom(symptom: str, kinds_of: Mapping[str, set[str]], every_kind: set[str]) -> frozenset[str]:
    """Give the kinds for which a symptom's own name means it; those of small appliances mean nothing for the others."""
    if symptom in every_kind:
        return frozenset()
    return frozenset(kinds_of.get(symptom, {OTHER}))


def read_codes_table(lists: WordLists, table: Mapping[str, Any], file: str) -> None:
    """Add the code rules of makes from a TOML table ``codes``."""
    for make, rule in table.get("codes", {}).items():
        where = f"{file}, table codes.{make}"
        if not isinstance(rule, dict):
            raise LayoutError(f"{where} is no table.", f'Write [codes.{make}] and below it, say, letter = "F".')
        strange = set(rule) - {"letter", "digits", "lamps", "flashes", "table"}
        if strange:
            raise LayoutError(
                f"{where}: {shown(min(strange))} is not known.", "Known are: letter, digits, lamps, flashes, table."
            )
        if rule.get("lamps", "binary") != "binary":
            raise LayoutError(
                f"{where}: lamps is {shown(rule['lamps'])}.", 'Only lamps = "binary" is known; else use table.'
            )
        digits = rule.get("digits", 2)
        if not isinstance(digits, int) or isinstance(digits, bool) or not 1 <= digits <= 4:
            raise LayoutError(f"{where}: digits is {shown(digits)}.", "Give a whole number from 1 to 4.")
        signs = rule.get("table", {})
        if not isinstance(signs, dict):
            raise LayoutError(f"{where}: table is {shown(signs)}.", f"Write [codes.{make}.table] with one sign a line.")
        lists.codes[plain(make).strip()] = CodeRule(
            letter=str(rule.get("letter", "")),
            digits=digits,
            lamps=str(rule.get("lamps", "")),
            flashes=bool(rule.get("flashes", False)),
            table={" ".join(str(k).lower().split()): str(v) for k, v in signs.items()},
        )


def add_term(
    lists: WordLists,
    name: str,
    term: str,
    written: Iterable[str],
    kinds: Iterable[str] = (),
    origin: str = "workshop list",
) -> None:
    """Add written forms of one term of one list.

    Parameters
    ----------
    lists
        What is added to.
    name
        One of `LISTS`.
    term
        What the written forms mean.
    written
        Written forms; the term itself is always one.
    kinds
        Kinds of appliance it holds for; empty = every kind.
    origin
        "workshop list" or "review".
    """
    forms = [term, *written]
    held = frozenset(kinds)
    if name in ("kind", "outcome", "make"):
        lists.cells.setdefault(name, []).extend(Phrase(name, term, held, form, origin) for form in forms)
        return
    group = {"complaint": "symptom", "finding": "thing"}.get(name, name)
    for phrases in lists.phrases.values():
        phrases.extend(Phrase(group, term, held, form, origin) for form in forms)


def read_own(lists: WordLists, path: Path) -> None:
    """Add a workshop's own word list.

    Raises
    ------
    LayoutError
        With file, line, value and remedy.
    """
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise LayoutError(
            f"The word list {shown(path)} cannot be read: {error}.", "Check the name; save it as UTF-8."
        ) from None
    if Path(path).suffix.lower() == ".csv":
        _read_own_csv(lists, text, Path(path).name)
    elif Path(path).suffix.lower() == ".toml":
        _read_own_toml(lists, text, Path(path).name)
    else:
        raise LayoutError(
            f"The word list {shown(path)} is neither TOML nor CSV.", "Name it something.toml or something.csv."
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
        for many in ("written", "kinds", "parts", "symptoms"):
            if many in lined:
                lined[many] = _many(lined[many])
        _add_entry(lists, name, lined, f"{file}, line {reader.line_num}")


def _read_own_toml(lists: WordLists, text: str, file: str) -> None:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LayoutError(
            f"{file} is not TOML: {error}.", "Mend the line named; texts stand in double quotes."
        ) from None
    strange = set(table) - set(LISTS) - {"codes", "ignore"}
    if strange:
        name = min(strange)
        raise LayoutError(
            f"{file}, line {_line_of(text, name)}: there is no list {shown(name)}.",
            f"Lists are: {', '.join(LISTS)}, codes, ignore.",
        )
    for name in LISTS:
        entries = table.get(name, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            raise LayoutError(
                f"{file}, line {_line_of(text, name)}: {shown(name)} is no list of entries.",
                f"Write [[{name}]] above each entry.",
            )
        for number, entry in enumerate(entries):
            _add_entry(lists, name, entry, f"{file}, line {_line_of(text, name, number)}")
    read_codes_table(lists, table, file)
    ignored = table.get("ignore", {})
    if not isinstance(ignored, dict):
        raise LayoutError(f"{file}: ignore is {shown(ignored)}.", 'Write [ignore] and below it words = ["…"].')
    for word in _texts(ignored, "words", f"{file}, table ignore"):
        lists.silenced.add(("complaint", plain(str(word))))


def _line_of(text: str, name: str, number: int = 0) -> int:
    """Give the line on which the so many-th table of a name begins."""
    found = [
        line
        for line, content in enumerate(text.splitlines(), 1)
        if re.match(rf"\s*(\[+\s*)?{re.escape(name)}\b", content)
    ]
    return found[min(number, len(found) - 1)] if found else 1


_FIELDS = frozenset(
    ("term", "written", "kinds", "parts", "group", "symptoms", "action", "minutes", "price", "share", "cautions")
    + ("check", "values", "expected", "access", "is_isolated")
)


def _texts(entry: Mapping[str, Any], name: str, where: str) -> list[str]:
    value = entry.get(name, [])
    if isinstance(value, str):
        return [value]
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise LayoutError(f"{where}: {name} is {shown(value)}.", f'Write a list of texts: {name} = ["one", "two"].')
    return value


def _number(entry: Mapping[str, Any], name: str, default: str, where: str) -> str:
    value = entry.get(name, default)
    try:
        if value != "" and not 0 <= float(value) < 1e6:
            raise ValueError
    except (TypeError, ValueError):
        raise LayoutError(f"{where}: {name} is {shown(value)}.", f"Give {name} as a number from 0 up.") from None
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
                f"{where}: {shown(kind)} is no kind of appliance.",
                f"Known are: {', '.join(sorted(known))}; or add it as a kind first.",
            )
    if name == "outcome" and term not in OUTCOMES:
        raise LayoutError(f"{where}: {shown(term)} is no outcome.", f"Outcomes are: {', '.join(OUTCOMES)}.")
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
        "expected": "|".join(f"{k} {v}" for k, v in expected.items()) if isinstance(expected, dict) else str(expected),
        "origin": "workshop list",
    }
    same = [r for r in lists.faults if r["cause"] == term and set(_many(r["kinds"])) & set(kinds)]
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
            "is_isolated": "yes" if entry.get("is_isolated", True) in (True, "yes") else "no",
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
