"""What the word lists know of one kind of appliance: its causes, repairs, checks, parts and cautions."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from pipeline.words.licensed import licensed_work

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.words import Words

AFTER_EVERY_REPAIR = "after repair"
ALWAYS = "local rules"
DO_NOT_ENERGISE = "do not energise"
NOT_UNDERSTOOD = "danger first"
UNPLUGGED_FIRST = "unplugged first"
RESCUE = "rescue"
WHICH_PART = frozenset({"burnt part", "earth fault at"})  # findings whose values are parts
BY_EYE = 0.9  # common practice, no source
FEWEST_OF_KIND = 10  # jobs that make a kind that no list holds one of this workshop's, and no slip of one sheet
REFER = "refer"
HANDING_ON = frozenset({"advise", REFER})  # an action that begins so is no cure of the workshop's own


@dataclass(frozen=True)
class Repair:
    """How one cause is cured: the parts (all together) or the action, its minutes (None = from the parts).

    cautions are those of the action (empty = those of its parts); ``is_confirmed`` tells whether a check can show it.
    """

    parts: tuple[str, ...]
    action: str
    minutes: float | None
    cautions: tuple[str, ...] = ()
    is_confirmed: bool = True


@dataclass(frozen=True)
class CheckCard:
    """One check as the word lists describe it; ``access`` is what must be opened for it, empty = nothing.

    power (needed, off, any), covers (on, off, any) and water (in, out, any) are the states it needs; water "out" is let
    out for it, or by it where it needs power. ``is_for_anyone``: the customer could see or turn it, without tools.
    """

    name: str
    finding: str
    values: tuple[str, ...]
    minutes: float
    access: str
    cautions: tuple[str, ...]
    power: str = "any"
    covers: str = "any"
    water: str = "any"
    is_for_anyone: bool = False


@dataclass(frozen=True)
class PartCard:
    """One part: price, fit minutes, cautions; ``by_eye`` is the share of good ones that a look knows as good.

    The shipped prices, minutes and shares are common practice, no source.
    """

    price: float
    minutes: float
    cautions: tuple[str, ...]
    by_eye: float = BY_EYE


@dataclass(frozen=True)
class Hazard:
    """What a complaint that can hurt asks for: checks to be made before all else, the caution that stands first."""

    first: tuple[str, ...]
    caution: str
    is_off: bool
    """Whether the appliance stays unplugged until a first repair."""
    brings: tuple[str, ...] = ()
    """Complaints it is told with, the first that the kind knows: water at the mains comes of a leak."""
    seen: tuple[tuple[str, str], ...] = ()
    """Findings with their values of which one was seen already by whoever tells it."""
    is_rescue: bool = False
    """Whether nothing is planned: whoever is caught is freed first."""


@dataclass(frozen=True, eq=False)
class Trade:
    """The word lists, cut to one kind of appliance.

    Attributes
    ----------
    repairs
        Cause → how it is cured.
    shares
        Symptom → cause → rough share.
    expected
        One row a cause, finding and value: probability.
    checks
        In the order of the list.
    parts
        Part → card.
    cautions
        Caution → its full text.
    kind_cautions
        Cautions of the kind, most important first.
    decisive
        (finding, value) that settle the cause once measured: "element" is "to earth"; and ("complaint", symptom) that
        only the causes listed for it bring.
    unsafe
        (finding, value), and ("complaint", symptom), after which nothing may be energised before the repair.
    hazards
        Complaint → what it asks for, the gravest first.
    shows_later
        Complaints of which a repair cannot be seen to have helped before leaving.
    stops
        Complaint → complaints that cannot be judged until it is cured.
    installation
        Complaint → cause that comes of setting up or moving → rough share.
    known_kinds
        All kinds that the lists know.
    goes_to_workshop
        Whether it is taken there: what is built in, wired in or too heavy is mended on site.
    implied
        (finding, value) → other findings that it settles.
    """

    kind: str
    repairs: Mapping[str, Repair]
    shares: Mapping[str, Mapping[str, float]]
    expected: pd.DataFrame
    checks: tuple[CheckCard, ...]
    parts: Mapping[str, PartCard]
    cautions: Mapping[str, str]
    kind_cautions: tuple[str, ...]
    decisive: frozenset[tuple[str, str]] = frozenset()
    unsafe: frozenset[tuple[str, str]] = frozenset()
    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    shows_later: frozenset[str] = frozenset()
    stops: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    installation: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    known_kinds: tuple[str, ...] = ()
    goes_to_workshop: bool = True
    implied: Mapping[tuple[str, str], Mapping[str, str]] = field(default_factory=dict)

    def can_be_planned(self, jobs: Mapping[str, int]) -> bool:
        """Whether a visit may be planned, given the kind's causes and how many jobs had each.

        Its kind is on a list, shipped or own, and causes are known; or so many jobs are on record that it is no slip.
        """
        if self.kind in self.known_kinds:
            return bool(self.repairs or jobs)
        return sum(jobs.values()) >= FEWEST_OF_KIND

    def with_implied(self, findings: Mapping[str, str]) -> dict[str, str]:
        """Findings and what follows from them: a pump heard running has a sound winding."""
        found: dict[str, str] = {}
        for seen in findings.items():
            found |= self.implied.get(seen, {})
        return {**found, **findings}

    @cached_property
    def stated(self) -> Mapping[tuple[str, str], Mapping[str, float]]:
        """(cause, finding) → value → probability, as ``expected`` states it."""
        nested: dict[tuple[str, str], dict[str, float]] = {}
        for cause, finding, value, p in self.expected.itertuples(index=False, name=None):
            nested.setdefault((str(cause), str(finding)), {})[str(value)] = float(p)
        return nested

    def with_brought(self, alarms: Iterable[str]) -> list[str]:
        """Alarms and, behind them, the complaints of this kind that they are told with."""
        raised = list(alarms)
        brought = (next((name for name in self.hazards[one].brings if name in self.shares), "") for one in raised)
        return [*raised, *(name for name in brought if name)]

    def tells_no_fault(self, complaint: str) -> bool:
        """Whether a complaint is a danger that no check looks for: a cover was taken off, nobody says why."""
        hazard = self.hazards.get(complaint)
        return hazard is not None and not hazard.first and complaint not in self.shares

    def is_rescue(self, complaints: Collection[str]) -> bool:
        """Whether one of these complaints leaves nothing to be planned: somebody is caught."""
        return any(name in complaints for name, hazard in self.hazards.items() if hazard.is_rescue)

    @property
    def is_gas(self) -> bool:
        """Whether only people licensed for gas may work on this kind."""
        return "gas" in self.kind_cautions

    def is_licensed(self, cause: str) -> bool:
        """Whether a cause is for licensed people: gas, or the sealed refrigerant circuit."""
        repair = self.repairs.get(cause)
        action = repair.action if repair else ""
        return self.is_gas or first_word(action) == REFER or _is_licensed_work(cause, action, self.kind)


@lru_cache(maxsize=10_000)
def _is_licensed_work(cause: str, action: str, kind: str) -> bool:
    return bool(licensed_work((cause, action), kind))


class _Tables(NamedTuple):
    """The lists that are cut to a kind, as frames."""

    faults: pd.DataFrame
    checks: pd.DataFrame
    complaints: pd.DataFrame
    parts: pd.DataFrame
    cautions: pd.DataFrame
    kinds: pd.DataFrame


@lru_cache(maxsize=4)
def _tables(words: Words) -> _Tables:
    """Make the frames once, however many kinds are asked for."""
    return _Tables(words.faults(), words.checks(), words.symptoms(), words.parts(), words.cautions(), words.kinds())


@lru_cache(maxsize=64)
def about(words: Words, kind: str) -> Trade:
    """Cut the word lists in force to one kind; an unknown kind gets all general cautions and no faults."""
    tables = _tables(words)
    faults, checks, complaints = _of_kind(tables.faults, kind), _of_kind(tables.checks, kind), tables.complaints
    repairs: dict[str, Repair] = {}
    shares: dict[str, dict[str, float]] = {}
    expected: dict[tuple[str, str, str], float] = {}
    for row in faults.to_dict("records"):
        cause = row["cause"]
        repairs.setdefault(
            cause,
            Repair(
                split(row["parts"]),
                row["action"],
                number(row["minutes"]),
                split(row["cautions"]),
                row["confirmed_by"] != "nothing",
            ),
        )
        for symptom in split(row["symptoms"] if "symptoms" in row else row["symptom"]):
            shares.setdefault(symptom, {})[cause] = number(row["share"]) or 0.0
        for finding, value, probability in expectations(row["expected"]):
            expected.setdefault((cause, finding, value), probability)
    of_kind = kind_cautions(words, kind)
    risks = [row for row in words.lists.hazards if not row["kinds"] or kind in split(row["kinds"])]
    rules = [((row["finding"], row["value"]), row) for row in words.lists.finding_rules]
    rules += [(("complaint", row["complaint"]), row) for row in risks]
    return Trade(
        kind=kind,
        repairs=repairs,
        shares=shares,
        expected=_expected_frame(expected),
        checks=tuple(_check(row, expected) for row in checks.to_dict("records")),
        parts={row["part"]: _part(row, of_kind) for row in tables.parts.to_dict("records")},
        cautions=dict(tables.cautions[["caution", "text"]].itertuples(index=False, name=None)),
        kind_cautions=of_kind,
        decisive=frozenset(rule for rule, row in rules if row.get("decides") == "yes"),
        unsafe=frozenset(rule for rule, row in rules if row.get("energise") == "no"),
        hazards=_hazards(risks, set(checks["check"]), set(checks["finding"])),
        shows_later=frozenset(complaints.loc[complaints["shows"] != "at once", "symptom"]),
        installation=_installation(words.lists.installation, kind),
        known_kinds=tuple(tables.kinds["kind"]),
        goes_to_workshop=not ((tables.kinds["kind"] == kind) & (tables.kinds["to_workshop"] == "no")).any(),
        implied={rule: dict(one.split("=", 1) for one in split(row.get("implies", ""))) for rule, row in rules},
        stops={name: split(stopped) for name, stopped in zip(complaints["symptom"], complaints["stops"], strict=True)},
    )


def _installation(rows: Iterable[Mapping[str, str]], kind: str) -> Mapping[str, Mapping[str, float]]:
    found: dict[str, dict[str, float]] = {}
    for row in rows:
        if kind in split(row["kinds"]):
            for complaint in split(row["complaints"]):
                found.setdefault(complaint, {})[row["cause"]] = float(row["share"])
    return found


def _hazards(
    risks: Iterable[Mapping[str, str]], checks: Collection[str], findings: Collection[str]
) -> Mapping[str, Hazard]:
    """Give what each complaint asks for; a row of the kind's own stands before that of every kind."""
    hazards: dict[str, Hazard] = {}
    for row in risks:
        first = tuple(name for name in split(row["first"]) if name in checks)
        is_off = row["energise"] == UNPLUGGED_FIRST
        told = (one.partition("=") for one in split(row["seen"]))
        seen = tuple((name, value) for name, _, value in told if name in findings)
        is_rescue = row["energise"] == RESCUE
        hazard = Hazard(first, row["caution"], is_off, split(row["brings"]), seen, is_rescue)
        hazards.setdefault(row["complaint"], hazard)
    return hazards


