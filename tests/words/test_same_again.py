"""Complaints that only say the earlier fault is back, in whatever words, and complaints that say more."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.words import Words

BACK = (
    "same again", "as before", "still the same", "same fault", "has gone again", "not fixed", "problem is back",
    "Fault has come back after 3 days", "still not working", "playing up again", "same problem as last time", "recall",
    "no better", "you came last week, same fault", "it's doing it again", "made no difference", "ditto",
    "wieder das gleiche", "immer noch defekt", "gleicher Fehler", "Fehler ist wieder da", "nicht behoben",
    "geht schon wieder nicht", "Reklamation", "wie vorher",
)  # fmt: skip
MORE = (
    "won't drain", "same noise as before", "still leaking", "leaking again", "door not fixed on", "same day visit please",
    "stopped", "power came back on", "water comes back", "annual service", "no heat again", "gleiche Maschine undicht", "",
)  # fmt: skip


@pytest.mark.parametrize(("texts", "expected"), [(BACK, True), (MORE, False)])
def test_only_what_says_nothing_else_says_that_it_is_back(texts: tuple[str, ...], expected: bool) -> None:
    said = Words.load(("en", "de")).says_again(pd.Series(texts, dtype="str"))
    assert [text for text, is_back in zip(texts, said, strict=True) if is_back != expected] == []


@pytest.mark.parametrize("piece", ["same again ", "fault is back, ", "still ", "a", "not fixed "])
def test_a_long_story_says_more(piece: str) -> None:
    words = Words.load(("en", "de"))
    assert not words.says_again(pd.Series([piece * (120_000 // len(piece))], dtype="str")).any()
