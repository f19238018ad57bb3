"""What of a call may tell of a danger although no alarm was heard: it is asked about before anything has power."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.call.word_account import CODE, COMPLAINT, DENIED, FINDING
from pipeline.words.appliance import about
from pipeline.words.danger_signs import SEEN, signs
from pipeline.words.remaining_words import beside_complaints

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from pipeline.call.question import Call
    from pipeline.call.word_account import Heard
    from pipeline.words import Words

_USED_UP = (FINDING, DENIED, CODE)


def may_hurt(
    words: Words,
    call: Call,
    kind: str,
    told: Iterable[tuple[str, Sequence[Heard]]],
    symptoms: Collection[str],
    unknown: Collection[str] = (),
) -> tuple[str, ...]:
    """Give the words of a call that may tell of a danger; none where a danger was heard.

    Parameters
    ----------
    told
        Each piece of the complaint with what became of it: what is only seen is no sign where it was understood.
    symptoms
        All complaints of the call, alarms too.
    unknown
        Words of the complaint that no list knows: they were not understood, whatever their piece was taken for.
    """
    if not about(words, kind).hazards.keys().isdisjoint(symptoms):
        return ()
    found = [sign for piece, here in told for sign in _signs_of(words, piece, kind, here, unknown)]
    beside = [sign for text in (call.code, *call.found, *call.notes) if text for sign in _signs(words, text, kind)]
    return tuple(dict.fromkeys([*found, *(text for text, sort in beside if sort != SEEN)]))


def may_hurt_on_site(words: Words, text: str, kind: str, *, is_read: bool) -> bool:
    """Whether what is told in the middle of a visit may tell of a danger; ``is_read``: findings were read of it."""
    return any(not is_read or sort != SEEN for _, sort in _signs(words, text, kind))


def _signs_of(words: Words, piece: str, kind: str, here: Sequence[Heard], unknown: Collection[str]) -> list[str]:
    found = _signs(words, piece, kind)
    left = piece
    if any(sort == SEEN for _, sort in found):
        if here[0].how == COMPLAINT:
            mended = [word for word, _ in words.mended(piece)]
            left = " ".join([*(one.text for one in beside_complaints(words, piece, kind)), *mended])
        elif here[0].how in _USED_UP:
            left = ""
    return [
        text
        for text, sort in found
        if sort != SEEN or text in left or text.lower() in left or not set(text.lower().split()).isdisjoint(unknown)
    ]


def _signs(words: Words, text: str, kind: str) -> tuple[tuple[str, str], ...]:
    return signs(text, kind, words.denying)
