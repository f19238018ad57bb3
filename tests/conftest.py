"""The demo workshop is built once a session; every database a test opens is in a folder of that test."""

from __future__ import annotations

import random
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import settings

from pipeline import Workshop
from pipeline.demo import run_demo

settings.register_profile("priorjobs", deadline=None, print_blob=True)  # a busy machine is no fault; seeds are printed
settings.load_profile("priorjobs")


class Demo(NamedTuple):
    folder: Path
    told: dict
    progress: list[str]

    @property
    def db(self) -> Path:
        return self.folder / "workshop.duckdb"


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """Run the whole chain on the demo files; read it, never change it."""
    folder = tmp_path_factory.mktemp("demo")
    progress: list[str] = []
    return Demo(folder, run_demo(folder, progress.append), progress)


@pytest.fixture
def demo_workshop(demo: Demo):
    """The demo workshop, opened to read."""
    with Workshop.open(demo.db, read_only=True) as workshop:
        yield workshop


@pytest.fixture
def seed(request: pytest.FixtureRequest) -> int:
    """A printed seed: a failing random test shows what to run again."""
    value = random.randrange(2**32)
    print(f"seed {value} in {request.node.nodeid}")
    return value
