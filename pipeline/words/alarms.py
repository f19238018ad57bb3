"""What a text says that can hurt at once: a shock, water at the mains, a damaged flex, a microwave door that gapes.

``alarms.csv`` of every language is read whatever languages are set (`pipeline.words.stems`); a row names the complaint
that its phrases are. "neither" only sounds like one; "electrician" is who "the spark says" speaks of.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from pipeline.words.lists import SHIPPED, read_table
from pipeline.words.retests import EARTH_FAULT_COMPLAINT
from pipeline.words.stems import NEITHER, said_in, shown

if TYPE_CHECKING:
    from collections.abc import Iterable

NO_ALARM = (NEITHER, "electrician")
_ARTICLE = re.compile(r"\b(?:der|die|das|den|dem|the) $", re.IGNORECASE)


def alarms(texts: Iterable[str | None], kind: str) -> tuple[str, ...]:
    """Give the complaints that the texts raise, the gravest first."""
    raised = {says for text in texts if text for says, _, _ in _said(shown(text), kind)}
    return tuple(says for says in _order() if says in raised and says not in NO_ALARM)


def is_taken(text: str, kind: str) -> bool:
    """Whether a text raises an alarm beside whose words nothing is read.

    A door that does not shut is read as ever, and beside "knocks the breaker off" stands what was measured.
    """
    return any(says not in (*NO_ALARM, EARTH_FAULT_COMPLAINT, *_ordinary()) for says, _, _ in _said(shown(text), kind))


def without_alarms(text: str, kind: str, *, every: bool = False) -> str:
    """Give a text without the words that raise an alarm: they say nothing else ("shock" is no shock absorber).

    ``every``: also those of complaints that are read as ever.
    """
    left = shown(text)
    for says, begin, end in sorted(_said(left, kind), key=lambda one: -one[1]):
        if says != NEITHER and (every or says not in _ordinary()):
            left = f"{_ARTICLE.sub('', left[:begin])}{left[end:]}"
    return left if left.strip() != shown(text).strip() else text


def harmless(text: str, kind: str) -> list[tuple[int, int]]:
    """Where words stand, in a text as `shown` gives it, that only sound like an alarm."""
    return [(begin, end) for says, begin, end in _said(text, kind) if says in NO_ALARM]


def _said(text: str, kind: str) -> tuple[tuple[str, int, int], ...]:
    return said_in(text, kind, "alarms.csv", _order())


@cache
def _ordinary() -> frozenset[str]:
    """Complaints of other kinds too, that can hurt in some."""
    return frozenset(row["complaint"] for row in read_table(SHIPPED / "en" / "hazards.csv") if row["kinds"])


@cache
def _order() -> tuple[str, ...]:
    """What only sounds like an alarm first, then by the order of the hazards."""
    hazards = [row["complaint"] for row in read_table(SHIPPED / "en" / "hazards.csv")]
    return tuple(dict.fromkeys((*NO_ALARM, *hazards)))
