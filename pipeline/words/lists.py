"""The word lists shipped with each language, and how a term is added to them.

Terms are English and stand once, in ``en``: kinds, symptoms, faults, checks, parts, cautions; ``hazards.csv`` says
which complaints can hurt and what comes first then (energise: no = not before the repair, unplugged first = not before
the first repair, rescue = nothing is planned; decides = only causes listed for it bring it); ``causes.csv`` and
``findings.csv`` say which thing in which state is which cause or finding ("pump filter=blocked/dirty", ``*`` = named
alone); ``joint_causes.csv`` which cause already holds others that are named beside it; ``part_functions.csv`` which
complaint it is when a part does not start; ``installation.csv`` which causes come of setting up or moving;
``variants.csv`` which cannot be;
``readings.csv`` holds the resistance of good parts, ``renamed.csv`` what a term was called before. A language is a
folder of

- ``phrases*.csv``: class, term, kinds, phrases (split by |). Classes for complaints: *function* ("drain": a complaint
  when denied), *symptom* ("leak"), *opposite* ("quiet"), *topic* ("screen": doubtful by itself), *block* ("drain hose":
  no complaint although a word in it is). Classes for notes: *part*, *thing*, *state*. Kinds: empty = all, ``other`` =
  those no list knows. Inflected and misspelt forms need no phrase of their own;
- ``cells.csv``: whole cells of kinds and outcomes, and words that may stand beside them;
- ``cues.toml``: words that deny, doubt, confirm, join or end a clause, fillers, endings and irregular forms;
- ``alarms.csv``, ``signs.csv``, ``licensed.csv``: what can or may hurt, see `pipeline.words.stems`;
- ``told.csv``: what customers tell beside the complaint, and what was seen that no finding says, see
  `pipeline.words.customer_remarks`;
- ``known.txt``: common words that are neither asked about in review nor taken for a misspelling;
- ``spelt.txt``, where there is one: words spelt right that the dictionary of the language lacks; they are asked about
  in review as others are, but are no misspelling.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import LayoutError, shown
from pipeline.words.codes import CodeRule, sign_of
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
_CANONICAL = ("kinds", "symptoms", "faults", "checks", "parts", "cautions", "hazards")

Row = dict[str, str]


SHORTEST_KIND = 5
"""Letters of a kind's name from which on it is one in any language: "wm" is not."""


@dataclass
class WordLists:
    """Everything the word lists say, shipped and the workshop's own, before it is made ready for reading texts."""

    phrases: dict[str, list[Phrase]] = field(default_factory=dict)
    """Language → phrases of free text; the workshop's own are in every language."""
    renamed: dict[tuple[str, str], str] = field(default_factory=dict)
    """(list, term as it was once stored) → its name now; old records, decisions and own lists still say it."""
    cells: dict[str, list[Phrase]] = field(default_factory=dict)
    """List of whole cells (kind, outcome, make) → phrases."""
    ignored: dict[str, set[str]] = field(default_factory=dict)
    """List of whole cells → words beside a term that do not matter."""
    cues: dict[str, dict[str, Any]] = field(default_factory=dict)
    known: dict[str, list[str]] = field(default_factory=dict)
    spelt: dict[str, list[str]] = field(default_factory=dict)
    foreign_kinds: dict[str, str] = field(default_factory=dict)
    """Names of kinds in languages that are not switched on → the language."""
    kinds: list[Row] = field(default_factory=list)
    symptoms: list[Row] = field(default_factory=list)
    faults: list[Row] = field(default_factory=list)
    checks: list[Row] = field(default_factory=list)
    parts: list[Row] = field(default_factory=list)
    cautions: list[Row] = field(default_factory=list)
    installation: list[Row] = field(default_factory=list)
    """Causes that come of setting up or moving, by kind and complaint."""
    hazards: list[Row] = field(default_factory=list)
    variants: list[Row] = field(default_factory=list)
    """Words that tell of which make-up an appliance is, and causes that it cannot have."""
    cause_rules: list[Row] = field(default_factory=list)
    joint_causes: dict[str, frozenset[str]] = field(default_factory=dict)
    """Cause → causes it holds: named together they are it."""
    part_functions: dict[tuple[str, str | None], str] = field(default_factory=dict)
    """(part or thing, kind; None = every kind) → complaint where it does not start."""
    finding_rules: list[Row] = field(default_factory=list)
    readings: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Thing → lowest and highest resistance in ohm when it is good."""
    codes: dict[str, CodeRule] = field(default_factory=dict)
    silenced: set[tuple[str, str]] = field(default_factory=set)
    """(list, plain text) that review said means nothing."""


def read_table(path: Path) -> list[Row]:
    """Read one of our own CSV files; a last column without values says in the header where the values come from."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def many(text: str) -> list[str]:
    """Give the pieces of a cell split by |."""
    return [piece.strip() for piece in text.split("|") if piece.strip()]


def shipped_languages() -> list[str]:
    """Languages that word lists are shipped for."""
    return sorted(path.name for path in SHIPPED.iterdir() if (path / "cues.toml").exists())


