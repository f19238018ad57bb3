"""What a customer told beside the complaint, made part of the question: findings, causes ruled out, circumstances."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.call.word_account import COMPLAINT, FINDING, TOLD, Heard
from pipeline.words.appliance import about
from pipeline.words.customer_remarks import (
    FITTED,
    FITTED_BY_US,
    NEWLY_PLACED,
    cleared_by,
    complaint_of,
    complaints_of,
    findings_of,
    notes_of,
)
from reports.render.wording import Sentence, Written, sentence

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from pipeline.words import Words
    from pipeline.words.customer_remarks import Told


PLAINLY = 0.9  # chance of what a cause shows from which on the cause is ruled out when it is told to be otherwise
_VAGUE = frozenset({"does not work"})


@dataclass(frozen=True)
class Aside:
    """What was told aside.

    Attributes
    ----------
    heard
        What became of each piece.
    complaints
        Complaints told only there.
    notes
        What is neither finding nor complaint.
    cleared
        Causes ruled out.
    remarks
        What the technician should know or ask.
    """

    heard: tuple[Heard, ...]
    complaints: list[str]
    notes: frozenset[str]
    cleared: frozenset[str]
    remarks: tuple[Sentence, ...]


def told_aside(words: Words, pieces: Sequence[Told], kind: str, symptoms: Collection[str]) -> Aside:
    """Take in what was told beside the complaint.

    Parameters
    ----------
    words
        Lists in force.
    pieces
        From `pipeline.words.customer_remarks.told_in`.
    kind
        The appliance.
    symptoms
        Complaints understood without it.
    """
    rules = words.finding_rules
    heard, complaints, notes, cleared, remarks = list[Heard](), list[str](), set[str](), set[str](), list[Sentence]()
    for piece in pieces:
        sure = complaints_of(piece.tells)
        found = [
            f"{finding}={value}"
            for finding, value in findings_of(piece.tells, {*symptoms, *sure}).items()
            if rules.is_listed(finding, value, kind)
        ]
        said = notes_of(piece.tells)
        complaint = complaint_of(piece.tells)
        if piece.is_doubtful:
            heard.append(Heard(piece.text, TOLD, (*found, *said)))
            continue
        if sure:
            complaints += [one for one in sure if one not in (*symptoms, *complaints)]
            heard.append(Heard(piece.text, COMPLAINT, tuple(sure)))
        if found:
            heard.append(Heard(piece.text, FINDING, tuple(found)))
        elif sure:
            heard += [Heard(piece.text, TOLD, said)] if said else []
        elif complaint and not complaints and _VAGUE.issuperset(symptoms):
            complaints.append(complaint)
            heard.append(Heard(piece.text, COMPLAINT, (complaint,)))
        else:
            heard.append(Heard(piece.text, TOLD, said))
        before = frozenset(notes)
        notes |= set(said)
        cleared |= cleared_by(piece.tells) | _seen_good(words, kind, found)
        remarks += [one for one in _remarks(words, piece, kind, symptoms) if NEWLY_PLACED not in before]
    return Aside(tuple(heard), complaints, frozenset(notes), frozenset(cleared), tuple(remarks))


def _remarks(words: Words, piece: Told, kind: str, symptoms: Collection[str]) -> list[Sentence]:
    """What is to be asked or known because of one piece."""
    if NEWLY_PLACED in piece.tells:
        is_suspected = not about(words, kind).installation.keys().isdisjoint(symptoms)
        name = "answer.newly_placed" if is_suspected else "answer.newly_placed_only"
        return [sentence(name, text=Written(piece.text))]
    if FITTED_BY_US not in piece.tells and FITTED not in piece.tells:
        return []
    parts = [thing for thing in words.things_in(piece.text, kind) if thing in words.part_names]
    name = "answer.callback_told" if FITTED_BY_US in piece.tells else "answer.renewed_told"
    return [sentence(name, text=Written(piece.text), parts=parts or sentence("answer.no_known_part"))]


def _seen_good(words: Words, kind: str, found: Collection[str]) -> set[str]:
    """Causes without a part that would have shown plainly: what was cleaned or opened is not done again."""
    trade = about(words, kind)
    return {
        cause
        for cause, repair in trade.repairs.items()
        for finding, _, value in (one.partition("=") for one in found)
        if not repair.parts and _shows(trade.stated.get((cause, finding), {}), value)
    }


def _shows(stated: Mapping[str, float], value: str) -> bool:
    return max(stated.values(), default=0.0) >= PLAINLY and value not in stated
