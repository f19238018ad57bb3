"""From things and their states to causes and findings, by the rules of ``causes.csv`` and ``findings.csv``."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pipeline.words.note_clause import Seen

ANY = "*"
SAYS_NOT_HOW = frozenset(("yes", "faulty", "front", "below", "back", "at dispenser"))
"""States that tell of a thing only that it is at fault, or where: any other state no rule knows is another cause."""


class Cause(NamedTuple):
    """A cause that a note names."""

    cause: str
    is_doubtful: bool
    is_confirmed: bool
    is_narrowed: bool
    """Words that were not read may tell another cause."""


class Finding(NamedTuple):
    """A finding that a note names."""

    finding: str
    value: str
    is_doubtful: bool


def _many(text: str) -> list[str]:
    return [piece.strip() for piece in text.split("|") if piece.strip()]


class CauseRules:
    """Which cause a thing in a state is, by kind of appliance."""

    def __init__(self, rules: Iterable[Mapping[str, str]], faults: Iterable[Mapping[str, str]]) -> None:
        faults = list(faults)
        kinds_of: dict[str, set[str]] = {}
        for fault in faults:
            kinds_of.setdefault(fault["cause"], set()).update(_many(fault["kinds"]))
        self._kinds_of = kinds_of
        self._parts = {part for fault in faults for part in _many(fault.get("parts") or "")}
        self._causes: dict[tuple[str, str], list[tuple[str, set[str]]]] = {}
        for rule in rules:
            kinds = set(_many(rule["kinds"])) or kinds_of.get(rule["cause"], set())
            for when in _many(rule["when"]):
                thing, _, states = when.partition("=")
                for state in (states or ANY).split("/"):
                    self._causes.setdefault((thing, state), []).append((rule["cause"], kinds))

    def read(self, seen: Sequence[Seen], kind: str | None) -> list[Cause]:
        """Give the causes named, each thing once; what is healthy or denied is none.

        A bare thing beside one in a state is where that is ("hose loose at tap") and no cause, unless it is one more
        part ("filter blocked, pump"). Beside a thing in a state that is no listed cause all others are narrowed
        ("filter blocked, hinge bent").
        """
        at_fault = [one for one in seen if not one.is_denied and not (one.states and one.is_healthy)]
        told = [(one, *self._cause(one, kind)) for one in at_fault]
        ill = [(one, cause) for one, cause, _ in told if one.states - SAYS_NOT_HOW and not one.is_doubtful]
        found: list[Cause] = []
        for one, cause, is_by_state in told:
            others = [his for other, his in ill if other is not one]
            is_one_more = one.is_joined and not self._parts.isdisjoint(one.things)
            is_beside = not is_by_state and not is_one_more and any(his is not None for his in others)
            if cause is None or is_beside:
                continue
            is_narrowed = one.is_narrowed or bool(one.unread - set(cause.split()))
            is_narrowed |= (one.is_half_read and not is_by_state) or None in others
            found.append(Cause(cause, one.is_doubtful, one.is_confirmed, is_narrowed))
        return found

    def _cause(self, one: Seen, kind: str | None) -> tuple[str | None, bool]:
        """The cause, and whether it was told by its name or a state, not by the thing alone."""
        own = [thing for thing in one.things if thing in self._kinds_of and self._fits(self._kinds_of[thing], kind)]
        if own:
            return own[0], True
        candidates = self._with_states(one, kind, sorted(one.states))
        is_by_state = bool(candidates)
        if not candidates and one.states <= SAYS_NOT_HOW:
            candidates = self._with_states(one, kind, [ANY])
        return (candidates.pop() if len(candidates) == 1 else None), is_by_state

    def _with_states(self, one: Seen, kind: str | None, states: Iterable[str]) -> set[str]:
        return {
            cause
            for thing in one.things
            for state in states
            for cause, kinds in self._causes.get((thing, state), ())
            if self._fits(kinds, kind)
        }

    @staticmethod
    def _fits(kinds: set[str], kind: str | None) -> bool:
        return kind is None or not kinds or kind in kinds


class FindingRules:
    """Which finding a thing in a state is, and what values findings have."""

    def __init__(self, rules: Iterable[Mapping[str, str]], checks: Iterable[Mapping[str, str]]) -> None:
        self._kinds = {check["finding"]: set(_many(check["kinds"])) for check in checks}
        self.values = {check["finding"]: _many(check["values"]) for check in checks}
        self._rules: dict[tuple[str, str], list[tuple[str, str]]] = {}
        self._states_of: dict[str, dict[str, str]] = {}
        self._things: dict[tuple[str, str], set[str]] = {}
        for rule in rules:
            for when in _many(rule["when"]):
                thing, _, states = when.partition("=")
                self._things.setdefault((rule["finding"], rule["value"]), set()).add(thing)
                for state in (states or ANY).split("/"):
                    self._rules.setdefault((thing, state), []).append((rule["finding"], rule["value"]))
                    self._states_of.setdefault(rule["finding"], {}).setdefault(state, rule["value"])
            self.values.setdefault(rule["finding"], [])
            if rule["value"] not in self.values[rule["finding"]]:
                self.values[rule["finding"]].append(rule["value"])
        self._shared: dict[str, list[tuple[str, str]]] = {}
        for pair, things in self._things.items():
            for thing in things if len(things) > 1 else ():
                self._shared.setdefault(thing, []).append(pair)

    def read(self, seen: Sequence[Seen], kind: str | None) -> list[Finding]:
        """Give the findings named; a thing no check asks for is the workshop's own finding."""
        return [finding for one in seen for finding in self._of(one, kind)]

    def _of(self, one: Seen, kind: str | None) -> list[Finding]:
        states = sorted(one.states) or [ANY]
        if one.is_denied and not one.states:
            states = ["no"]
        found: dict[str, str] = {}
        for thing in one.things:
            for state in states:
                for finding, value in self._rules.get((thing, state), ()):
                    if self.holds_for(finding, kind):
                        found.setdefault(finding, value)
        if found:
            if one.is_denied and one.states:
                found = {finding: self._denied(one, finding, value) for finding, value in found.items()}
            return [Finding(finding, value, one.is_doubtful) for finding, value in found.items()]
        if one.is_denied and not one.states:
            for thing in one.things:
                for finding, value in self._rules.get((thing, ANY), ()):
                    opposite = self._opposite(finding, value)
                    if opposite is not None and self.holds_for(finding, kind):
                        return [Finding(finding, opposite, one.is_doubtful)]
        if one.states and len(one.things) == 1:
            return [Finding(one.things[0], min(one.states), one.is_doubtful)]
        return []

    def is_listed(self, finding: str, value: str, kind: str | None) -> bool:
        """Whether a check of this kind can find it."""
        return value in self.values.get(finding, ()) and self.holds_for(finding, kind)

    def named_beside(self, finding: str, value: str, thing: str) -> set[str]:
        """Give the other things of which the very same is found: "element" is open of any of an oven's elements."""
        return self._things.get((finding, value), set()) - {thing}

    def shared_with(self, thing: str) -> list[tuple[str, str]]:
        """Give the findings, with their values, that are found of a thing and of others."""
        return self._shared.get(thing, [])

    def value_of(self, finding: str, states: Iterable[str]) -> str | None:
        """Give the value of a finding that a state means, None = none."""
        for state in states:
            value = self._states_of.get(finding, {}).get(state)
            if value is not None:
                return value
        return None

    def _denied(self, one: Seen, finding: str, value: str) -> str:
        """Give the value of a finding when this one is denied: an evaporator without frost is bare, not normal."""
        for thing in one.things:
            for state in sorted(one.states):
                for other, denied in self._rules.get((thing, f"no {state}"), ()):
                    if other == finding:
                        return denied
        return self._opposite(finding, value) or value

    def _opposite(self, finding: str, value: str) -> str | None:
        others = [other for other in self.values.get(finding, ()) if other != value]
        return others[0] if len(others) == 1 else None

    def holds_for(self, finding: str, kind: str | None) -> bool:
        """Whether a finding can be made on a kind of appliance; one that no check asks for can be made on all."""
        kinds = self._kinds.get(finding, set())
        return kind is None or not kinds or kind in kinds
