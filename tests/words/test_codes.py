"""Fault codes as written, by the rule of each make."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.words import Words
from pipeline.words.codes import FIRST_LOOK, CodeRule, lamps_of, lit, read_codes, said_in

PLAIN = CodeRule()


@pytest.mark.parametrize(
    ("written", "codes"),
    [
        ("F5", ["F05"]),
        ("F05", ["F05"]),
        ("f 05", ["F05"]),
        ("E:05", ["E05"]),
        ("err 5", ["E05"]),
        ("Error 5", ["E05"]),
        ("code E-05", ["E05"]),
        ("fault code F12 on display", ["F12"]),
        ("F05/F06", ["F05", "F06"]),
        ("F5/6", ["F05", "F06"]),
        ("E05, then F06", ["E05", "F06"]),
        ("F05 F05", ["F05"]),
        ("5", ["05"]),
        ("lamps 1+3", ["lamps 1+3"]),
        ("lamps 3 and 1 lit", ["lamps 1+3"]),
        ("lights 1, 2 and 4", ["lamps 1+2+4"]),
        ("lamp 2", ["lamps 2"]),
        ("4 flashes", ["4 flashes"]),
        ("4 flashes, pause", ["4 flashes"]),
        ("4x flash", ["4 flashes"]),
        ("flashes 4 times", ["4 flashes"]),
        ("dr", ["DR"]),
        ("code LS", ["LS"]),
        ("no code", []),
        ("none", []),
        ("-", []),
        ("", []),
        ("n/a", []),
    ],
)
def test_codes_without_a_rule(written: str, codes: list[str]) -> None:
    assert read_codes(written, PLAIN) == codes


@pytest.mark.parametrize(
    ("written", "rule", "codes"),
    [
        ("err 5", CodeRule(letter="F"), ["F05"]),
        ("5", CodeRule(letter="F"), ["F05"]),
        ("E5", CodeRule(letter="F"), ["E05"]),
        ("F7", CodeRule(digits=3), ["F007"]),
        ("lamps 1 and 3", CodeRule(lamps="binary", letter="F"), ["F05"]),
        ("lamps 1 and 3", CodeRule(lamps="binary"), ["lamps 1+3"]),
        ("5", CodeRule(lamps="binary"), ["lamps 1+3"]),
        ("4 flashes", CodeRule(flashes=True, letter="E"), ["E04"]),
        ("4", CodeRule(flashes=True), ["4 flashes"]),
        ("dr", CodeRule(table={"dr": "F18"}), ["F18"]),
        ("showing dr and LS", CodeRule(table={"dr": "DR", "ls": "LS"}), ["DR", "LS"]),
        ("draught", CodeRule(table={"dr": "DR"}), []),
    ],
)
def test_codes_by_rule(written: str, rule: CodeRule, codes: list[str]) -> None:
    assert read_codes(written, rule) == codes


def test_the_make_chooses_the_rule() -> None:
    words = Words.load()
    table = words.codes(
        pd.Series(["err 5", "err 5", "lamps 1 and 3", "5", None, "F05/F06"], dtype="str"),
        pd.Series(["Corvanta", "Brennick", "Tavrik", "OSTREL", "Ostrel", None], dtype="str"),
    )
    assert table.values.tolist() == [
        [0, "F05"], [1, "E05"], [2, "lamps 1+3"], [3, "5 flashes"], [5, "F05"], [5, "F06"],
    ]  # fmt: skip


@settings(deadline=None)
@given(st.integers(1, 4095))
def test_binary_lamps_and_numbers_say_the_same(number: int) -> None:
    rule = CodeRule(lamps="binary", letter="F", digits=1)
    assert read_codes(lamps_of(lit(number)), rule) == [f"F{number}"]


@settings(deadline=None)
@given(st.sampled_from("EFHLC"), st.integers(0, 99))
def test_what_is_given_reads_back_as_itself(letter: str, number: int) -> None:
    (code,) = read_codes(f"{letter}{number}", PLAIN)
    assert read_codes(code, PLAIN) == [code]


@settings(deadline=None)
@given(st.text(max_size=200))
def test_no_text_breaks_it(written: str) -> None:
    for rule in (PLAIN, CodeRule(letter="F", lamps="binary", flashes=True, table={"dr": "DR"})):
        assert all(code for code in read_codes(written, rule))


PIECES = [
    "code",
    "Err",
    "fehler",
    "shows",
    "E",
    "f",
    "lamps",
    "led",
    "flashes",
    "x",
    "and",
    "days",
    "\u0663",
    "1",
    "05",
]
BETWEEN = ["", " ", "\xa0", "\u2003", "\x1c", "\t", "\n", ":", ".", "-", "/", "+", "\xe9"]


@given(st.lists(st.sampled_from(PIECES + BETWEEN), max_size=9).map("".join))
@settings(max_examples=400)
def test_the_first_look_misses_no_text_that_says_a_code(text: str) -> None:
    is_suspect = pc.match_substring_regex(pa.array([text]), FIRST_LOOK)[0].as_py()
    assert is_suspect or not said_in(text)
