"""Work in a program of its own: its result, what it says on the way, and its fault as the same fault here."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from pipeline.errors import PriorjobsError
from pipeline.open.apart import apart
from pipeline.open.plain import line_of, value_of


def test_a_fault_there_is_the_same_fault_here(office: Path) -> None:
    with pytest.raises(PriorjobsError, match="2031-01") as told:
        apart("month", office, print, '{"month": "2031-01"}')
    assert told.value.code == "usage" and told.value.remedy
    with pytest.raises(PriorjobsError) as told:
        apart("no such work", office, print)
    assert told.value.code == "internal"


def test_what_it_says_on_the_way_is_told(office: Path, tmp_path: Path) -> None:
    said: list[str] = []
    apart("backtest", office, said.append, str(tmp_path / "backtest.html"))
    assert said and (tmp_path / "backtest.html").is_file()


def test_what_passes_is_json_and_comes_back_as_it_was() -> None:
    frame = pd.DataFrame({"word": ["a", "ü"], "uses": [1, 2], "share": [0.5, float("nan")]})
    told = value_of(line_of({"frame": frame, "by": {1: ("x", b"\x00\xff")}, "day": dt.date(2026, 8, 1), "none": None}))
    pd.testing.assert_frame_equal(told["frame"], frame, check_dtype=False)
    assert (told["by"], told["day"], told["none"]) == ({1: ("x", b"\x00\xff")}, dt.date(2026, 8, 1), None)
    with pytest.raises(TypeError):
        line_of(object())
    with pytest.raises(EOFError):
        value_of(b"")
