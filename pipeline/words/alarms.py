"""What a text says that can hurt at once: a shock, water at the mains, a damaged flex, a microwave door that gapes.

``alarms.csv`` of every language is read whatever languages are set (`pipeline.words.stems`); a row names the complaint
that its phrases are. "neither" only sounds like one; "electrician" is who "the spark says" speaks of.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from pipeline.words.lists import SHIPPED, read_table
from pipeline.words.stems import said_in, shown

if TYPE_CHECKING:
    from collections.abc import Iterable

NO_ALARM = ("neither", "electrician")


def alarms(texts: Iterable[str | None], kind: str) -> tuple[str, ...]:
    """Give the complaints that the texts raise, the gravest first."""
    raised = {says for text in texts if text for says, _, _ in _said(shown(text), kind)}
    return tuple(says for says in _order() if says in raised and says not in NO_ALARM)


def is_taken(text: str, kind: str) -> bool:
    """Whether a text raises an alarm whose words say nothing else; a door that does not shut is read as ever."""
    return any(says not in (*NO_ALARM, *_ordinary()) for says, _, _ in _said(shown(text), kind))


def without_alarms(text: str, kind: str) -> str:
    """Give a text without the words that raise an alarm: they say nothing else ("shock" is no shock absorber)."""
    left = shown(text)
    for says, begin, end in sorted(_said(left, kind), key=lambda one: -one[1]):
        if says != "neither" and says not in _ordinary():
            left = f"{left[:begin]}{left[end:]}"
    return left if left.strip() != shown(text).strip() else text


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
