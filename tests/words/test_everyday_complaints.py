"""Complaints as people make them, kind by kind, against what they mean.

``everyday_complaints.csv`` was written before the word lists were read and then used to extend them, and so were the 52
of ``everyday_complaints_held_out.csv``; the 60 of ``everyday_complaints_held_out_2.csv`` were used for nothing. A meaning
is any of the terms split by /, and all of the groups split by |.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest

from pipeline.words import Words

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en", "de"))


def share_understood(words: Words, file: str) -> float:
    """Share of complaints of which everything meant is understood."""
    with (HERE / file).open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    kinds = words.match("kind", pd.Series([row["kind"] for row in rows], dtype="str"))
    assert kinds["is_understood"].all()
    found = words.find_symptoms(pd.Series([row["complaint"] for row in rows], dtype="str"), kinds["term"])
    said: dict[int, set[str]] = {}
    for row, symptom, is_negated in found[["row", "symptom", "is_negated"]].itertuples(index=False):
        if not is_negated:
            said.setdefault(row, set()).add(symptom)
    understood = [
        all(said.get(at, set()) & set(group.split("/")) for group in row["meaning"].split("|"))
        for at, row in enumerate(rows)
    ]
    return sum(understood) / len(rows)


def test_everyday_complaints_of_each_kind_are_understood(words: Words) -> None:
    assert share_understood(words, "everyday_complaints.csv") >= 0.9
    assert share_understood(words, "everyday_complaints_held_out.csv") >= 0.8


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("final spin not happening, will drain if I select drain only", "does not spin"),
        ("spin not happening", "does not spin"),
        ("won't spin", "does not spin"),
        ("no spin", "does not spin"),
        ("the last spin never happens", "does not spin"),
        ("spinning has stopped", "does not spin"),
        ("drain not happening", "does not drain"),
        ("nothing happens", "dead"),
    ],
)
def test_what_does_not_happen_is_named_by_its_noun(words: Words, text: str, said: str) -> None:
    found = words.find_symptoms(pd.Series([text]), pd.Series(["washing machine"]))
    assert found.loc[~found["is_negated"], "symptom"].tolist() == [said]


def test_complaints_never_used_for_the_lists_are_understood_less_often_but_more_than_before(words: Words) -> None:
    assert share_understood(words, "everyday_complaints_held_out_2.csv") > 35 / 60  # before the lists were extended


def test_every_meaning_is_a_complaint_with_causes_for_its_kind(words: Words) -> None:
    faults = words.faults()
    listed = {(k, s) for kinds, symptoms in faults[["kinds", "symptoms"]].itertuples(index=False) for k in kinds.split("|") for s in symptoms.split("|")}  # fmt: skip
    with (HERE / "everyday_complaints.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    kinds = words.match("kind", pd.Series([row["kind"] for row in rows], dtype="str"))["term"]
    bare = {
        (kind, row["meaning"])
        for kind, row in zip(kinds, rows, strict=True)
        if not any((kind, term) in listed for group in row["meaning"].split("|") for term in group.split("/"))
    }
    assert bare <= {(kind, "lamps or code shown") for kind in kinds}
