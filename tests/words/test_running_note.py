"""Running notes without labels: which clause is the complaint, what was found, what was done."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.words import Words
from pipeline.words.running_note import share_of_running, tell_apart

NOTES = (
    # kind, note, complaint, finding, cause, work
    ("washing machine", "Won't drain. Found filter blocked with coins. Cleared filter, tested ok",
     "Won't drain", "Found filter blocked with coins. tested ok", "Found filter blocked with coins", "Cleared filter"),
    ("washing machine", "not draining found filter blocked, cleared",
     "not draining", "found filter blocked", "found filter blocked", "cleared"),
    ("tumble dryer", "Customer says drum not turning - checked belt, belt snapped. Replaced belt and tested.",
     "Customer says drum not turning", "checked belt, belt snapped. tested", "belt snapped", "Replaced belt"),
    ("washing machine", "Maschine pumpt nicht ab, Flusensieb verstopft, gereinigt",
     "Maschine pumpt nicht ab", "Flusensieb verstopft", "Flusensieb verstopft", "gereinigt"),
    ("washing machine", "Bearings replaced last year, now very noisy on spin. Drum bearings worn, quoted £180.50",
     "Bearings replaced last year, now very noisy on spin", "Drum bearings worn", "Drum bearings worn", "quoted £180.50"),
    ("washing machine", "checked the filter, still not draining",
     "still not draining", "checked the filter", None, None),
    ("fridge", "Kühlt nicht mehr, Verdichter läuft nicht, Anlaufrelais defekt, Relais getauscht",
     "Kühlt nicht mehr, Verdichter läuft nicht", "Anlaufrelais defekt", "Anlaufrelais defekt", "Relais getauscht"),
    ("oven", "not hot enough", "not hot enough", None, None, None),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "note", "complaint", "finding", "cause", "work"), NOTES)
def test_each_clause_goes_where_it_speaks_of(
    kind: str, note: str, complaint: str, finding: str | None, cause: str | None, work: str | None
) -> None:
    told = tell_apart(Words.load(("en", "de")), pd.Series([note]), pd.Series([kind])).iloc[0]
    assert [text if isinstance(text, str) else None for text in told] == [complaint, finding, cause, work]


def test_plain_complaints_are_no_running_notes() -> None:
    words = Words.load(("en", "de"))
    assert share_of_running(words, ["will not drain the water away", "leaks on the floor since monday"]) == 0
    assert share_of_running(words, [note for _, note, *_ in NOTES]) > 0.5
