"""What one clause of an engineer's note says: which part of the appliance, in which state, denied or only suspected."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from pipeline.words.lexicon import Lexicon
    from pipeline.words.phrases import Meaning

_THINGS = frozenset({"part", "thing", "cause"})
WITH_CAUSES = _THINGS | {"state"}
WITHOUT_CAUSES = WITH_CAUSES - {"cause"}
_OF_WHAT_FOLLOWS = frozenset({"not driving"})  # "board not driving pump" is about the pump
_UNKNOWN = "\ufffd"
_PASSED_ON = frozenset({"blocked", "wet", "frosted"})  # "coins in the filter" is a blocked filter
_PLACES = frozenset({"in", "on", "into"})
_BETWEEN = _PLACES | {"", "at", "from", "of", "to", "for", "by"}  # words that stand between things and narrow none

HEALTHY = frozenset({"clear", "good", "normal", "free", "live", "tight", "turns", "even", "magnetic"})
"""States in which nothing is wrong."""


_DAMAGED = frozenset({"torn", "broken", "worn", "burnt"})
_NOT_BLOCKED_YET = {
    frozenset({"crushed"}): frozenset({"not crushed"})
}  # a hose that is not kinked may still be blocked
_TIGHT, _STUCK = frozenset({"tight"}), frozenset({"seized", "stiff"})
_SLACK = frozenset({"loose", "free"})
_TURNING = frozenset({
    "drum", "bearing kit", "rear bearing", "drive motor", "drain pump", "circulation pump", "impeller", "roller kit",
    "tension pulley", "fan", "evaporator fan", "cooling fan", "fan housing", "oven fan motor", "brush roll", "grinder",
    "handle", "door handle", "door hinge", "hinge", "tap",
})  # fmt: skip
"""Things that must move: tight they are stuck. All others (a hose, a clip, a seal) are as they should be."""


class Seen(NamedTuple):
    """One thing and how it was found."""

    things: tuple[str, ...]
    """What it may be: names of parts, things or causes that the words can mean."""
    states: frozenset[str]
    """States named beside it; empty = none."""
    is_denied: bool
    """ "not the pump", "no water left": it is not so."""
    is_doubtful: bool
    is_confirmed: bool = False
    """Said after "later found", "actually"."""
    is_narrowed: bool = False
    """A word that belongs to no phrase stands right before it: "grille element" may be another thing than "element"."""
    unread: frozenset[str] = frozenset()
    """Words in the clause that name things elsewhere and are part of no phrase here: "pump flap" is no pump."""
    is_joined: bool = False
    """A comma or "and" stands before it: one more thing, not where the last one is."""
    is_half_read: bool = False
    """A word of the clause was not read, and does not say what was done: "hinge sagging"."""

    @property
    def is_healthy(self) -> bool:
        """Nothing wrong with it was said."""
        return self.is_denied or (bool(self.states) and self.states <= HEALTHY)


def turned(states: frozenset[str]) -> frozenset[str]:
    """Give what a denied state means: "not blocked" is clear, "not ok" is faulty, "not split" is sound."""
    if states in _NOT_BLOCKED_YET:
        return _NOT_BLOCKED_YET[states]
    if states and states <= _DAMAGED:
        return HEALTHY - {"clear", "free"}
    if states & HEALTHY:
        return frozenset({"faulty", "blocked", "dead", "loose", "seized", "not " + "|".join(sorted(states))})
    return HEALTHY


def _of_things(states: Collection[str], things: Collection[str]) -> frozenset[str]:
    """Give what states mean of these things: "tight" is stuck of what must turn, and good of what must hold.

    What is loose turns freely, or has come off.
    """
    given, must_turn = frozenset(states), bool(_TURNING.intersection(things))
    if given >= _SLACK and not must_turn:
        return given - {"free"}
    if not given >= _TIGHT:
        return given
    return given - (_TIGHT if must_turn else _STUCK)


class _Group:
    """A thing and its states while a clause is read."""

    def __init__(self) -> None:
        self.things: list[tuple[str, ...]] = []
        self.states: set[str] = set()
        self.is_tentative = False  # the thing may turn out to be a state of a thing named later
        self.is_denied = False
        self.is_doubtful = False
        self.is_narrowed = False
        self.is_joined = False


class _Walk:
    """Reads a clause from left to right."""

    def __init__(self) -> None:
        self.closed: list[Seen] = []
        self.group = _Group()
        self.denies = False
        self.is_doubtful = False
        self.is_confirmed = False
        self.unread: set[str] = set()
        self.is_half_read = False
        self.is_joined = False
        self.is_with = False  # after "with": "blocked with coins" speaks of the filter, not of coins

    def close(self) -> None:
        group = self.group
        for things in group.things:
            self.closed.append(
                Seen(
                    things,
                    _of_things(group.states, things),
                    group.is_denied,
                    group.is_doubtful,
                    self.is_confirmed,
                    group.is_narrowed,
                    is_joined=group.is_joined,
                )
            )
        self.group = _Group()

    def end(self) -> list[Seen]:
        """Close the clause: what was not read bears on all that it names."""
        self.close()
        unread = frozenset(self.unread)
        return [seen._replace(unread=unread, is_half_read=self.is_half_read) for seen in self.closed]

    def pass_over(self, word: str, lexicon: Lexicon) -> None:
        """A word that no phrase accounts for."""
        effect = lexicon.effects.get(word)
        if effect is None and word not in _BETWEEN and word not in lexicon.deeds:
            self.is_half_read = True
            self.unread |= {word} & lexicon.nouns
        self.hear(effect)

    def thing(self, names: tuple[str, ...], states: frozenset[str], *, is_place: bool, is_narrowed: bool) -> None:
        group = self.group
        if group.things and self.is_with:
            group.states |= states
            return
        if is_place and group.things and group.states and not (group.is_tentative and group.states & _PASSED_ON):
            return
        if group.things and states:
            self.state(states)
            return
        if group.things and group.states & _OF_WHAT_FOLLOWS:
            group.things = []
        if group.is_tentative and not states:
            group.things, group.is_tentative = [], False
        elif group.things and group.states:
            self.close()
            group = self.group
        group.things.append(names)
        group.is_narrowed |= is_narrowed
        group.is_joined |= self.is_joined
        self.is_joined = False
        group.is_doubtful |= self.is_doubtful
        if self.denies:
            group.is_denied, self.denies = True, False
        if states:
            group.is_tentative = True
            group.states |= states

    def state(self, states: frozenset[str]) -> None:
        if self.denies:
            states, self.denies = turned(states), False
        self.group.states |= states
        self.group.is_doubtful |= self.is_doubtful

    def hear(self, effect: str | None) -> None:
        self.is_joined = effect in ("comma", "and", "or") or (self.is_joined and effect is None)
        if effect in ("with", "comma", "and"):
            self.is_with = effect == "with"
        if effect in ("not", "no", "fail"):
            self.denies = True
        elif effect == "doubt":
            if self.group.things:
                self.close()
            self.is_doubtful = True
        elif effect == "doubt after":
            self.group.is_doubtful = True
            self.close()
        elif effect == "confirm" or effect == "comma":
            self.close()
            self.is_doubtful = self.denies = False
        elif effect in ("and", "or") and self.group.things and self.group.states:
            self.close()
        elif effect == "bad":
            self.state(frozenset({"faulty"}))


def read_note(
    words: Sequence[str], kind: str | None, lexicon: Lexicon, groups: frozenset[str] = WITH_CAUSES
) -> list[Seen]:
    """Give the things named in one clause of a note.

    Parameters
    ----------
    words
        Base words of the clause, unknown ones as one gap.
    kind
        Kind of appliance; None = not known, then only what means the same for every kind counts.
    lexicon
        The language.
    groups
        `WITH_CAUSES`, or `WITHOUT_CAUSES` where "thermostat faulty" is the thermostat and its state.
    """
    walk = _Walk()
    effects, tree = lexicon.effects, lexicon.tree
    named = tree.for_kind(kind, groups)
    position = read_to = 0
    is_thing_before = False
    while position < len(words):
        found = tree.longest_in(named, words, position)
        if found is None:
            walk.pass_over(words[position], lexicon)
            position += 1
            continue
        before = words[position - 1] if position > read_to else ""
        is_compound = is_thing_before and position == read_to  # "condenser fan" is another fan
        read_to, meanings = found
        position = read_to
        names, states = _sorted_out(meanings)
        is_thing_before = bool(names) and not states
        if names:
            is_narrowed = is_compound or (before not in effects and before not in _BETWEEN)
            walk.thing(names, states, is_place=before in _PLACES, is_narrowed=is_narrowed)
        else:
            walk.state(states)
    return walk.end()


def _sorted_out(meanings: list[Meaning]) -> tuple[tuple[str, ...], frozenset[str]]:
    causes = tuple(sorted({m.term for m in meanings if m.group == "cause"}))
    names = causes or tuple(sorted({m.term for m in meanings if m.group in _THINGS}))
    return names, frozenset(m.term for m in meanings if m.group == "state")


def states_in(text: str, lexicon: Lexicon) -> set[str]:
    """Give the states that a short text names, denials turned."""
    bases = [base for base in lexicon.spelt_bases(text) if base]
    states: set[str] = set()
    is_denied = False
    position = 0
    while position < len(bases):
        found = lexicon.tree.longest(bases, position, None, frozenset({"state"}))
        if found is None:
            is_denied |= lexicon.effects.get(bases[position]) in ("not", "no")
            position += 1
            continue
        position, meanings = found
        named = frozenset(meaning.term for meaning in meanings)
        states |= turned(named) if is_denied else named
    return states
