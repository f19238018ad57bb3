"""What became of every word of a call: understood as what, known but saying nothing here, or not known."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from pipeline.words.burnt import burnt, only_smelt
from pipeline.words.readings import is_earth_reading
from pipeline.words.remaining_words import beside_complaints, tells_state

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.words import Words

_CLAUSES = re.compile(
    r"(?:[;!()\[\]{}\n]|(?<!\d),|,(?!\d))+|\.(?!\d)|\s[-\N{EN DASH}\N{EM DASH}]+\s"
    r"|\s/\s|\s(?:but|and|though|although|however|aber|und|obwohl|obgleich|jedoch|allerdings)\s",
    re.IGNORECASE,
)
_AFFIRMS = re.compile(
    r"\b(?:does|do|will|still|always|fine|ok|okay|normal|einwandfrei|gut)\b|^(?:it|er|sie|es)\s\w+$", re.IGNORECASE
)
_DENIES = re.compile(r"\b(?:not?|never|\w+n'?t|cannot|stopped|nicht|kein\w*|ohne)\b", re.IGNORECASE)
_CODE = re.compile(r"\b(?:codes?|err(?:or)?|fehler\w*|lamps?|lampen?|leds?|display|shows?|zeigt)$", re.IGNORECASE)
_LONGEST_NAME = 3  # words of a finding's name, as they stand before a colon
HOW = ("complaint", "denied", "finding", "told", "code", "says nothing", "not understood")
"""How a piece can be taken; every language has words for each."""
COMPLAINT, DENIED, FINDING, TOLD, CODE, FILLER, NOTHING = HOW
STATES = frozenset(
    {"noisy", "ice build-up", "does not clean", "stops early", "trips supply", "cuts out", "does not work"}
)
"""Complaints that are only the state of a thing where it is named and something else is complained of."""
SAYS_TOO = {"does not drain": "water left", "leaks": "where it leaks"}
"""Complaint → the finding that its words may say."""
_HEALTHY = frozenset({"good", "normal", "clear", "free", "turns", "runs", "yes", "no"})
_OF_SUPPLY = frozenset({"breaker=tripped", "insulation=low"})


@dataclass(frozen=True)
class Heard:
    """One piece of a complaint and what it was taken for.

    Attributes
    ----------
    text
        The piece as told.
    how
        complaint, denied, finding, told (what is no finding, or only supposed), code, says nothing (filler), or not
        understood.
    terms
        What it was taken for; empty for the last two.
    """

    text: str
    how: str
    terms: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The piece, how it was taken, and for what."""
        return {"text": self.text, "how": self.how, "terms": list(self.terms)}


def pieces_of(complaint: str) -> list[str]:
    """Cut a complaint into the pieces that are accounted for one by one.

    A colon cuts where what stands before it denies something or is no short name: "water left: no" is one piece.
    """
    pieces = [piece.strip() for piece in _CLAUSES.split(complaint) if piece and piece.strip()]
    return [part.strip() for piece in pieces for part in _at_colon(piece) if part.strip()]


def _at_colon(piece: str) -> list[str]:
    before, colon, after = piece.partition(": ")
    is_name = len(before.split()) <= _LONGEST_NAME and _DENIES.search(before) is None
    return [piece] if not colon or is_name or _CODE.search(before) is not None else [before, after]


