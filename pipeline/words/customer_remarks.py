"""What a customer tells beside the complaint: what works, was cleaned or renewed, how new it is, who came before.

``told.csv`` of every language is read whatever languages are set (`pipeline.words.stems`). A row says what its phrases
tell, pieces split by |: a finding ("tap flow=good"), after " beside " the complaints it is that finding of; a complaint
("complains of does not heat"), or one told only where there is no other ("complaint noisy"); a cause ruled out
("clears lamp blown"); a circumstance of `CIRCUMSTANCES`; or any note in the trade's words ("lint filter clean"). Denied
or questioned ("tap is not on") it tells nothing. All of it is common practice, no source.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from pipeline.words.lists import SHIPPED, many, read_table
from pipeline.words.stems import said_in, shown
from pipeline.words.vocabulary import split

if TYPE_CHECKING:
    from collections.abc import Collection, Set

NEWLY_PLACED, FITTED_BY_US, FITTED = "newly set up or moved", "repaired by us before", "renewed before"
CIRCUMSTANCES = (
    NEWLY_PLACED,
    FITTED_BY_US,
    FITTED,
    "after a power cut",
    "stands in a cold place",
    "a frost-free appliance",
)
_NEITHER = "neither"
_BESIDE, _COMPLAINT, _COMPLAINS, _CLEARS = " beside ", "complaint ", "complains of ", "clears "
_WORDS_BEFORE = 3  # a word that denies stands at most so far before what it denies
_JOINS = frozenset({"and", "but", "or", "und", "aber", "oder"})
_WORDS_AFTER = 2  # "geht nicht", "geht auch nicht"
_BRACKETS = str.maketrans("()[]{}", ";;;;;;")
_STOPS = re.compile(r"[,;.!?\n()\[\]{}]|\s(?:but|and|aber|und|[-\N{EN DASH}\N{EM DASH}]+)\s", re.IGNORECASE)


_SHARES = re.compile(
    r"\b(lights?|lamps?|fan|grill|plate|turntable|drum|motor|pump|clock|display|hob|rings?|timer"
    r"|licht|lampe|gebläse|lüfter|grill|teller|trommel|uhr|anzeige|motor|pumpe)"
    r" (?:and|&|und) ((?:the |der |die |das )?\w+) ((?:(?:are|is|both|all|still|do|sind|beide|noch) ){0,3}"
    r"(?:working|works?|fine|ok|okay|good|alright|running|turning|funktionieren|gehen|laufen|gut|in ordnung))\b",
    re.IGNORECASE,
)
"""Two things said to work in one breath: "light and fan working"."""
_TURNS = re.compile(
    r"\b(?:aber|jedoch|leider) (?=(?:(?:ganz|noch|sonst|weiter|weiterhin|trotzdem|immer|auch) )*"
    r"(?:nicht|normal|gut|einwandfrei|richtig|tadellos|prima|perfekt)\b)",
    re.IGNORECASE,
)
"""A word that ends a clause elsewhere, and here stands within one: "heizt aber nicht", "kühlt aber ganz normal"."""


class Told(NamedTuple):
    """One thing told: the words that tell it, what they tell, whether it is only supposed, the rest of its clause."""

    text: str
    tells: tuple[str, ...]
    is_doubtful: bool
    beside: tuple[str, ...]


def told_in(
    text: str, kind: str, denies: Set[str], doubts: Set[str], determiners: Set[str] = frozenset()
) -> tuple[tuple[Told, ...], str]:
    """Find what a complaint tells beside the fault.

    Parameters
    ----------
    text
        The complaint, as written.
    kind
        The kind of appliance as a term.
    denies, doubts
        Words that deny, and that doubt.
    determiners
        Those that deny only what stands right behind them: "no suction bag is empty" denies no bag.

    Returns
    -------
    tuple of Told
        In the order of the text.
    str
        The text without them; a full stop stands for each.
    """
    text = _SHARES.sub(r"\1 \3 and \2 \3", _TURNS.sub("", shown(text)))
    left, found = text, list[Told]()
    spans = said_in(f"{left.translate(_BRACKETS)} .", kind, "told.csv", _order(), between(frozenset(denies)))
    for says, begin, end in sorted(spans, key=lambda one: -one[1]):
        end = min(end, len(left))
        clause_begin = max((met.end() for met in _STOPS.finditer(left, 0, begin)), default=0)
        stop = _STOPS.search(left, end - 1)  # a phrase may end with the mark that ends its clause
        before, clause = (
            split(left[clause_begin:begin]),
            split(left[clause_begin : stop.start() if stop else len(left)]),
        )
        after = split(left[end : stop.start() if stop else len(left)])
        is_denied = not denies.isdisjoint([*before[-1:], *_not_of_another(before, determiners), *after[:_WORDS_AFTER]])
        if says == _NEITHER or (is_denied and says not in CIRCUMSTANCES):
            continue
        if says in (FITTED_BY_US, FITTED):
            end = stop.start() if stop else len(left)
        rest = left[clause_begin:begin].strip(), left[end : stop.start() if stop else len(left)].strip()
        found.append(Told(left[begin:end].strip(" ,.;"), tuple(many(says)), not doubts.isdisjoint(clause), rest))
        left = f"{left[:begin]} . {left[end:]}"
    return tuple(reversed(found)), left if found else text


def _not_of_another(before: list[str], determiners: Set[str]) -> list[str]:
    """The words before a phrase whose denial may reach it: a determiner is spent on the word behind it."""
    return [word for word in before[-_WORDS_BEFORE:-1] if word not in determiners]


def findings_of(tells: tuple[str, ...], complaints: Collection[str]) -> dict[str, str]:
    """Give the findings, finding → value, that hold beside these complaints."""
    found: dict[str, str] = {}
    for one in tells:
        pair, _, beside = one.partition(_BESIDE)
        finding, is_pair, value = pair.partition("=")
        if is_pair and (not beside or not set(beside.split("/")).isdisjoint(complaints)):
            found.setdefault(finding, value)
    return found


def complaint_of(tells: tuple[str, ...]) -> str:
    """Give the complaint that is told where there is no other; "" = none."""
    return next((one.removeprefix(_COMPLAINT) for one in tells if one.startswith(_COMPLAINT)), "")


def complaints_of(tells: tuple[str, ...]) -> list[str]:
    """Give the complaints that are told whatever else is complained of."""
    return [one.removeprefix(_COMPLAINS) for one in tells if one.startswith(_COMPLAINS)]


def cleared_by(tells: tuple[str, ...]) -> set[str]:
    """Give the causes that are ruled out."""
    return {one.removeprefix(_CLEARS) for one in tells if one.startswith(_CLEARS)}


def notes_of(tells: tuple[str, ...]) -> tuple[str, ...]:
    """Give what is neither a finding, a complaint nor a cause ruled out."""
    return tuple(one for one in tells if "=" not in one and not one.startswith((_COMPLAINT, _COMPLAINS, _CLEARS)))


@cache
def _order() -> tuple[str, ...]:
    """Everything that is told, in the order of the tables; the English one, which holds most, first."""
    paths = sorted(SHIPPED.glob("*/told.csv"), key=lambda path: (path.parent.name != "en", path))
    rows = [row["says"] for path in paths for row in read_table(path)]
    return tuple(dict.fromkeys((_NEITHER, *rows)))


@cache
def between(denies: frozenset[str]) -> str:
    """Up to three words that deny nothing and begin no other clause."""
    words = "|".join(map(re.escape, sorted(denies | _JOINS)))
    return rf"(?:(?!(?:{words}) )\w+ ){{0,3}}?"
