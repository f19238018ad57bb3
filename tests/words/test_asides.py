"""What a complaint says beside the fault is no complaint; a finding is one finding in every way of writing it."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.words import Words
from tests.worlds import written_findings

HEARD = [
    ("not that it doesn't drain, it just won't spin", ["does not spin"]),
    ("used to leak, now wont start", ["dead"]),
    ("bearings replaced, now not draining", ["does not drain"]),
    ("drain pump replaced last week, still not draining", ["does not drain"]),
    ("leaks since door seal replaced", ["leaks"]),
    ("not draining after pump was replaced", ["does not drain"]),
    ("not spinning, does drain", ["does not spin"]),
    ("not draining, spin", ["does not drain", "does not spin"]),
    ("won't drain, will not spin", ["does not drain", "does not spin"]),
    ("noisy. Motor replaced 2 yrs ago by someone else. Now won't spin", ["noisy", "does not spin"]),
    ("früher undicht, jetzt heizt nicht", ["does not heat"]),
    ("Pumpe erneuert, pumpt nicht ab", ["does not drain"]),
]


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en", "de"))


@pytest.mark.parametrize(("text", "said"), HEARD)
def test_only_what_is_complained_of_is_heard(words: Words, text: str, said: list[str]) -> None:
    found = words.find_symptoms(pd.Series([text], dtype="str"), pd.Series(["washing machine"], dtype="str"))
    assert found.loc[~found["is_negated"], "symptom"].tolist() == said


def test_120_ways_to_write_20_findings(words: Words) -> None:
    texts = written_findings.written()
    assert len(texts) == 120
    column = pd.Series([text for _kind, text, _f, _v in texts], dtype="str")
    found = words.find_findings(column, pd.Series([kind for kind, *_rest in texts], dtype="str"))
    read = {row: [] for row in range(len(texts))}
    for row, finding, value in zip(found["row"], found["finding"], found["value"], strict=True):
        read[row].append((finding, value))
    wrong = [(text, read[row]) for row, (_kind, text, f, v) in enumerate(texts) if read[row] != [(f, v)]]
    assert wrong == []


@pytest.mark.parametrize(
    "text", ["no water left", "water left: none", "Water left - NO", "standing water: no", "water left nil"]
)
def test_no_is_never_turned_into_yes(words: Words, text: str) -> None:
    found = words.find_findings(pd.Series([text], dtype="str"), pd.Series(["washing machine"], dtype="str"))
    assert found[["finding", "value"]].to_numpy().tolist() == [["water left", "no"]]
