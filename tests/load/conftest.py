"""What the tests of loading share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.store.database import Database
from pipeline.words import Words
from tests.worlds.empty import empty_workshop


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with Database.open(empty_workshop(tmp_path / "workshop.duckdb")) as opened:
        yield opened