def read_shipped(languages: Iterable[str]) -> WordLists:
    """Read the shipped lists of some languages.

    Raises
    ------
    LayoutError
        A language that is not shipped.
    """
    lists = WordLists()
    shipped = shipped_languages()
    for name in _CANONICAL:
        rows = getattr(lists, name)
        for row in read_table(SHIPPED / "en" / f"{name}.csv"):
            rows.append(row | {"origin": "shipped"})
    for row in read_table(SHIPPED / "en" / "renamed.csv"):
        lists.renamed[row["list"], row["old"]] = row["term"]
    small = SHIPPED / "en" / "symptoms_small.csv"
    lists.symptoms += [row | {"origin": "shipped"} for row in read_table(small)]
    lists.installation = read_table(SHIPPED / "en" / "installation.csv")
    lists.variants = read_table(SHIPPED / "en" / "variants.csv")
    lists.cause_rules = read_table(SHIPPED / "en" / "causes.csv")
    for row in read_table(SHIPPED / "en" / "part_functions.csv"):
        kinds: list[str | None] = [*many(row["kinds"])] or [None]
        lists.part_functions |= {(row["part"], kind): row["symptom"] for kind in kinds}
    joint = read_table(SHIPPED / "en" / "joint_causes.csv")
    lists.joint_causes = {row["cause"]: frozenset(many(row["with"])) for row in joint}
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
    for language in sorted(set(shipped) - set(languages)):
        _read_kinds(lists, language)
    _add_canonical(lists)
    return lists


def _read_language(lists: WordLists, language: str) -> None:
    folder = SHIPPED / language
    lists.cues[language] = tomllib.loads((folder / "cues.toml").read_text(encoding="utf-8"))
    lists.known[language] = (folder / "known.txt").read_text(encoding="utf-8").split()
    spelt = folder / "spelt.txt"
    lists.spelt[language] = spelt.read_text(encoding="utf-8").split() if spelt.exists() else []
    phrases = lists.phrases.setdefault(language, [])
    for path in sorted(folder.glob("phrases*.csv")):
        for row in read_table(path):
            kinds = frozenset(many(row["kinds"]))
            phrases += [Phrase(row["class"], row["term"], kinds, written) for written in many(row["phrases"])]
    for row in read_table(folder / "cells.csv"):
        if row["list"].startswith("ignore "):
            lists.ignored.setdefault(row["list"].removeprefix("ignore "), set()).update(many(row["phrases"]))
        else:
            cells = lists.cells.setdefault(row["list"], [])
            cells += [Phrase(row["list"], row["term"], frozenset(), written) for written in many(row["phrases"])]


def _read_kinds(lists: WordLists, language: str) -> None:
    """Read what the kinds of appliance are called in a language that is not switched on, so that it can be named."""
    cells = lists.cells.setdefault("kind", [])
    known = {phrase.written for phrase in cells}
    for row in read_table(SHIPPED / language / "cells.csv"):
        if row["list"] == "kind":
            names = [name for name in many(row["phrases"]) if name not in known and len(name) >= SHORTEST_KIND]
            cells += [Phrase("kind", row["term"], frozenset(), name) for name in names]
            lists.foreign_kinds |= dict.fromkeys(names, language)


def _add_canonical(lists: WordLists) -> None:
    """Make every canonical term a phrase for itself."""
    kinds_of: dict[str, set[str]] = {}
    for row in lists.faults:
        for symptom in many(row["symptoms"]):
            kinds_of.setdefault(symptom, set()).update(many(row["kinds"]))
    every_kind = {row["symptom"] for row in lists.symptoms if "does not" not in row["symptom"]} - set(_small_symptoms())
    own = [_own_name(row["symptom"], _kinds_of_symptom(row["symptom"], kinds_of, every_kind)) for row in lists.symptoms]
    own += [Phrase("cause", row["cause"], frozenset(many(row["kinds"])), row["cause"]) for row in lists.faults]
    own += [Phrase("part", row["part"], frozenset(), row["part"]) for row in lists.parts]
    groups = {"finding": "thing"}
    own += [Phrase(groups.get(name, name), term, frozenset(), old) for (name, old), term in lists.renamed.items()]
    for language, phrases in lists.phrases.items():
        if language == "en" or "en" not in lists.phrases:  # terms are English
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
            raise LayoutError(
                f"{where} must be a TOML table.", f'Write [codes.{make}] and below it, say, letter = "F".'
            )
        strange = set(rule) - {"letter", "digits", "flashes", "table"}
        if strange:
            raise LayoutError(
                f"{where}: {shown(min(strange))} is not known.", "Known are: letter, digits, flashes, table."
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
            flashes=bool(rule.get("flashes", False)),
            table={sign_of(str(k)): str(v) for k, v in signs.items()},
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
    term = lists.renamed.get((name, term), term)
    held = frozenset(kinds)
    if name in ("kind", "outcome", "make"):
        lists.cells.setdefault(name, []).extend(Phrase(name, term, held, form, origin) for form in forms)
        return
    group = {"complaint": "symptom", "finding": "thing"}.get(name, name)
    for phrases in lists.phrases.values():
        phrases.extend(Phrase(group, term, held, form, origin) for form in forms)


def add_row(lists: WordLists, name: str, term: str, *, origin: str) -> None:
    """Add a term that review made to its list, where the list has rows of its own: kinds, complaints, parts."""
    term = lists.renamed.get((name, term), term)
    rows, key, more = {
        "kind": (lists.kinds, "kind", {"cautions": ""}),
        "complaint": (lists.symptoms, "symptom", {"symptom_group": term}),
        "part": (lists.parts, "part", {"price": "", "minutes": "", "cautions": ""}),
    }.get(name, ([], "", {}))
    if key and all(row[key] != term for row in rows):
        rows.append({key: term, "origin": origin, **more})
