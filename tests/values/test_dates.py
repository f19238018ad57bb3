from __future__ import annotations

import datetime

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LayoutError
from pipeline.values import dates

ANY_TEXT = st.lists(st.one_of(st.none(), st.text(max_size=30)), max_size=12)
DAYS = st.dates(datetime.date(1970, 1, 1), datetime.date(2068, 12, 31))


def days(*written: str | None, order: str | None = None) -> list[str | None]:
    value = dates.parse(pd.Series(written, dtype="str"), order).value
    return [None if pd.isna(day) else day.strftime("%Y-%m-%d") for day in value]


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("2024-03-05", "2024-03-05"),
        ("2024/3/5", "2024-03-05"),
        ("2024.03.05", "2024-03-05"),
        ("20240305", "2024-03-05"),
        ("2024-03-05T23:59:59.999Z", "2024-03-05"),
        ("2024-03-05 10:22:33+01:00", "2024-03-05"),
        ("2024-W10-2", "2024-03-05"),
        ("25/12/2024", "2024-12-25"),
        ("12/25/2024", "2024-12-25"),
        ("25.12.24", "2024-12-25"),
        ("25-12-2024 08:05 AM", "2024-12-25"),
        ("5 March 2024", "2024-03-05"),
        ("5th of Mar. 2024", "2024-03-05"),
        ("March 5th, 2024", "2024-03-05"),
        ("05-MAR-24", "2024-03-05"),
        ("Tue 5 Mar 2024", "2024-03-05"),
        ("2024 Mar 5", "2024-03-05"),
        ("5. März 2024", "2024-03-05"),
        ("Dienstag, 5. März 2024", "2024-03-05"),
        ("1. Dez 2024 14:30 Uhr", "2024-12-01"),
        ("45356", "2024-03-05"),
        ("45356.75", "2024-03-05"),
        ("２０２４-０３-０５", "2024-03-05"),
        ('"2024-03-05"', "2024-03-05"),
        ("  2024-03-05\u00a0", "2024-03-05"),
    ],
)
def test_a_date_that_can_be_read_in_one_way_is_read(written: str, day: str) -> None:
    assert days(written) == [day]


@pytest.mark.parametrize("blank", [None, "", "  ", "n/a", "unknown", "-"])
def test_a_blank_is_no_date_and_no_problem(blank: str | None) -> None:
    read = dates.parse(pd.Series([blank], dtype="str"))
    assert read.value.isna().all()
    assert read.problem.isna().all()


@pytest.mark.parametrize(
    "written",
    ["31/02/2024", "30-02-2024", "2024-13-01", "12345", "99999", "soon", "2024-03", "1/2", "0000-00-00", "x" * 500],
)
def test_what_is_no_day_is_refused_with_a_remedy(written: str) -> None:
    read = dates.parse(pd.Series([written], dtype="str"))
    assert read.value.isna().all()
    assert read.problem.notna().all()
    assert read.remedy.notna().all()


def test_one_day_above_twelve_decides_the_order_of_its_column() -> None:
    assert days("03/04/2025", "25/04/2025") == ["2025-04-03", "2025-04-25"]
    assert days("03/04/2025", "04/25/2025") == ["2025-03-04", "2025-04-25"]


def test_a_column_that_shows_no_order_is_refused_and_says_both_readings() -> None:
    read = dates.parse(pd.Series(["03/04/25", "2025-04-01", "05/05/2025"]))
    assert read.value.isna().tolist() == [True, False, False]
    assert read.problem[0] == "may be 3 April 2025 or 4 March 2025"
    assert "date_format" in read.remedy[0]


def test_a_column_that_shows_both_orders_refuses_only_what_stays_ambiguous() -> None:
    assert days("25/04/2025", "04/25/2025", "03/04/2025") == ["2025-04-25", "2025-04-25", None]


def test_strays_below_one_percent_are_refused_instead_of_making_a_column_ambiguous() -> None:
    column = ["25/04/2025"] * 150 + ["03/04/2025", "04/25/2025"]
    assert days(*column)[-2:] == ["2025-04-03", None]


def test_a_stated_order_is_followed_and_what_contradicts_it_refused() -> None:
    assert days("03/04/2025", "25/04/2025", order="mdy") == ["2025-03-04", None]
    assert days("03/04/25", order="%d/%m/%Y") == ["2025-04-03"]
    assert days("03/04/25", order="year first") == ["2003-04-25"]
    assert days("3 Apr 2025 kept", "2025-04-03", order="%d %b %Y kept") == ["2025-04-03", "2025-04-03"]