def heard(
    words: Words,
    pieces: Sequence[str],
    kind: str,
    said: Sequence[Sequence[tuple[str, bool]]],
    codes: Sequence[Sequence[str]],
    symptoms: Sequence[str],
) -> tuple[tuple[Heard, ...], ...]:
    """Account for every piece of a complaint.

    Parameters
    ----------
    pieces
        As `pieces_of` cut them.
    said, codes
        Of each piece, the complaints in it with whether they are denied, and the codes.
    symptoms
        Complaints that the whole text was taken for: a piece that makes sense only beside the others ("won't drain or
        spin") is told with the one it brought.

    Returns
    -------
    tuple of tuple of Heard
        One or more a piece. Beside a complaint a finding is taken from the words only that the complaint left over; a
        piece that names a thing in a state (`STATES`) complains of nothing where another piece does.
    """
    if not pieces:
        return ()
    affirmed, found = _affirmed(words, pieces, kind), _found(words, pieces, kind)
    said = [[(s, is_negated) for s, is_negated in here if is_negated or s in symptoms] for here in said]
    known = {symptom for here in said for symptom, _ in here}
    left = [symptom for symptom in symptoms if symptom not in known]
    states = _states(words)
    complains_else = any(not is_negated and symptom not in states for here in said for symptom, is_negated in here)
    told: list[tuple[Heard, ...]] = []
    times = Counter(symptom for here in said for symptom, is_negated in set(here) if not is_negated)
    for piece, here, shown, values in zip(pieces, said, codes, found, strict=True):
        present = tuple(symptom for symptom, is_negated in here if not is_negated)
        spared = states if complains_else and not any(value in _OF_SUPPLY for value in values) else frozenset[str]()
        if values and present and spared.issuperset(present):
            told.append((Heard(piece, FINDING, tuple(values)),))
        elif present and not values and spared.issuperset(present) and _only_clicks(words, piece, kind):
            told.append((Heard(piece, NOTHING),))
        elif present and all(times[symptom] > 1 for symptom in present) and not _HEALTHY.issuperset(_values(values)):
            told.append((Heard(piece, COMPLAINT, present), Heard(piece, FINDING, tuple(values))))
        elif present:
            told.append(_beside(words, piece, kind, shown, values, present, spared))
        elif shown:
            told.append((Heard(piece, CODE, tuple(shown)), *([Heard(piece, FINDING, tuple(values))] if values else [])))
        elif values:
            told.append((Heard(piece, FINDING, tuple(values)),))
        elif here:
            told.append((Heard(piece, DENIED, tuple(symptom for symptom, _ in here)),))
        elif not words.tells_something(piece):
            told.append((Heard(piece, FILLER),))
        elif affirmed.get(piece):
            told.append((Heard(piece, DENIED, affirmed[piece]),))
        elif left:
            told.append((Heard(piece, COMPLAINT, (left.pop(0),)),))
        else:
            told.append((Heard(piece, NOTHING),))
    return tuple(_joined(words, told, kind))


def _joined(words: Words, told: Sequence[tuple[Heard, ...]], kind: str) -> list[tuple[Heard, ...]]:
    """Read what says nothing by itself together with what follows it: "pump filter checked and clear"."""
    whole = list(told)
    pairs = [
        at
        for at, (one, after) in enumerate(pairwise(told))
        if one[0].how == NOTHING
        and len(after) == 1
        and after[0].how in (NOTHING, FINDING, FILLER)
        and (words.names_only(one[0].text) or not words.things_in(after[0].text, kind))
    ]
    texts = [f"{told[at][0].text} & {told[at + 1][0].text}" for at in pairs]
    for at, found in zip(pairs, _found(words, texts, kind), strict=True):
        one, after = whole[at][0], whole[at + 1][0]
        more = tuple(term for term in found if term not in after.terms)
        if more and one.how == NOTHING:
            whole[at] = (Heard(one.text, FINDING, more),)
            whole[at + 1] = (after if after.how == FINDING else Heard(after.text, FINDING, more),)
    return whole


def without_states_of_things(words: Words, symptoms: Sequence[str], told: Sequence[Heard]) -> list[str]:
    """Leave out complaints that `heard` took for the state of a thing."""
    complained = {term for one in told if one.how == COMPLAINT for term in one.terms}
    return [symptom for symptom in symptoms if symptom in complained or symptom not in _states(words)]


def beside_codes(words: Words, code: str, kind: str, shown: Sequence[str]) -> list[Heard]:
    """Account for what stands beside the codes where codes are written: "K07, filter clear"."""
    if len(code.split()) < 2:
        return []
    pieces = pieces_of(code)
    told = zip(pieces, _found(words, pieces, kind), strict=True)
    return [
        Heard(piece, FINDING, tuple(found)) if found else Heard(piece, NOTHING)
        for piece, found in told
        if found or (shown and tells_state(words, piece, kind))
    ]


