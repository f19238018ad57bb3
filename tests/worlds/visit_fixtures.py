"""What the tests of a visit share: workshops that are only read, opened once a worker."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from pipeline import Workshop
from tests.worlds.empty import empty_workshop
from tests.worlds.visit_workshop import open_workshop


@pytest.fixture(scope="session")
def workshop() -> Iterator[Workshop]:
    """The demo's last year and no model; read it, never change it."""
    with open_workshop() as opened:
        yield opened


@pytest.fixture(scope="session")
def no_jobs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """No jobs: the word lists stand in."""
    with Workshop.open(empty_workshop(tmp_path_factory.mktemp("lists") / "w.duckdb")) as opened:
        yield opened


@pytest.fixture
def short_trees(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sheets can be tapped to their first card: tests of tapping and of the whole round follow the tree."""
    monkeypatch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 1)
