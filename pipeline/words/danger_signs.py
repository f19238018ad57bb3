"""Single words that seldom stand in a harmless call: whoever is hurt, what is felt, what smokes or lies in bits.

The net below `pipeline.words.alarms`, for dangers told in phrases that no list holds. ``signs.csv`` of every language
is read whatever languages are set (`pipeline.words.stems`): "neither" only sounds like a sign, as what only sounds like
an alarm or like gas; "body" (whoever or whatever of a person is spoken of) is one in any clause, "felt" is one unless
it is denied, "seen" unless it is denied or what holds it was understood. All of it is common practice, no source.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from pipeline.words.alarms import harmless
from pipeline.words.licensed import harmless_of_licensed
from pipeline.words.stems import NEITHER, said_in, shown
from pipeline.words.vocabulary import split

if TYPE_CHECKING:
    from collections.abc import Set

BODY, FELT, SEEN = "body", "felt", "seen"
_NEAR = 3  # words between a denial and what it denies, at most
_STOPS = re.compile(r"[,;:.!?\n()]|\s(?:but|and|then|aber|und|dann)\s", re.IGNORECASE)


class Sign(NamedTuple):
    """A word that may tell of a danger, and of which sort it is."""

    text: str
    sort: str


def signs(text: str, kind: str, denies: Set[str]) -> tuple[Sign, ...]:
    """Give the signs in a text, in its order.

    Parameters
    ----------
    text
        As written.
    kind
        The kind of appliance as a term.
    denies
        Words that deny. Two of them in a clause deny nothing: "cannot touch it without a tingle".
    """
    text = shown(text)
    found = [one for one in said_in(text, kind, "signs.csv", (NEITHER, BODY, FELT, SEEN)) if one[0] != NEITHER]
    used_up = [*harmless(text, kind), *harmless_of_licensed(text, kind)] if found else []
    return tuple(
        Sign(text[begin:end], sort)
        for sort, begin, end in sorted(found, key=lambda one: one[1])
        if not any(first <= begin < last for first, last in used_up)
        if sort == BODY or not _is_denied(text[:begin], denies)
    )


def _is_denied(before: str, denies: Set[str]) -> bool:
    clause = split(before[max((met.end() for met in _STOPS.finditer(before)), default=0) :])
    denials = [word in denies for word in clause]
    return any(denials[-_NEAR:]) and sum(denials) % 2 == 1
