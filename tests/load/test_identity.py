from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.load import identity


def serial(written: str | None) -> str | None:
    read = identity.serial(pd.Series([written], dtype="str"))[0]
    return None if pd.isna(read) else read


@pytest.mark.parametrize(
    "written", ["BR100451", "br 100 451", "BR-1OO-45I", "Br.100/451", "S/N: BR100451", "ＢＲ１００４５１"]
)
def test_spellings_of_one_serial_are_one(written: str) -> None:
    assert serial(written) == "BR100451"


@pytest.mark.parametrize("written", ["S1", "A", "7", "SN001", "X7", "0012"])
def test_short_serials_are_serials(written: str) -> None:
    assert serial(written) == written


@pytest.mark.parametrize(
    "written",
    [None, "", " ", "n/a", "N.A.", "none", "unknown", "0", "0000", "000-000", "1111111", "xxxx", "OOOO", "1234",
     "123456789", "987654", "-", "?", "not on machine", "No Plate", "worn off", "illegible", "tbc",
     "x", "serial no", "9" * 500],
)  # fmt: skip
def test_a_placeholder_is_no_serial(written: str | None) -> None:
    assert serial(written) is None


def test_makes_take_their_most_frequent_spelling_or_the_one_known() -> None:
    written = pd.Series(["Ostrel", "OSTREL", "ostrel ", "Os-trel", "KWB", "kwb", "KWB", "n/a", None])
    assert identity.make(written).dropna().tolist() == ["Ostrel"] * 4 + ["KWB"] * 3
    assert identity.make(written).isna().tolist() == [False] * 7 + [True] * 2
    assert identity.make(written, known=["OsTrel"]).head(4).tolist() == ["OsTrel"] * 4


def test_models_take_one_spelling_but_stay_apart_where_letters_differ() -> None:
    written = pd.Series(["WA 12O4", "wa1204", "WA-1204", "WA1204", "WAO", "WA0"])
    assert identity.model(written).tolist() == ["WA1204"] * 4 + ["WAO", "WA0"]


@pytest.mark.parametrize(
    ("model", "family"),
    [("WA1204XS", "WA1204"), ("WA 1204 S", "WA1204"), ("WA-1204/2", "WA1204"), ("WA1204-02", "WA1204"),
     ("7KG20", "7KG20"), ("1204", "1204"), ("Compact", "COMPACT"), (None, None), ("n/a", None)],
)  # fmt: skip
def test_the_family_is_what_variants_share(model: str | None, family: str | None) -> None:
    read = identity.model_family(identity.model(pd.Series([model], dtype="str")))[0]
    assert (None if pd.isna(read) else read) == family


COLUMN = st.lists(st.one_of(st.none(), st.text(max_size=12)), min_size=3, max_size=3)


@given(COLUMN)
def test_any_text_keeps_its_row(text: list[str | None]) -> None:
    written = pd.Series(text, index=pd.Index(["a", "b", "b"]), dtype="str")
    for read in (identity.serial, identity.make, identity.model, identity.model_family):
        assert read(written).index.equals(written.index)


@given(COLUMN)
def test_normalising_twice_changes_nothing(written: list[str | None]) -> None:
    once = identity.serial(pd.Series(written, dtype="str"))
    assert identity.serial(once).equals(once)
