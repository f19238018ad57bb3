"""Which causes an appliance of its make-up cannot have: an induction hob has no ring, a vented dryer no compressor."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.words.lists import many

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

WHATEVER = "*"


def ruled_out(
    variants: Iterable[Mapping[str, str]], kind: str, texts: Iterable[str | None], complaints: Collection[str]
) -> frozenset[str]:
    """Causes that cannot be, by the words of a call and its complaints; words of a cause stand for one of own words.

    Parameters
    ----------
    variants
        Rows of ``variants.csv``: words begin as ``heard`` ("*" = whatever is said), none as ``unless``; or a complaint
        or finding ("evaporator=frosted") of ``complaints``.
    kind
        The appliance.
    texts, complaints
        All that is said of the call, and what was understood: complaints, and findings with their values.
    """
    said = " ".join(text for text in texts if text).lower()
    causes = set[str]()
    for row in variants:
        if kind not in many(row["kinds"]):
            continue
        is_told = _says(said, row["heard"]) and not _says(said, row["unless"])
        if is_told or not set(many(row["complaints"])).isdisjoint(complaints):
            causes.update(many(row["rules_out"]))
    return frozenset(causes)


def to_ask(
    variants: Iterable[Mapping[str, str]], kind: str, texts: Iterable[str | None], complaints: Collection[str]
) -> tuple[str, ...]:
    """Make-ups one of which an appliance has, where none is told and the complaint (``asked``) depends on it."""
    said = " ".join(text for text in texts if text).lower()
    rows = [row for row in variants if kind in many(row["kinds"])]
    is_open = any(not set(many(row["asked"])).isdisjoint(complaints) for row in rows)
    told = [row for row in rows if _says(said, row["unless"] if row["heard"] == WHATEVER else row["heard"])]
    return tuple(row["variant"] for row in rows) if is_open and not told else ()


def is_ruled_out(cause: str, ruled: Collection[str], listed: Collection[str]) -> bool:
    """Whether a cause is among those ruled out; one of own words if it holds all words of an entry."""
    return cause in ruled or (
        cause not in listed and any(set(one.split()) <= set(cause.lower().split()) for one in ruled)
    )


def _says(said: str, stems: str) -> bool:
    return stems == WHATEVER or any(re.search(rf"\b{re.escape(stem)}", said) for stem in many(stems))
