"""Phrases of known words: which meaning a run of words has for a kind of appliance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence


class Phrase(NamedTuple):
    """One written form of one term."""

    group: str
    """function, symptom, opposite, block, part, thing, state, cause, or the name of a list of whole cells."""
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
PASSED_OVER_AT_MOST = 4
OTHER = "other"
"""In place of a kind: every kind the lists do not know, small appliances among them."""


class PhraseTree:
    """All phrases of a language as a tree of words.

    Longest match wins; words of ``light`` are passed over where no phrase asks for them. For each kind of appliance and
    choice of groups a tree of its own is made when first asked for.
    """

    def __init__(self, light: Collection[str]) -> None:
        self._phrases: dict[tuple[str, ...], list[Meaning]] = {}
        self._light = frozenset(light)
        self._kinds: set[str] = set()
        self._ready: dict[tuple[str | None, frozenset[str]], dict[str, Any]] = {}

    def add(self, words: Sequence[str], meaning: Meaning) -> None:
        """Add one phrase; a meaning said twice counts once."""
        meanings = self._phrases.setdefault(tuple("not" if word == "no" else word for word in words), [])
        if meaning not in meanings:
            meanings.append(meaning)
            self._kinds |= meaning.kinds
            self._ready.clear()

    def for_kind(self, kind: str | None, groups: frozenset[str]) -> dict[str, Any]:
        """Give the tree of the phrases of some groups that hold for a kind; None = kind not known."""
        kind = kind if kind is None or kind in self._kinds else OTHER
        key = kind, groups
        tree = self._ready.get(key)
        if tree is None:
            tree = self._ready[key] = {}
            for words, meanings in self._phrases.items():
                held = _holding(meanings, key[0], groups)
                if held:
                    node = tree
                    for word in words:
                        node = node.setdefault(word, {})
                    node[_END] = held
        return tree

    def longest(
        self, words: Sequence[str], start: int, kind: str | None, groups: frozenset[str]
    ) -> tuple[int, list[Meaning]] | None:
        """Give the end and the meanings of the longest phrase that begins at ``start`` and holds for the kind."""
        return self.longest_in(self.for_kind(kind, groups), words, start)

    def longest_in(self, tree: dict[str, Any], words: Sequence[str], start: int) -> tuple[int, list[Meaning]] | None:
        """Give what `longest` gives, in a tree of `for_kind`."""
        word = words[start]
        node = tree.get("not" if word == "no" else word)
        if node is None:
            return None
        best = (start + 1, node[_END]) if _END in node else None
        passed = 0
        for position in range(start + 1, len(words)):
            word = words[position]
            below = node.get("not" if word == "no" else word)
            if below is None:
                if word in self._light and passed < PASSED_OVER_AT_MOST:
                    passed += 1
                    continue
                break
            node = below
            if _END in node:
                best = position + 1, node[_END]
        return best


def _holding(meanings: list[Meaning], kind: str | None, groups: frozenset[str]) -> list[Meaning]:
    """Keep the meanings of some groups for a kind: its own before those of every kind, else the only one there is.

    States hold beside other meanings: "ice" on an evaporator is the thing and its state.
    """
    wanted = [m for m in meanings if m.group in groups]
    if not wanted:
        return wanted
    states = [m for m in wanted if m.group == "state"]
    others = [m for m in wanted if m.group != "state"]
    own = [m for m in others if kind in m.kinds]
    general = [m for m in others if not m.kinds]
    if kind is None:
        listed = [m for m in others if OTHER not in m.kinds]
        own = [m for m in others if OTHER in m.kinds]
        if not general and len({(m.group, m.term) for m in listed}) == 1:
            own = listed
    return (own or general) + states