def _states(words: Words) -> frozenset[str]:
    return STATES.union(row["symptom"] for row in words.lists.symptoms if row.get("is_fault"))


def _only_clicks(words: Words, piece: str, kind: str) -> bool:
    """Whether a piece says no more of a thing than that it clicks, as a switch, a valve or a lock does."""
    return words.states_in(piece) == {"clicks"} and bool(words.things_in(piece, kind))


def _is_said_too(value: str, complaints: Sequence[str]) -> bool:
    """Whether the very words of a complaint say a finding too: that water stands, where it leaks, what is burnt."""
    name = value.partition("=")[0]
    return bool(burnt(dict([value.split("=", 1)]))) or any(SAYS_TOO.get(one) == name for one in complaints)


def _values(findings: Sequence[str]) -> set[str]:
    return {finding.partition("=")[2] for finding in findings}


def _beside(
    words: Words,
    piece: str,
    kind: str,
    codes: Sequence[str],
    values: Sequence[str],
    complaints: Sequence[str],
    spared: frozenset[str],
) -> tuple[Heard, ...]:
    """Account for a piece that complains, and for what it says beside: "not draining with a clear filter"."""
    told = [Heard(piece, CODE, tuple(codes))] if codes else []
    both = list(values) if is_earth_reading(piece) else [one for one in values if _is_said_too(one, complaints)]
    if both:
        return (Heard(piece, COMPLAINT, tuple(complaints)), *told, Heard(piece, FINDING, tuple(both)))
    left = beside_complaints(words, piece, kind, spared)
    seen = _found(words, [one.text for one in left], kind)
    if spared and not any(seen):
        left = beside_complaints(words, piece, kind)
        seen = _found(words, [one.text for one in left], kind)
    for rest, taken in zip(left, seen, strict=True):
        found = [one for one in taken if not only_smelt(piece, one)]
        if found:
            told.append(Heard(rest.text, FINDING, tuple(found)))
            complaints = [one for one in complaints if one not in spared] or complaints
        elif rest.tells and not any(code.lower() in rest.text.lower() for code in codes):
            told.append(Heard(rest.text, NOTHING))
    return (Heard(piece, COMPLAINT, tuple(complaints)), *told)


def _found(words: Words, pieces: Sequence[str], kind: str) -> list[list[str]]:
    """Findings that each piece gives, as "finding=value"."""
    import pandas as pd

    if not pieces:
        return []
    seen = words.find_findings(pd.Series(pieces, dtype="str"), pd.Series([kind] * len(pieces), dtype="str"))
    found: list[list[str]] = [[] for _ in pieces]
    rules = words.finding_rules
    for piece, name, value in zip(seen["row"], seen["finding"], seen["value"], strict=True):
        is_listed = rules.is_listed(name, value, kind)
        is_burnt = name in words.part_names and burnt({name: value})
        if (is_listed or is_burnt) and not only_smelt(pieces[piece], f"{name}={value}"):
            found[piece].append(f"{name}={value}")
    return found


def _affirmed(words: Words, pieces: Sequence[str], kind: str) -> dict[str, tuple[str, ...]]:
    """Give the complaints that pieces deny by saying that it does: "it does drain", "füllt noch"."""
    import pandas as pd

    may = [piece for piece in pieces if _AFFIRMS.search(piece)]
    if not may:
        return {}
    denied = [*(f"not {piece}" for piece in may), *(f"{piece} nicht" for piece in may)]
    read = words.find_symptoms(pd.Series([*may, *denied], dtype="str"), pd.Series([kind] * 3 * len(may), dtype="str"))
    said: dict[int, set[str]] = {}
    for row, symptom, is_negated in zip(read["row"], read["symptom"], read["is_negated"], strict=True):
        if not is_negated or row < len(may):
            said.setdefault(int(row), set()).add(str(symptom))
    return {
        piece: tuple(sorted({*said.get(at + len(may), ()), *said.get(at + 2 * len(may), ())}))
        for at, piece in enumerate(may)
        if at not in said
    }
