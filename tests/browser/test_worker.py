"""Work in a program of its own: its result, what it says on the way, and its fault as the same fault here."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.browser.worker import apart
from pipeline.errors import PriorjobsError


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
