"""Fault codes as written, by the rule of each make."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.words import Words
from pipeline.words.codes import FIRST_LOOK, CodeRule, lamps_of, read_codes, said_in, sign_of

PLAIN = CodeRule()
LAMPS = CodeRule(table={"lamps 1+4": "K07", "lamps 3": "K09"})
ONE_AND_FOUR = (
    "1 4", "1,4", "1+4", "1/4", "4 & 1", "1 and 4 lit", "1 & 4 on", "lamps 1 and 4", "LEDs 4+1", "lights 1 4", "first and fourth light",
    "1st and 4th lamp lit", "lamps one and four", "Lampen 1 und 4", "erste und vierte Lampe leuchtet", "leds 1, 4 lit rest flashing",
)  # fmt: skip


@pytest.mark.parametrize(
    ("written", "codes"),
    [
        ("K7", ["K07"]),
        ("K07", ["K07"]),
        ("k 07", ["K07"]),
        ("N:07", ["N07"]),
        ("err 7", ["E07"]),
        ("Error 7", ["E07"]),
        ("code N-07", ["N07"]),
        ("fault code K12 on display", ["K12"]),
        ("K07/K08", ["K07", "K08"]),
        ("K7/8", ["K07", "K08"]),
        ("N07, then K08", ["N07", "K08"]),
        ("K07 K07", ["K07"]),
        ("7", ["07"]),
        ("lamps 1+4", ["lamps 1+4"]),
        ("lamps 4 and 1 lit", ["lamps 1+4"]),
        ("lights 1, 2 and 4", ["lamps 1+2+4"]),
        ("lamp 2", ["lamps 2"]),
        ("4 flashes", ["4 flashes"]),
        ("4 flashes, pause", ["4 flashes"]),
        ("4x flash", ["4 flashes"]),
        ("flashes 4 times", ["4 flashes"]),
        ("jH", ["JH"]),
        ("code jP", ["JP"]),
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
        ("err 7", CodeRule(letter="K"), ["K07"]),
        ("7", CodeRule(letter="K"), ["K07"]),
        ("N7", CodeRule(letter="K"), ["N07"]),
        ("K7", CodeRule(digits=3), ["K007"]),
        ("lamps 4 and 1", CodeRule(table={"lamps 1+4": "K07"}), ["K07"]),
        *((text, LAMPS, ["K07"]) for text in ONE_AND_FOUR),
        ("third lamp lit", LAMPS, ["K09"]),
        ("3", LAMPS, ["K09"]),
        ("1 4 lit, 2 3 flashing", LAMPS, ["K07"]),
        ("four flashes", CodeRule(letter="K"), ["4 flashes"]),
        ("blinkt vier mal", CodeRule(flashes=True), ["4 flashes"]),
        ("lamp 3 flashes 4 times", PLAIN, ["4 flashes"]),
        ("lamps 1+4+2", CodeRule(table={"lamps 1+4": "K07"}), ["lamps 1+2+4"]),
        ("4 flashes", CodeRule(flashes=True, letter="N"), ["N04"]),
        ("4", CodeRule(flashes=True), ["4 flashes"]),
        ("jH", CodeRule(table={"jh": "K18"}), ["K18"]),
        ("showing jH and jP", CodeRule(table={"jh": "JH", "jp": "JP"}), ["JH", "JP"]),
        ("jhudder", CodeRule(table={"jh": "JH"}), []),
    ],
)
def test_codes_by_rule(written: str, rule: CodeRule, codes: list[str]) -> None:
    assert read_codes(written, rule) == codes


def test_the_make_chooses_the_rule() -> None:
    words = Words.load()
    table = words.codes(
        pd.Series(["err 7", "err 7", "lamps 1 and 4", "4", None, "K07/K08"], dtype="str"),
        pd.Series(["Corvanta", "Brennick", "Tavrik", "OSTREL", "Ostrel", None], dtype="str"),
    )
    assert table.values.tolist() == [
        [0, "K07"], [1, "Q07"], [2, "lamps 1+4"], [3, "4 flashes"], [5, "K07"], [5, "K08"],
    ]  # fmt: skip


@settings(deadline=None)
@given(st.lists(st.integers(1, 9), min_size=1, max_size=5))
def test_a_table_knows_lamps_however_they_are_written(lamps: list[int]) -> None:
    rule = CodeRule(table={sign_of("Lights " + " & ".join(map(str, lamps))): "K07"})
    assert read_codes("lamps " + " and ".join(map(str, reversed(lamps))), rule) == ["K07"]
    assert read_codes(lamps_of(lamps), rule) == ["K07"]


@settings(deadline=None)
@given(st.sampled_from("KNQYZ"), st.integers(0, 99))
def test_what_is_given_reads_back_as_itself(letter: str, number: int) -> None:
    (code,) = read_codes(f"{letter}{number}", PLAIN)
    assert read_codes(code, PLAIN) == [code]


@settings(deadline=None)
@given(st.text(max_size=200))
def test_no_text_breaks_it(written: str) -> None:
    for rule in (PLAIN, CodeRule(letter="K", flashes=True, table={"jh": "JH", "lamps 1+4": "K07"})):
        assert all(code for code in read_codes(written, rule))


PIECES = [
    "code",
    "Err",
    "fehler",
    "shows",
    "K",
    "f",
    "lamps",
    "led",
    "flashes",
    "x",
    "and",
    "days",
    "\u0663",
    "1",
    "07",
]
BETWEEN = ["", " ", "\xa0", "\u2003", "\x1c", "\t", "\n", ":", ".", "-", "/", "+", "\xe9"]


@given(st.lists(st.sampled_from(PIECES + BETWEEN), max_size=9).map("".join))
@settings(max_examples=400)
def test_the_first_look_misses_no_text_that_says_a_code(text: str) -> None:
    is_suspect = pc.match_substring_regex(pa.array([text]), FIRST_LOOK)[0].as_py()
    assert is_suspect or not said_in(text)