def kind_cautions(words: Words, kind: str) -> tuple[str, ...]:
    """Cautions of a kind; a kind no list knows gets isolation."""
    kinds = _tables(words).kinds
    known = kinds.loc[kinds["kind"] == kind, "cautions"]
    return split(known.iloc[0]) if len(known) else ("isolate",)


def _of_kind(frame: pd.DataFrame, kind: str) -> pd.DataFrame:
    if "kind" in frame.columns:
        return frame.loc[frame["kind"] == kind]
    return frame.loc[[kind in split(kinds) for kinds in frame["kinds"]]]


def _check(row: Mapping[Any, Any], expected: Collection[tuple[str, str, str]]) -> CheckCard:
    """Make a card of a row; of what names a part only those parts that the kind has are answers."""
    access, finding, values = row["access"], row["finding"], split(row["values"])
    if finding in WHICH_PART:
        shown = {value for _, of, value in expected if of == finding}
        values = (values[0], *(value for value in values[1:] if value in shown))
    return CheckCard(
        name=row["check"],
        finding=finding,
        values=values,
        minutes=number(row["minutes"]) or 5.0,
        access=access if isinstance(access, str) else "",
        cautions=split(row["cautions"]),
        power=row["power"],
        covers=row["covers"],
        water=row["water"],
        is_for_anyone=row["anyone"] == "yes",
    )


