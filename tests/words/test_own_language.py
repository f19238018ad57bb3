"""A language that is not shipped: its words, denial among them, come from a list of the workshop's own."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline.errors import LayoutError, UsageError
from pipeline.words import Words
from pipeline.words.skeleton import write_skeleton

FRENCH = """
[denial]
words = ["ne", "pas"]
[[complaint]]
term = "leaks"
written = ["fuit", "fuite"]
"""


def test_an_own_list_denies_in_its_own_words(tmp_path: Path) -> None:
    (tmp_path / "fr.toml").write_text(FRENCH, encoding="utf-8")
    words = Words.load(("en",), [tmp_path / "fr.toml"])
    found = words.find_symptoms(pd.Series(["ne fuit pas", "la machine fuit"], dtype="str"))
    assert found[["row", "symptom", "is_negated"]].values.tolist() == [[0, "leaks", True], [1, "leaks", False]]


def test_denial_that_is_no_list_is_told(tmp_path: Path) -> None:
    (tmp_path / "fr.toml").write_text("denial = 3\n", encoding="utf-8")
    with pytest.raises(LayoutError, match="denial"):
        Words.load(("en",), [tmp_path / "fr.toml"])


def test_the_skeleton_is_a_list_that_can_be_read_and_is_never_written_over(tmp_path: Path) -> None:
    write_skeleton("fr", tmp_path / "fr.toml")
    Words.load(("en",), [tmp_path / "fr.toml"])
    with pytest.raises(UsageError, match="already exists"):
        write_skeleton("fr", tmp_path / "fr.toml")
