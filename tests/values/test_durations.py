from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import LayoutError
from pipeline.values import durations


def minutes(*written: str | None, unit: str | None = None) -> list[float | None]:
    value = durations.parse(pd.Series(written, dtype="str"), unit).value
    return [None if pd.isna(number) else number for number in value]


@pytest.mark.parametrize(
    "written",
    [
        *("1h15", "1h15m", "1 h 15 min", "1 hr 15", "1hr, 15 mins", "1 hour and 15 minutes", "1 Std 15", "~1h15"),
        *("75 min", "75mins.", "75m", "75'", "75 Minuten", "about 75 min", "PT75M", "PT1H15M"),
        *("1:15", "01:15", "1:15:00", "0 days 01:15:00", "1.25 hrs", "1,25 Std", "1 1/4 hours", "1¼ h"),
    ],
)
def test_75_minutes_in_every_form(written: str) -> None:
    assert minutes(written) == [75.0]


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("0:45", 45.0),
        ("half an hour", 30.0),
        ("an hour", 60.0),
        ("2h", 120.0),
        ("1½ hours", 90.0),
        ("0", 0.0),
        ("½ hr", 30.0),
    ],
)
def test_a_duration_is_read(written: str, value: float) -> None:
    assert minutes(written) == [value]


@pytest.mark.parametrize(
    "written", ["soon", "-5", "30h", "1h 15 20 30", "5 o'clock", "9" * 50, "12:75", "PT", "1:2:3:4"]
)
def test_what_is_no_duration_is_refused(written: str) -> None:
    read = durations.parse(pd.Series([written, "90"], dtype="str"))
    assert read.value.isna().tolist() == [True, False]
    assert read.problem.notna().tolist() == [True, False]


def test_bare_numbers_are_decided_over_the_column() -> None:
    assert minutes("75", "1.25") == [75.0, 1.25]
    assert minutes("1.25", "0.5", "2") == [75.0, 30.0, 120.0]
    assert minutes("5", "15") == [5.0, 15.0]
    assert minutes("5", "1h15", "0") == [None, 75.0, 0.0]
    assert minutes("12.5", "20") == [None, None]
    assert durations.parse(pd.Series(["5"])).problem[0] == "may be 5 minutes or 5 hours"


def test_a_stated_unit_is_followed() -> None:
    assert minutes("5", unit="minutes") == [5.0]
    assert minutes("5", unit="hours") == [300.0]
    with pytest.raises(LayoutError):
        durations.parse(pd.Series(["5"]), "days")


def test_the_decided_unit_can_be_asked_for() -> None:
    assert durations.decide_unit(pd.Series(["75", "1.5", None])) == "minutes"
    assert durations.decide_unit(pd.Series(["1.5", "1h"])) == "hours"
    assert durations.decide_unit(pd.Series(["5", "1h"])) is None


def test_a_stopwatch_column_is_minutes_and_seconds() -> None:
    assert minutes("45:30", "50:00", "7:30") == [45.5, 50.0, 7.5]
    assert minutes("1:30", "0:45") == [90.0, 45.0]


@given(st.lists(st.one_of(st.none(), st.text(max_size=20), st.text("0123456789.,:hm '½PT", max_size=10)), max_size=12))
def test_any_text_keeps_its_row_and_is_read_blank_or_refused(written: list[str | None]) -> None:
    index = pd.Index([f"line {n}" for n in range(len(written))], dtype="str")
    read = durations.parse(pd.Series(written, index=index, dtype="str"))
    assert read.index.equals(index)
    assert not (read.value.notna() & read.problem.notna()).any()
    assert read.value.dropna().between(0, durations.LONGEST).all()


@given(
    st.lists(st.integers(0, 1439), min_size=1, max_size=20),
    st.sampled_from(["{h}h{m:02d}", "{h}:{m:02d}", "{h} h {m} min", "{t} min", "PT{h}H{m}M", "{h:02d}:{m:02d}:00"]),
)
def test_what_is_printed_reads_back(numbers: list[int], layout: str) -> None:
    written = pd.Series([layout.format(h=n // 60, m=n % 60, t=n) for n in numbers])
    assert durations.parse(written).value.tolist() == numbers
