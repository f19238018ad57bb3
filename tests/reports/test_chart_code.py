"""The code that draws charts is the same wherever it is put together."""

from __future__ import annotations

import sys

import pytest

from reports.render.chart_code import begin_chart_code, chart_code


def test_code_begun_beside_other_work_is_the_code_made_here(monkeypatch: pytest.MonkeyPatch) -> None:
    made_here = chart_code()
    assert "vegaEmbed" in made_here
    chart_code.cache_clear()
    begin_chart_code()
    assert chart_code() == made_here
    chart_code.cache_clear()
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    begin_chart_code()
    assert chart_code() == made_here
