"""What the clauses of a running note speak of: what was complained of, what was found, what was done.

The words that tell it stand in each language's ``cues.toml`` under ``note``. A clause without any goes on with what
the one before it spoke of; after a complaint, one that names a cause or a finding and complains of nothing was found.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.words.bulk import LONGEST_TEXT

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pipeline.words import Words

COMPLAINT, FINDING, WORK = "complaint", "finding", "work"
_BREAK = "\x1e"
_MARKS = re.compile(r"(?<=[.;!?\n])(?<!\d\.(?=\d))\s*|(?<=,)(?!\d)\s*|\s+[-\N{EN DASH}\N{EM DASH}>/|]+\s+")
_EDGES = " \t\r\n,;.-\N{EN DASH}\N{EM DASH}>/|"


def tell_apart(words: Words, notes: pd.Series[str], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
    """Sort the clauses of running notes.

    Parameters
    ----------
    words
        Lists in force; a language whose cues name none for notes leaves the whole note a complaint.
    notes
        Texts, none missing.
    kinds
        Kinds of appliance beside them, as terms; they decide what is a cause.

    Returns
    -------
    DataFrame
        As ``notes``: complaint, finding, cause (the clauses found that name a cause the lists know), work; missing =
        no clause speaks of it.
    """
    import pandas as pd

    cues = _cues(words)
    pieces_of = [_pieces(note[:LONGEST_TEXT], cues) for note in notes]
    pieces = pd.Series([piece for pieces in pieces_of for piece in pieces], dtype="str")
    note_of = np.repeat(np.arange(len(pieces_of)), [len(pieces) for pieces in pieces_of])
    complains, finds, causes = _says(words, pieces, None if kinds is None else kinds.iloc[note_of])
    of = pd.Series(_speak_of(pieces, note_of, cues, complains, finds, causes), dtype="str")
    columns = {name: (of == name).to_numpy() for name in (COMPLAINT, FINDING, WORK)}
    only_looked = [cues.looked.search(piece) is not None and not words.states_in(piece) for piece in pieces]
    columns["cause"] = columns[FINDING] & causes & ~np.array(only_looked, dtype=bool)
    joined = {name: _joined(pieces[held], note_of[held], len(notes)) for name, held in columns.items()}
    return pd.DataFrame(joined, index=notes.index)[[COMPLAINT, FINDING, "cause", WORK]]


class _Cues:
    """Patterns of the words that tell what a clause speaks of, of all languages in force."""

    def __init__(self, words: dict[str, tuple[str, ...]]) -> None:
        def one_of(*names: str) -> re.Pattern[str]:
            forms = "|".join(form for name in names for form in words[name]) or "(?!)"
            return re.compile(rf"(?<![^\W_])(?:{forms})(?![^\W_])", re.IGNORECASE)

        self.past, self.again = one_of("past"), one_of("again")
        self.looked = one_of("looked")
        self._by_what = {COMPLAINT: one_of("told"), FINDING: one_of("found", "looked", "wants"), WORK: one_of("done")}
        begins = "|".join((*words["found"], *words["looked"], *words["done"])) or "(?!)"
        self.joint = re.compile(rf"\s+(?:{'|'.join(words['joins']) or '(?!)'})\s+(?=(?:{begins})(?![^\W_]))", re.I)
        self.starts = re.compile(rf"\s+(?=(?:{'|'.join(words['starts']) or '(?!)'})(?![^\W_]))", re.IGNORECASE)

    def of(self, piece: str) -> str | None:
        """Tell what the first cue of a piece says it speaks of."""
        first = {what: found.start() for what, cue in self._by_what.items() if (found := cue.search(piece))}
        return min(first, key=lambda what: first[what]) if first else None


def _cues(words: Words) -> _Cues:
    names = ("told", "found", "looked", "wants", "done", "past", "again", "joins", "starts")
    every = [cues.get("note", {}) for cues in words.lists.cues.values()]
    return _made(tuple((name, tuple(form for cues in every for form in cues.get(name, ()))) for name in names))


@lru_cache(maxsize=8)
def _made(words: tuple[tuple[str, tuple[str, ...]], ...]) -> _Cues:
    return _Cues(dict(words))


def _pieces(note: str, cues: _Cues) -> list[str]:
    marked = _MARKS.sub(_BREAK, note)
    marked = cues.starts.sub(_BREAK, cues.joint.sub(_BREAK, marked))
    return [piece for piece in (one.strip() for one in marked.split(_BREAK)) if piece.strip(_EDGES)]


def _speak_of(
    pieces: pd.Series[str],
    note_of: np.ndarray,
    cues: _Cues,
    complains: np.ndarray,
    finds: np.ndarray,
    causes: np.ndarray,
) -> list[str]:
    told: list[str] = []
    note, so_far = -1, None
    has_complained = False
    for at, piece in enumerate(pieces):
        if note_of[at] != note:
            note, so_far, has_complained = note_of[at], None, False
        cued = cues.of(piece)
        if cues.past.search(piece):
            so_far = so_far or COMPLAINT
        elif cued is not None:
            so_far = cued
        elif so_far is None or (complains[at] and not has_complained and cues.again.match(piece)):
            so_far = COMPLAINT
        elif so_far == COMPLAINT and (causes[at] or (finds[at] and not complains[at])):
            so_far = FINDING
        has_complained |= so_far == COMPLAINT
        told.append(so_far)
    return told


def _says(
    words: Words, pieces: pd.Series[str], kinds: pd.Series[Any] | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tell of each piece whether it complains, names something found, and names a cause."""
    beside = pieces.where(pieces.isna()) if kinds is None else kinds.reset_index(drop=True)
    complains, finds, causes = (np.zeros(len(pieces), dtype=bool) for _ in range(3))
    complains[words.find_symptoms(pieces, beside)["row"]] = True
    causes[words.find_causes(pieces, beside)["row"]] = True
    finds[words.find_findings(pieces, beside)["row"]] = True
    return complains, finds | causes, causes


def _joined(pieces: pd.Series[str], note_of: np.ndarray, notes: int) -> list[str | None]:
    joined: list[str | None] = [None] * notes
    for note, piece in zip(note_of.tolist(), pieces, strict=True):
        held = joined[note]
        joined[note] = piece if held is None else f"{held} {piece}"
    return [text if text is None else text.strip(_EDGES) or None for text in joined]


def share_of_running(words: Words, notes: Sequence[str] | pd.Series[str]) -> float:
    """Give the share of texts that complain of something and say in other clauses what was found or done."""
    import pandas as pd

    texts = pd.Series(notes, dtype="str")
    if not len(texts):
        return 0.0
    told = tell_apart(words, texts)
    complaints = told[COMPLAINT].fillna("")
    complains = np.zeros(len(texts), dtype=bool)
    complains[words.find_symptoms(complaints, complaints.where(complaints.isna()))["row"]] = True
    return float((complains & told[[FINDING, WORK]].notna().any(axis=1).to_numpy()).mean())
