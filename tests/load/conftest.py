"""What the tests of loading share."""

from __future__ import annotations

import pytest

import sql
from pipeline.load import load as load_module
from tests.worlds import empty


@pytest.fixture
def without_marts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave core and marts out, and what must hold of them, where only raw and staged tables are looked at."""
    empty.made()
    monkeypatch.setattr(sql, "rebuild", lambda *_: None)
    monkeypatch.setattr(load_module, "broken", lambda *_, **__: [])
