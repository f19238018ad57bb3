from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import LayoutError
from pipeline.values import money

CENTS = st.integers(-10_000_000_00, 10_000_000_00)


def amounts(*written: str | None, mark: str | None = None) -> list[float | None]:
    value = money.parse(pd.Series(written, dtype="str"), mark).value
    return [None if pd.isna(amount) else amount for amount in value]


@pytest.mark.parametrize(
    ("written", "amount", "currency"),
    [
        ("34", 34.0, None),
        ("34.5", 34.5, None),
        ("34,50", 34.5, None),
        (".5", 0.5, None),
        ("£1,234.50", 1234.5, "GBP"),
        ("£ 1,234.50", 1234.5, "GBP"),
        ("1.234,50 €", 1234.5, "EUR"),
        ("EUR 1 234,50", 1234.5, "EUR"),
        ("CHF 1'234.50", 1234.5, "CHF"),
        ("1,234,567", 1234567.0, None),
        ("12,34,567.00", 1234567.0, None),
        ("34,-", 34.0, None),
        ("34.--", 34.0, None),
        ("-34.50", -34.5, None),
        ("\u221234.50", -34.5, None),
        ("£-34.50", -34.5, "GBP"),
        ("-£34.50", -34.5, "GBP"),
        ("(34.50)", -34.5, None),
        ("34.50-", -34.5, None),
        ("34.50 CR", -34.5, None),
        ("$34.50", 34.5, "$"),
        ("34.50 GBP", 34.5, "GBP"),
        ("34.50 inc VAT", 34.5, None),
        ("34.50 + VAT", 34.5, None),
        ("no charge", 0.0, None),
        ("FOC", 0.0, None),
        ("0", 0.0, None),
        ("1e3", 1000.0, None),
        ("\uffe134.50", 34.5, "GBP"),
    ],
)
def test_an_amount_in_any_money_format(written: str, amount: float, currency: str | None) -> None:
    read = money.parse(pd.Series([written], dtype="str"))
    assert read.value[0] == amount
    assert (None if pd.isna(read.currency[0]) else read.currency[0]) == currency
    assert read.problem.isna().all()


@pytest.mark.parametrize("blank", [None, "", "n/a", "nan", "-", "?"])
def test_a_blank_is_no_amount_and_no_problem(blank: str | None) -> None:
    read = money.parse(pd.Series([blank], dtype="str"))
    assert read.value.isna().all()
    assert read.problem.isna().all()


@pytest.mark.parametrize(
    "written",
    ["ask", "34 or 35", "12.34.56", "1,23,4", "5 hrs", "(34.50", "1e99", "--5", "0x10", "٣٤", "9" * 100, "=1+1"],
)
def test_what_is_no_amount_is_refused(written: str) -> None:
    read = money.parse(pd.Series([written], dtype="str"))
    assert read.value.isna().all()
    assert read.problem.notna().all()


def test_the_decimal_mark_is_decided_over_the_column() -> None:
    assert amounts("1.234", "12,50") == [1234.0, 12.5]
    assert amounts("1.234", "12.50") == [1.234, 12.5]
    assert amounts("1,234", "12.50") == [1234.0, 12.5]


def test_an_amount_is_refused_where_the_column_shows_nothing_or_both() -> None:
    assert amounts("1.234", "7") == [None, 7.0]
    assert amounts("1.234", "12.50", "12,50") == [None, 12.5, 12.5]
    problem = money.parse(pd.Series(["1.234"])).problem[0]
    assert problem.startswith("may be 1.234 or 1234")
    assert "decimal_mark" in problem


def test_a_stated_mark_is_followed() -> None:
    assert amounts("1.234", mark=",") == [1234.0]
    assert amounts("1.234", mark=".") == [1.234]
    assert amounts("12,50", mark=".") == [None]
    with pytest.raises(LayoutError):
        money.parse(pd.Series(["1"]), ";")


def test_the_decided_mark_can_be_asked_for() -> None:
    assert money.decide_mark(pd.Series(["12,50", None])) == ","
    assert money.decide_mark(pd.Series(["12.50", "1,234"])) == "."
    assert money.decide_mark(pd.Series(["12", "1,234"])) is None


@given(st.lists(st.one_of(st.none(), st.text(max_size=20), st.text("0123456789.,' -+€£()e", max_size=12)), max_size=12))
def test_any_text_keeps_its_row_and_is_read_blank_or_refused(written: list[str | None]) -> None:
    index = pd.Index([f"line {n}" for n in range(len(written))], dtype="str")
    read = money.parse(pd.Series(written, index=index, dtype="str"))
    assert read.index.equals(index)
    assert not (read.value.notna() & read.problem.notna()).any()
    assert read.value.abs().max() <= money.LARGEST or read.value.isna().all()


@given(st.lists(CENTS, min_size=1, max_size=20), st.sampled_from(["{:.2f}", "{:,.2f}", "£{:,.2f}", "{:.2f} EUR"]))
def test_what_is_printed_reads_back(cents: list[int], layout: str) -> None:
    written = pd.Series([layout.format(n / 100) for n in cents])
    assert money.parse(written).value.mul(100).round().astype(int).tolist() == cents


@given(st.lists(CENTS, min_size=1, max_size=20))
def test_what_is_printed_with_a_decimal_comma_reads_back(cents: list[int]) -> None:
    written = pd.Series([f"{n / 100:,.2f} €".translate(str.maketrans(",.", ".,")) for n in cents])
    assert money.parse(written).value.mul(100).round().astype(int).tolist() == cents
