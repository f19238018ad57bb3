"""What of a call raises an alarm: those words are a complaint of their own, and nothing else is read of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.call.word_account import COMPLAINT, FINDING, Heard, pieces_of
from pipeline.words.alarms import alarms, is_taken, without_alarms

if TYPE_CHECKING:
    from pipeline.call.question import Call
    from pipeline.words.customer_remarks import Told


_CAPITALS = "A-Z\u00c4\u00d6\u00dc"
_ARTICLE = re.compile(rf"\b[Dd]ie (?=[{_CAPITALS}])")
"""A German article before its noun, which no English list may take for "dead"."""


def quiet_call(call: Call, kind: str) -> Call:
    """Return a call without the words that raise an alarm; what they say is a complaint of its own."""
    complaint, code = (text and without_alarms(_ARTICLE.sub("", text), kind) for text in (call.complaint, call.code))
    found = [_quiet_finding(text, kind) for text in call.found]
    return replace(call, complaint=complaint, code=code, found=[text for text in found if text.strip(" ,")])


def _quiet_finding(text: str, kind: str) -> str:
    if not is_taken(text, kind):
        return text
    return ", ".join(quiet_piece(piece, kind) for piece in pieces_of(text))


def quiet_piece(piece: str, kind: str) -> str:
    """Give what was seen in a piece of a text: nothing where it raises an alarm ("off the hose" is no loose hose)."""
    return "" if is_taken(piece, kind) else without_alarms(_ARTICLE.sub("", piece), kind)


def with_doubt(telling: tuple[tuple[Told, ...], str], kind: str) -> tuple[tuple[Told, ...], str]:
    """Believe nothing good told in one breath with a danger: of "the house goes off when it heats" no good element."""
    told, left = telling
    breaths = [f"{one.beside[0]} {one.text} {one.beside[1]}" for one in told]
    whole = zip(told, breaths, strict=True)
    return tuple(one._replace(is_doubtful=one.is_doubtful or bool(alarms([text], kind))) for one, text in whole), left


def with_alarms(told: Sequence[Sequence[Heard]], complaint: str, kind: str) -> tuple[Heard, ...]:
    """Account for the pieces as they were told, with the alarms that they raise."""
    whole = list[Heard]()
    for piece, here in zip(pieces_of(complaint), told, strict=True):
        raised = alarms([piece], kind)
        first, rest = (here[0], here[1:]) if here[0].how != FINDING or not raised else (Heard(piece, COMPLAINT), here)
        terms = (*raised, *(first.terms if first.how == COMPLAINT else ()))
        whole += [Heard(piece, COMPLAINT, terms) if raised else replace(first, text=piece), *rest]
    return tuple(whole)
