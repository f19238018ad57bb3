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


def visits(**columns: list[str | None]) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(values, dtype="str") for name, values in columns.items()})


def test_a_visit_keeps_its_key_when_its_words_are_corrected() -> None:
    key = identity.visit_key(
        visits(
            visit_date=["2024-03-05"] * 2,
            job_no=["J 17", "j17"],
            serial=[None, "BR100451"],
            kind=["w/m", "w/m"],
            model=["A", "B"],
        )
    )
    assert key[0] == key[1] == "job:j17|2024-03-05"


def test_one_job_on_one_day_with_two_units_is_two_visits() -> None:
    key = identity.visit_key(
        visits(visit_date=["2024-03-05"] * 4, job_no=["J17"] * 3 + ["J18"], serial=["A1", "A2", "A 2", "A3"])
    )
    assert key.nunique() == 3
    assert key[1] == key[2]
    by_kind = identity.visit_key(visits(visit_date=["2024-03-05"] * 2, job_no=["J17"] * 2, kind=["oven", "hob"]))
    assert by_kind.nunique() == 2


def test_without_a_job_number_the_unit_and_the_day_name_the_visit() -> None:
    key = identity.visit_key(
        visits(
            visit_date=["2024-03-05"] * 4 + ["2024-03-06"],
            job_no=["n/a", None, None, None, None],
            serial=["BR-1OO", "br100", "0000", None, "BR100"],
            customer_ref=["c1", "c2", "c1", None, "c1"],
            kind=["oven"] * 5,
        )
    )
    assert key.tolist()[:3] == ["serial:br100|2024-03-05"] * 2 + ["unit:c1:oven//|2024-03-05"]
    assert key.isna().tolist() == [False, False, False, True, False]
    assert key[4] == "serial:br100|2024-03-06"


def test_dates_may_be_days_or_text() -> None:
    text = visits(visit_date=["2024-03-05"], job_no=["7"])
    days = text.assign(visit_date=pd.to_datetime(text.visit_date))
    assert identity.visit_key(text).tolist() == identity.visit_key(days).tolist()


COLUMN = st.lists(st.one_of(st.none(), st.text(max_size=12)), min_size=3, max_size=3)


@given(COLUMN, COLUMN, COLUMN)
def test_any_text_keeps_its_row(job_no: list[str | None], text: list[str | None], customer: list[str | None]) -> None:
    frame = visits(visit_date=text, job_no=job_no, serial=text, customer_ref=customer, kind=text, make=text, model=text)
    frame.index = pd.Index(["a", "b", "b"])
    assert identity.visit_key(frame).index.equals(frame.index)
    for read in (identity.serial, identity.make, identity.model, identity.model_family):
        assert read(frame.serial).index.equals(frame.index)


@given(COLUMN)
def test_normalising_twice_changes_nothing(written: list[str | None]) -> None:
    once = identity.serial(pd.Series(written, dtype="str"))
    assert identity.serial(once).equals(once)


@given(
    st.lists(
        st.tuples(st.sampled_from("ABC"), st.sampled_from(["1", "2"]), st.sampled_from(["x", "y"])),
        min_size=1,
        max_size=8,
    ),
    st.randoms(),
)
def test_the_order_of_lines_does_not_matter(rows: list[tuple[str, str, str]], random: object) -> None:
    jobs, serials, kinds = zip(*rows, strict=True)
    frame = visits(visit_date=["2024-03-05"] * len(rows), job_no=list(jobs), serial=list(serials), kind=list(kinds))
    at = list(range(len(rows)))
    random.shuffle(at)  # type: ignore[attr-defined]
    shuffled = identity.visit_key(frame.iloc[at].reset_index(drop=True)).tolist()
    assert shuffled == identity.visit_key(frame).iloc[at].tolist()
