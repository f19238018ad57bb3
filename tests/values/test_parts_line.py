from __future__ import annotations

from collections import Counter

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.values import parts_line

Part = tuple[str, float, float | None]


def parts(line: str | None, mark: str | None = None) -> list[Part]:
    read = parts_line.split(pd.Series([line], dtype="str"), mark)
    return [
        (part.part_text, part.quantity, None if pd.isna(part.unit_cost) else part.unit_cost)
        for part in read.itertuples()
    ]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # the forms of the trade brief, section 2, and of the design's record
        ("1 x PMP-204 drain pump @ 34.50", [("drain pump", 1, 34.5)]),
        ("elem + seal", [("elem", 1, None), ("seal", 1, None)]),
        ("drain pump x1 @ 34.50; door seal", [("drain pump", 1, 34.5), ("door seal", 1, None)]),
        ("customer's own part", [("customer's own part", 1, 0.0)]),
        # others
        ("2 x door seal @ £48.00 each", [("door seal", 2, 48.0)]),
        ("2x door seal = 96.00", [("door seal", 2, 48.0)]),
        ("2 x door seal £96.00", [("door seal", 2, None)]),
        ("door seal £48.00", [("door seal", 1, 48.0)]),
        ("door seal 48,00", [("door seal", 1, 48.0)]),
        ("2 drain pumps", [("drain pumps", 2, None)]),
        ("3 phase motor", [("3 phase motor", 1, None)]),
        ("1 x ring", [("ring", 1, None)]),
        ("ntc probe x2", [("ntc probe", 2, None)]),
        ("qty 2 ntc probe", [("ntc probe", 2, None)]),
        ("ntc probe (2)", [("ntc probe", 2, None)]),
        ("2 off drive belt", [("drive belt", 2, None)]),
        ("fitted new pump", [("pump", 1, None)]),
        ("element (part no. 00145223) £31.00", [("element", 1, 31.0)]),
        ("PMP-204", [("PMP-204", 1, None)]),
        ("belt, brushes & pump", [("belt", 1, None), ("brushes", 1, None), ("pump", 1, None)]),
        ("hv diode and hv capacitor\nfuse", [("hv diode", 1, None), ("hv capacitor", 1, None), ("fuse", 1, None)]),
        ("seal (door, lower) @ 12.00", [("seal (door, lower)", 1, 12.0)]),
        ("cust own drain pump", [("drain pump", 1, 0.0)]),
        ("pump @34.50 + belt @16", [("pump", 1, 34.5), ("belt", 1, 16.0)]),
    ],
)
def test_a_line_is_split_into_its_parts(line: str, expected: list[Part]) -> None:
    assert parts(line) == expected


@pytest.mark.parametrize(
    "line",
    [
        None,
        "",
        " ; ",
        "no parts",
        "No parts used",
        "none",
        "nil",
        "-",
        "n/a",
        "0",
        "no parts fitted",
        "keine Teile",
        "parts: none",
    ],
)
def test_a_line_without_parts_gives_none(line: str | None) -> None:
    assert parts(line) == []


def test_prices_are_read_by_the_evidence_of_the_column() -> None:
    read = parts_line.split(pd.Series(["motor @ 1.234", "belt @ 12,50"]))
    assert read.unit_cost.tolist() == [1234.0, 12.5]
    unclear = parts_line.split(pd.Series(["motor @ 1.234"]))
    assert unclear.unit_cost.isna().all()
    assert unclear.problem[0].startswith("may be 1.234 or 1234")
    assert parts("motor @ 1.234", mark=",") == [("motor", 1, 1234.0)]


def test_rows_count_from_the_start_of_the_input_and_parts_from_one() -> None:
    read = parts_line.split(pd.Series(["pump; belt", None, "no parts", "pump; belt"], index=[7, 8, 9, 7]))
    assert read.row.tolist() == [0, 0, 3, 3]
    assert read.part_no.tolist() == [1, 2, 1, 2]
    assert read.as_written.tolist() == ["pump", "belt"] * 2


@given(
    st.lists(st.one_of(st.none(), st.text(max_size=30), st.text("pump x@1234.,;+()&£ \n", max_size=20)), max_size=12)
)
def test_any_text_is_split_and_no_word_is_lost(lines: list[str | None]) -> None:
    read = parts_line.split(pd.Series(lines, dtype="str"))
    assert read.quantity.ge(0).all()
    assert read.part_text.str.len().gt(0).all()
    for row, line in enumerate(lines):
        kept = " ".join(read.as_written[read.row == row])
        if kept and line is not None:
            lost = Counter(filter(str.isalnum, line)) - Counter(filter(str.isalnum, kept))
            assert not set(lost) - set("andundANDUNDonilkeparts0zerwhu")  # joining words, and pieces that say "no part"


NAMES = st.sampled_from(["drain pump", "door seal", "hv diode", "ntc probe", "ring", "drive belt"])


@given(st.lists(st.tuples(NAMES, st.integers(1, 99), st.integers(0, 99_999)), min_size=1, max_size=5))
def test_what_is_printed_reads_back(fitted: list[tuple[str, int, int]]) -> None:
    for layout in ("{name} x{n} @ {price:.2f}", "{n} x PX-{n:03d} {name} @ £{price:,.2f}"):
        line = "; ".join(layout.format(name=name, n=n, price=cents / 100) for name, n, cents in fitted)
        assert parts(line) == [(name, n, cents / 100) for name, n, cents in fitted]