def _part(row: Mapping[Any, Any], of_kind: tuple[str, ...]) -> PartCard:
    by_eye = number(row["by_eye"])
    return PartCard(
        number(row["price"]) or 0.0,
        number(row["minutes"]) or 30.0,
        split(row["cautions"]) or of_kind,
        BY_EYE if by_eye is None else by_eye,
    )


def expectations(cell: Any) -> Iterable[tuple[str, str, float]]:
    """Finding, value and chance of each expectation in a cell."""
    for piece in split(cell):
        stated, probability = piece.rsplit(" ", 1)
        finding, value = stated.split("=", 1)
        yield finding, value, float(probability)


def _expected_frame(expected: Mapping[tuple[str, str, str], float]) -> pd.DataFrame:
    import pandas as pd

    rows = [(*key, probability) for key, probability in expected.items()]
    return pd.DataFrame(rows, columns=["cause", "finding", "value", "probability"])


def split(cell: Any) -> tuple[str, ...]:
    """Terms of a cell: a list as it is, text at "|" and ";", nothing from an empty cell."""
    if isinstance(cell, str):
        return tuple(piece.strip() for piece in cell.replace(";", "|").split("|") if piece.strip())
    return tuple(cell) if isinstance(cell, list | tuple) else ()


def number(cell: Any) -> float | None:
    """Number of a cell; None when it is empty."""
    if cell is None or cell == "" or cell != cell:
        return None
    return float(cell)


def is_handed_on(action: Any) -> bool:
    """Whether an action is no cure by the workshop: it advises, or refers to somebody licensed."""
    return first_word(action) in HANDING_ON


def first_word(action: Any) -> str:
    """First word of an action, which says what is done."""
    return str(action or "").strip().lower().replace(":", " ").partition(" ")[0]
