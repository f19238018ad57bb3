from __future__ import annotations

import datetime

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.values import ages

VISIT = pd.Timestamp("2024-07-01")


def age(written: str | None, visit: pd.Timestamp = VISIT) -> float | None:
    value = ages.parse(pd.Series([written], dtype="str"), pd.Series([visit])).value[0]
    return None if pd.isna(value) else round(float(value), 2)


@pytest.mark.parametrize(
    ("written", "years"),
    [
        # the forms of the trade brief, section 2
        ("3", 3), ("3yrs", 3), ("nearly 3 years", 3), ("36 months", 3), ("2y10m", 2.83), ("about 10", 10), ("new", 0),
        # others
        ("3 y/o", 3), ("3yr", 3), ("3 years old", 3), ("3.5", 3.5), ("3,5 Jahre", 3.5), ("3½ yrs", 3.5), ("3 1/2", 3.5),
        ("2 yrs 10 months", 2.83), ("2 years, 10 m", 2.83), ("18 mths", 1.5), ("6 wks", 0.11), ("10 days", 0.03),
        ("under a year", 0.5), ("less than 1 year", 0.5), ("< 1", 0.5), ("5+", 5), ("10+ years", 10), ("over 5 yrs", 5),
        ("8ish", 8), ("approx. 7", 7), ("c. 7", 7), ("ca. 7 J.", 7), ("etwa 7 Jahre", 7), ("fast 3 Jahre", 3),
        ("2-3 years", 2.5), ("5 or 6 years", 5.5), ("18-24 months", 1.75), ("a year", 1), ("two years", 2),
        ("two and a half years", 2.5), ("half a year", 0.5), ("couple of years", 2), ("a couple of years", 2),
        ("brand new", 0), ("NEU", 0), ("zwei Jahre", 2), ("AGE 7", 7), ("0", 0), ("0.5", 0.5),
    ],
)  # fmt: skip
def test_an_age_in_every_form(written: str, years: float) -> None:
    assert age(written) == years


@pytest.mark.parametrize(
    ("written", "years"),
    [
        ("2021", 3.0), ("bought 2021", 3.0), ("made in 2021", 3.0), ("'21", 3.0), ("Baujahr 2021", 3.0),
        ("2021 model", 3.0),
        ("2021-07", 2.96), ("07/2021", 2.96), ("Jul 2021", 2.96), ("July '21", 2.96), ("purchased Juli 2021", 2.96),
        ("2021-07-01", 3.0), ("1 July 2021", 3.0), ("dop 13/07/2021", 2.97), ("44378", 3.0),
    ],
)  # fmt: skip
def test_a_year_month_or_day_of_purchase_counts_to_the_visit(written: str, years: float) -> None:
    assert age(written) == pytest.approx(years, abs=0.01)


def test_a_year_of_purchase_equal_to_the_visits_counts_half_of_what_has_passed() -> None:
    assert age("2024") == pytest.approx(0.25, abs=0.01)
    assert age("2024-07", pd.Timestamp("2024-07-31")) == pytest.approx(15 / 365.25, abs=0.01)


@pytest.mark.parametrize(
    "written",
    [None, "", "?", "n/k", "unknown", "out of warranty", "OOW", "in warranty", "old", "not sure", "few years"],
)
def test_what_says_no_age_is_not_known_and_no_problem(written: str | None) -> None:
    read = ages.parse(pd.Series([written], dtype="str"), pd.Series([VISIT]))
    assert read.value.isna().all()
    assert read.problem.isna().all()


@pytest.mark.parametrize(
    "written", ["2031", "2025-01-01", "75", "1200", "-1", "blue", "3 lamps", "31/02/2021", "9" * 60]
)
def test_what_cannot_be_an_age_is_refused(written: str) -> None:
    read = ages.parse(pd.Series([written], dtype="str"), pd.Series([VISIT]))
    assert read.value.isna().all()
    assert read.problem.notna().all()


def test_purchase_dates_are_decided_over_the_column() -> None:
    visits = pd.Series([VISIT] * 2)
    assert ages.parse(pd.Series(["04/07/2021", "13/07/2021"]), visits).value.notna().all()
    alone = ages.parse(pd.Series(["04/07/2021"]), pd.Series([VISIT]))
    assert alone.value.isna().all()
    assert alone.problem[0] == "may be 4 July 2021 or 7 April 2021"


def test_without_a_day_of_the_visit_an_age_in_years_is_still_read() -> None:
    read = ages.parse(pd.Series(["3", "2021", "new"]), pd.Series([pd.NaT, pd.NaT, VISIT]))
    assert read.value.isna().tolist() == [False, True, False]
    assert read.problem.isna().all()


@given(
    st.lists(st.one_of(st.none(), st.text(max_size=20), st.text("0123456789.,yrm '½-/+<", max_size=10)), max_size=12)
)
def test_any_text_keeps_its_row_and_is_read_blank_or_refused(written: list[str | None]) -> None:
    index = pd.Index([f"line {n}" for n in range(len(written))], dtype="str")
    read = ages.parse(pd.Series(written, index=index, dtype="str"), pd.Series([VISIT] * len(written), index=index))
    assert read.index.equals(index)
    assert not (read.value.notna() & read.problem.notna()).any()
    assert read.value.dropna().between(0, ages.OLDEST).all()


@given(
    st.lists(st.integers(0, 720), min_size=1, max_size=20),
    st.sampled_from(["{y}y{m}m", "{y} yrs {m} months", "{t} months"]),
)
def test_what_is_printed_reads_back(months: list[int], layout: str) -> None:
    written = pd.Series([layout.format(y=n // 12, m=n % 12, t=n) for n in months])
    read = ages.parse(written, pd.Series([VISIT] * len(months))).value
    assert read.mul(12).round(6).tolist() == months


@given(st.lists(st.dates(datetime.date(1990, 1, 1), datetime.date(2024, 6, 30)), min_size=1, max_size=20))
def test_a_day_of_purchase_reads_back(bought: list[datetime.date]) -> None:
    written = pd.Series([day.isoformat() for day in bought])
    read = ages.parse(written, pd.Series([VISIT] * len(bought))).value
    assert read.mul(ages.DAYS_A_YEAR).round().astype(int).tolist() == [(VISIT.date() - day).days for day in bought]