def test_two_digit_years_that_may_stand_first_are_not_taken_for_days() -> None:
    # 24/03/15 ... 25/01/30: the last number varies as days do, the first as years do
    assert days("24/03/15", "24/07/02", "25/01/30", "25/01/28") == [None] * 4
    assert days("24/03/15", "24/07/02", "99/01/30", order="ymd") == ["2024-03-15", "2024-07-02", "1999-01-30"]
    assert days("24-03-15") == [None]
    # ... but many days and few years are day first
    assert days("24/03/15", "13/07/15", "25/01/15", "02/01/15")[3] == "2015-01-02"


@pytest.mark.parametrize("order", ["", "ddmmyy", "%d/%m", "%H:%M", "%", "%Q", "day", "%d/%d/%Y"])
def test_an_order_that_says_nothing_is_refused(order: str) -> None:
    with pytest.raises(LayoutError):
        dates.parse(pd.Series(["2024-03-05"]), order)


def test_the_decided_order_can_be_asked_for() -> None:
    assert dates.decide_order(pd.Series(["25/04/2025", "n/a", None])) == "dmy"
    assert dates.decide_order(pd.Series(["04/25/2025"])) == "mdy"
    assert dates.decide_order(pd.Series(["03/04/2025", "2024-01-31"])) is None


def test_columns_of_another_type_are_read_as_they_print() -> None:
    assert dates.parse(pd.Series(pd.to_datetime(["2024-03-05", None]))).value.dt.day.tolist()[0] == 5
    assert dates.parse(pd.Series([45356.0, 45357.0])).value.dt.day.tolist() == [5, 6]
    assert dates.parse(pd.Series([datetime.date(2024, 3, 5), None, "2024-03-06"])).value.notna().tolist() == [
        True,
        False,
        True,
    ]


@given(ANY_TEXT)
def test_any_text_keeps_its_row_and_is_read_blank_or_refused(written: list[str | None]) -> None:
    index = pd.Index([f"line {n}" for n in range(len(written))], dtype="str")
    read = dates.parse(pd.Series(written, index=index, dtype="str"))
    assert read.index.equals(index)
    assert not (read.value.notna() & read.problem.notna()).any()
    assert read.remedy.notna().equals(read.problem.notna())


@given(st.lists(DAYS, min_size=1, max_size=20), st.sampled_from(["%d/%m/%Y", "%m/%d/%Y", "%d.%m.%y", "%m-%d-%y"]))
def test_what_is_printed_in_a_stated_order_reads_back(printed: list[datetime.date], layout_format: str) -> None:
    written = pd.Series([day.strftime(layout_format) for day in printed], dtype="str")
    assert dates.parse(written, layout_format).value.dt.date.tolist() == printed


@given(st.lists(DAYS, min_size=1, max_size=20), st.sampled_from(["%Y-%m-%d", "%Y%m%d", "%d %B %Y", "%b %d, %Y"]))
def test_what_is_printed_without_doubt_reads_back_undirected(printed: list[datetime.date], layout_format: str) -> None:
    written = pd.Series([day.strftime(layout_format) for day in printed], dtype="str")
    assert dates.parse(written).value.dt.date.tolist() == printed


@given(st.lists(DAYS, min_size=1, max_size=20), st.sampled_from(["%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y"]))
def test_undirected_a_date_is_right_or_refused_where_the_column_has_one_order(
    printed: list[datetime.date], layout_format: str
) -> None:
    written = pd.Series([day.strftime(layout_format) for day in printed], dtype="str")
    read = dates.parse(written).value
    assert all(pd.isna(got) or got.date() == day for day, got in zip(printed, read, strict=True))


@given(st.lists(DAYS, min_size=1, max_size=20), st.randoms(use_true_random=False))
@settings(max_examples=50)
def test_the_order_of_lines_does_not_matter(printed: list[datetime.date], random: object) -> None:
    written = [day.strftime("%d/%m/%Y") for day in printed]
    at = list(range(len(written)))
    random.shuffle(at)  # type: ignore[attr-defined]
    shuffled = dates.parse(pd.Series([written[n] for n in at])).problem.tolist()
    straight = dates.parse(pd.Series(written)).problem.tolist()
    assert pd.Series(shuffled).equals(pd.Series([straight[n] for n in at]))
