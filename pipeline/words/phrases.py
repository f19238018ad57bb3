"""Phrases of known words: which meaning a run of words has for a kind of appliance."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence


class Phrase(NamedTuple):
    """One written form of one term."""

    group: str
    """function, symptom, block, part, thing, state, or the name of a list of whole cells."""
    term: str
    kinds: frozenset[str]
    """Kinds of appliance it holds for; empty = every kind."""
    written: str
    origin: str = "shipped"


class Meaning(NamedTuple):
    """What a phrase means, for some kinds of appliance."""

    group: str
    term: str
    kinds: frozenset[str]
    origin: str


_END = ""


class PhraseTree:
    """All phrases of a language as a tree of words.

    Longest match wins; words of ``light`` are passed over where no phrase asks for them.
    """

    def __init__(self, light: Collection[str]) -> None:
        self._root: dict[str, object] = {}
        self._light = frozenset(light)

    def add(self, words: Sequence[str], meaning: Meaning) -> None:
        """Add one phrase; a meaning said twice counts once."""
        node = self._root
        for word in words:
            node = node.setdefault(word, {})  # type: ignore[assignment]
        meanings = node.setdefault(_END, [])
        if meaning not in meanings:  # type: ignore[operator]
            meanings.append(meaning)  # type: ignore[attr-defined]

    def longest(
        self, words: Sequence[str], start: int, kind: str | None, groups: frozenset[str]
    ) -> tuple[int, list[Meaning]] | None:
        """Give the end and the meanings of the longest phrase that begins at ``start`` and holds for the kind."""
        node = self._root
        best: tuple[int, list[Meaning]] | None = None
        position = start
        while position < len(words):
            word = words[position]
            below = node.get(word)
            if below is None and word in ("no", "not"):
                below = node.get("not" if word == "no" else "no")
            if below is None:
                if position > start and word in self._light:
                    position += 1
                    continue
                break
            node = below  # type: ignore[assignment]
            position += 1
            here = node.get(_END)
            if here is not None:
                meanings = _holding(here, kind, groups)  # type: ignore[arg-type]
                if meanings:
                    best = position, meanings
        return best


def _holding(meanings: list[Meaning], kind: str | None, groups: frozenset[str]) -> list[Meaning]:
    """Keep the meanings of some groups for a kind: its own before those of every kind, else the only one there is.

    States hold beside other meanings: "ice" on an evaporator is the thing and its state.
    """
    wanted = [m for m in meanings if m.group in groups]
    states = [m for m in wanted if m.group == "state"]
    others = [m for m in wanted if m.group != "state"]
    own = [m for m in others if kind in m.kinds]
    general = [m for m in others if not m.kinds]
    if kind is None and not general and len({(m.group, m.term) for m in others}) == 1:
        own = others
    return (own or general) + states
