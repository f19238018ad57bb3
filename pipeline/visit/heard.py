"""What became of every word of a call's complaint: understood as what, known but saying nothing here, or not known."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.words.readings import is_earth_reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.words import Words

_CLAUSES = re.compile(
    r"(?:[;!\n]|(?<!\d),|,(?!\d))+|\.(?!\d)|\s[-\N{EN DASH}]\s|\s(?:but|and|aber|und)\s", re.IGNORECASE
)
_AFFIRMS = re.compile(
    r"\b(?:does|do|will|still|always|fine|ok|okay|normal|einwandfrei|gut)\b|^(?:it|er|sie|es)\s\w+$", re.IGNORECASE
)
COMPLAINT, DENIED, FINDING, TOLD, CODE, FILLER, NOTHING = (
    "complaint", "denied", "finding", "told", "code", "says nothing", "not understood"
)  # fmt: skip


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
    """Cut a complaint into the pieces that are accounted for one by one."""
    return [piece.strip() for piece in _CLAUSES.split(complaint) if piece and piece.strip()]


def heard(
    words: Words,
    pieces: Sequence[str],
    kind: str,
    said: Sequence[Sequence[tuple[str, bool]]],
    codes: Sequence[Sequence[str]],
    symptoms: Sequence[str],
) -> tuple[Heard, ...]:
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
    tuple of Heard
        One a piece; a finding is only taken from a piece that complains of nothing, or that gives a reading to earth.
    """
    if not pieces:
        return ()
    affirmed, found = _affirmed(words, pieces, kind), _found(words, pieces, kind)
    said = [[(s, is_negated) for s, is_negated in here if is_negated or s in symptoms] for here in said]
    known = {symptom for here in said for symptom, _ in here}
    left = [symptom for symptom in symptoms if symptom not in known]
    told: list[Heard] = []
    for piece, here, shown, values in zip(pieces, said, codes, found, strict=True):
        present = tuple(symptom for symptom, is_negated in here if not is_negated)
        if present:
            told.append(Heard(piece, COMPLAINT, present))
            if values and is_earth_reading(piece):
                told.append(Heard(piece, FINDING, tuple(values)))
        elif shown:
            told.append(Heard(piece, CODE, tuple(shown)))
        elif here:
            told.append(Heard(piece, DENIED, tuple(symptom for symptom, _ in here)))
        elif values:
            told.append(Heard(piece, FINDING, tuple(values)))
        elif not words.tells_something(piece):
            told.append(Heard(piece, FILLER))
        elif affirmed.get(piece):
            told.append(Heard(piece, DENIED, affirmed[piece]))
        elif left:
            told.append(Heard(piece, COMPLAINT, (left.pop(0),)))
        else:
            told.append(Heard(piece, NOTHING))
    return tuple(told)


def _found(words: Words, pieces: Sequence[str], kind: str) -> list[list[str]]:
    """Findings that each piece gives, as "finding=value"."""
    import pandas as pd

    seen = words.find_findings(pd.Series(pieces, dtype="str"), pd.Series([kind] * len(pieces), dtype="str"))
    found: list[list[str]] = [[] for _ in pieces]
    rules = words.finding_rules
    for piece, name, value in zip(seen["row"], seen["finding"], seen["value"], strict=True):
        if value in rules.values.get(name, ()) and rules.holds_for(name, kind):
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
