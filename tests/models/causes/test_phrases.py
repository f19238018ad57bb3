"""Phrases that point to a cause are found; where nothing points anywhere, next to nothing is found."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.causes.phrases import find_phrases, runs_of

FILLER = ("not draining", "leaks", "noisy")
SAYINGS = tuple(f"{verb} {like} {noun}" for verb in ("clonks", "hoots", "judders") for like in ("like a", "near the") for noun in ("spanner", "owl", "tram"))  # fmt: skip


def jobs(seed: int, number: int, telling: float) -> pd.DataFrame:
    """Jobs whose complaint says one thing understood and one of 18 sayings; the first is the dampers' with that chance."""
    rng = np.random.default_rng(seed)
    causes = np.array(["dampers worn", "belt broken", "drum bearings worn", "motor burnt"])
    rows = []
    for _ in range(number):
        saying, said = rng.integers(len(SAYINGS)), rng.integers(len(FILLER))
        cause = causes[0] if saying == 0 and rng.random() < telling else rng.choice(causes)
        rows.append(("washing machine", f"{FILLER[said]}, {SAYINGS[saying]}", [FILLER[said]], cause))
    return pd.DataFrame(rows, columns=["kind", "complaint", "symptoms", "cause"])


def test_runs_stay_within_a_clause() -> None:
    assert runs_of("Won't start; hums") == {"won't start", "hums"}
    assert "start hums" not in runs_of("won't start, hums loudly")


def test_a_telling_phrase_is_found_with_what_it_points_to() -> None:
    found = find_phrases(jobs(1, 700, 0.9)).iloc[0]
    assert found["phrase"] == "clonks like a spanner"
    assert found["cause"] == "dampers worn"
    assert found["low"] <= found["count"] / found["jobs"] <= found["high"]
    assert found["expected"] < 0.45


@pytest.mark.parametrize("seed", range(3))
def test_many_phrases_that_tell_nothing_give_next_to_no_finds(seed: int) -> None:
    assert len(find_phrases(jobs(seed, 700, 0.25))) <= 1


def test_no_jobs_no_phrases() -> None:
    assert find_phrases(jobs(1, 0, 0.5)).empty


def test_a_run_of_words_that_name_nothing_is_no_phrase_but_a_whole_clause_is():
    filler = {"in", "the", "will", "not", "go"}
    assert runs_of("ice in the back, will not go", filler) == {
        "ice in the back", "ice in", "ice in the", "in the back", "the back", "will not go",
    }  # fmt: skip
