"""What became of every word of a call's complaint: understood as what, known but saying nothing here, or not known."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.words import Words

_CLAUSES = re.compile(r"[,;!\n]+|\.(?!\d)|\s[-\N{EN DASH}]\s|\s(?:but|and|aber|und)\s", re.IGNORECASE)
COMPLAINT, DENIED, FINDING, CODE, FILLER, NOTHING = (
    "complaint", "denied", "finding", "code", "says nothing", "not understood"
)  # fmt: skip


@dataclass(frozen=True)
class Heard:
    """One piece of a complaint and what it was taken for.

    Attributes
    ----------
    text
        The piece as told.
    how
        complaint, denied, finding, code, says nothing (filler), or not understood.
    terms
        What it was taken for; empty for the last two.
    """

    text: str
    how: str
    terms: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The piece, how it was taken, and for what."""
        return {"text": self.text, "how": self.how, "terms": list(self.terms)}


def heard(words: Words, complaint: str, kind: str, make: str | None, symptoms: Sequence[str]) -> tuple[Heard, ...]:
    """Account for every piece of a complaint.

    Parameters
    ----------
    words
        Lists in force.
    complaint
        The complaint as told.
    kind, make
        The appliance.
    symptoms
        Complaints that the whole text was taken for: a piece that makes sense only beside the others ("won't drain or
        spin") is told with the one it brought.

    Returns
    -------
    tuple of Heard
        One a piece, in the order told; a finding is only taken from a piece that complains of nothing.
    """
    import numpy as np
    import pandas as pd

    pieces = [piece.strip() for piece in _CLAUSES.split(complaint) if piece and piece.strip()]
    if not pieces:
        return ()
    texts, kinds = pd.Series(pieces, dtype="str"), pd.Series([kind] * len(pieces), dtype="str")
    said = words.find_symptoms(texts, kinds)
    said = said[said["is_negated"].astype(bool) | said["symptom"].isin(list(symptoms))]
    codes = words.said_codes(texts, pd.Series([make] * len(pieces), dtype="str"))
    seen = words.find_findings(texts, kinds)
    rules = words.finding_rules
    holds = [
        value in rules.values.get(name, ()) and rules.holds_for(name, kind)
        for name, value in zip(seen["finding"], seen["value"], strict=True)
    ]
    seen = seen[np.array(holds, dtype=bool)]
    left = [s for s in symptoms if s not in set(said["symptom"])]
    told: list[Heard] = []
    for row, piece in enumerate(pieces):
        here = said[said["row"] == row]
        present = here.loc[~here["is_negated"].astype(bool), "symptom"].tolist()
        shown = codes.loc[codes["row"] == row, "code"].tolist()
        found = seen[seen["row"] == row]
        if present:
            told.append(Heard(piece, COMPLAINT, tuple(present)))
        elif shown:
            told.append(Heard(piece, CODE, tuple(shown)))
        elif len(here):
            told.append(Heard(piece, DENIED, tuple(here["symptom"])))
        elif len(found):
            pairs = zip(found["finding"], found["value"], strict=True)
            told.append(Heard(piece, FINDING, tuple(f"{finding}={value}" for finding, value in pairs)))
        elif not words.tells_something(piece):
            told.append(Heard(piece, FILLER))
        elif left:
            told.append(Heard(piece, COMPLAINT, (left.pop(0),)))
        else:
            told.append(Heard(piece, NOTHING))
    return tuple(told)
