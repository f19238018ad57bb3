"""Which part was measured, where several share a check: the others are not at fault, or only this one is good."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from pipeline.call.word_account import FINDING, NOTHING, TOLD
from pipeline.words.appliance import about
from pipeline.words.note_clause import HEALTHY
from pipeline.words.retests import TESTS_TO_EARTH

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from pipeline.call.word_account import Heard
    from pipeline.words import Words


class Measured(NamedTuple):
    """What one text says of one part among those that share a check."""

    cleared: frozenset[str]
    """Causes that it rules out."""
    good: str
    """The part that was found good; "" = none was."""


class Settled(NamedTuple):
    """Finding → value, causes ruled out, and each finding of which two values were told: first, and which counts."""

    findings: dict[str, str]
    cleared: frozenset[str]
    contradicted: list[tuple[str, str, str]]


NOTHING_MEASURED = Measured(frozenset(), "")


def measured(words: Words, text: str, kind: str) -> Measured:
    """Read which of the parts that share a finding was measured: "bottom element open" is not the top one.

    A part found good that no check has to itself gives no finding: the check speaks of the others too.
    """
    part = part_named(words, text, kind)
    if not part:
        return NOTHING_MEASURED
    rules, cleared, good = words.finding_rules, set[str](), ""
    for name, value in words.findings_in(text, kind):
        if name == part and value in HEALTHY:
            cleared |= {cause for one in rules.shared_with(part) for cause in _shown_by(words, kind, *one, [part])}
            good = part if cleared else good
        else:
            others = rules.named_beside(name, value, part)
            if _shown_by(words, kind, name, value, [part]):
                cleared |= _shown_by(words, kind, name, value, others)
    return Measured(frozenset(cleared), good)


def part_named(words: Words, text: str, kind: str) -> str:
    """Give the one part that a text names, where others share its check; "" = none, or several."""
    parts = [thing for thing in words.things_in(text, kind) if thing in words.part_names]
    return parts[0] if len(parts) == 1 and words.finding_rules.shared_with(parts[0]) else ""


def settled(words: Words, kind: str, seen: Iterable[tuple[str, str, str]]) -> Settled:
    """Settle what was seen in turn (text, finding, value): the last counts, but what is unsafe stays.

    Of two parts that share a check the one at fault counts, and causes of the good one are ruled out. Nothing said
    beside an earth fault, before or after, overrules it: not "heater good", nor insulation good of the whole.
    """
    unsafe = about(words, kind).unsafe
    findings, part_of = dict[str, str](), dict[str, str]()
    cleared, contradicted = set[str](), list[tuple[str, str, str]]()
    for text, finding, value in seen:
        part, before, other = part_named(words, text, kind), findings.get(finding, value), part_of.get(finding, "")
        is_kept = (finding, before) in unsafe and (finding, value) not in unsafe
        if before != value and part and other and part != other:
            is_good = value in HEALTHY
            cleared |= _shown_by(words, kind, finding, before if is_good else value, [part if is_good else other])
            if is_good or is_kept:
                continue
        elif before != value:
            contradicted.append((finding, value, before) if is_kept else (finding, before, value))
        if not is_kept:
            findings[finding], part_of[finding] = value, part
    return Settled(*_without_denied_earth_faults(findings, unsafe, contradicted, cleared))


def _without_denied_earth_faults(
    findings: dict[str, str],
    unsafe: Collection[tuple[str, str]],
    contradicted: list[tuple[str, str, str]],
    cleared: set[str],
) -> tuple[dict[str, str], frozenset[str], list[tuple[str, str, str]]]:
    """Leave out tests of the whole that are said to be good beside an earth fault of one part."""
    bad = [
        value
        for finding, value in findings.items()
        if (finding, value) in unsafe and (finding in TESTS_TO_EARTH or value == "to earth")
    ]
    denied = [name for name in TESTS_TO_EARTH if bad and name in findings and (name, findings[name]) not in unsafe]
    contradicted += [(name, findings[name], bad[0]) for name in denied]
    left = {finding: value for finding, value in findings.items() if finding not in denied}
    return left, frozenset(cleared), contradicted


def with_parts_measured(words: Words, told: Sequence[Heard], kind: str) -> tuple[tuple[Heard, ...], frozenset[str]]:
    """Account for the pieces that say which part was found good, and give the causes ruled out with the others."""
    whole, cleared = list["Heard"](), frozenset[str]()
    for piece in told:
        part = measured(words, piece.text, kind) if piece.how in (FINDING, NOTHING) else NOTHING_MEASURED
        cleared |= part.cleared
        is_new = part.good and piece.how == NOTHING
        whole.append(replace(piece, how=TOLD, terms=(f"{part.good} is good",)) if is_new else piece)
    return tuple(whole), cleared


def _shown_by(words: Words, kind: str, finding: str, value: str, parts: Iterable[str]) -> set[str]:
    """Causes cured by one of these parts that this finding shows."""
    trade = about(words, kind)
    return {
        cause
        for cause, repair in trade.repairs.items()
        if not set(parts).isdisjoint(repair.parts) and value in trade.stated.get((cause, finding), {})
    }
