"""What is dear is built once a run; every database a test changes is in a folder of that test."""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = (
    "1"  # before numpy is there: a worker has one core, and threads that wait would take the other
)

import contextlib
import gc
import json
import random
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import settings

import sql
from pipeline import Workshop
from pipeline.demo import run_demo
from pipeline.load import load as load_module
from pipeline.train import train as learning
from tests.worlds import demo_sample, empty, shared
from tests.worlds.visit_fixtures import no_jobs, short_trees, workshop

__all__ = ["no_jobs", "short_trees", "workshop"]

settings.register_profile(  # a busy machine is no fault; seeds are printed
    "priorjobs", deadline=None, max_examples=shared.times(20), print_blob=True
)
settings.load_profile("priorjobs")


def pytest_configure(config: pytest.Config) -> None:
    """Make the folder that all workers share, before there are any."""
    if shared.FOLDER not in os.environ:
        os.environ[shared.FOLDER] = tempfile.mkdtemp(prefix="tests-of-priorjobs-")
        config.add_cleanup(lambda: shutil.rmtree(os.environ.pop(shared.FOLDER), ignore_errors=True))


LONGEST = (
    "open/test_in_browser.py",
    "demo_data/test_demo_end_to_end.py",
    "reports/test_pages_in_browser.py",
    "robustness/test_faults.py",
    "reports/test_month_page.py",
    "store/test_old_workshops.py",
    "load/test_load.py",
    "load/test_exports.py",
    "open/test_ask.py",
    "models/causes/test_classifier.py",
    "face/test_examples.py",
    "robustness/test_hostile.py",
    "store/test_database.py",
    "visit/test_round.py",
    "visit/test_alarms.py",
    "upkeep/test_load_forget.py",
    "demo_data/test_demo_data.py",
)
"""Files that take longest begin first: none is then left to one worker while the other waits."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first, each with its tests in their order."""
    place = {Path(__file__).parent / name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))


def pytest_collection_finish() -> None:
    """Leave what was imported out of all looking for garbage: a twentieth of the tests' time went into it."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give a worker whole files, so that what a file builds is built once, in the order collected."""
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False
    return LoadFileScheduling(config, log)


class Demo(NamedTuple):
    folder: Path
    told: dict
    progress: list[str]

    @property
    def db(self) -> Path:
        return self.folder / "workshop.duckdb"


FEW_POINTS = 40  # of the tree of a sheet
NEWEST = 450  # cured jobs the demo of the tests learns from


def _demo(folder: Path) -> None:
    """The whole chain, but that it learns quickly and from the newest jobs alone: that takes most of its time."""
    from tests.worlds import cause_world

    progress: list[str] = []
    every = learning.examples
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(learning, "examples", lambda database: every(database).tail(NEWEST))
        patch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", FEW_POINTS)
        with cause_world.quick_training():
            told = run_demo(folder / "shop", progress.append)
    (folder / "told.json").write_text(json.dumps([told, progress]), encoding="utf-8")


@pytest.fixture(scope="session")
def demo() -> Demo:
    """Run the whole chain on the demo files; read it, never change it."""
    folder = shared.built_once("demo", _demo)
    told, progress = json.loads((folder / "told.json").read_text(encoding="utf-8"))
    return Demo(folder / "shop", told, progress)


@pytest.fixture
def demo_workshop(demo: Demo):
    """The demo workshop, opened to read."""
    with Workshop.open(demo.db, read_only=True) as workshop:
        yield workshop


@pytest.fixture
def sixty_calls(tmp_path: Path) -> Path:
    """A folder of the test's own: ``jobs.csv``, and ``workshop.duckdb`` that has loaded its sixty calls and learned from them."""
    return shutil.copytree(demo_sample.learned(), tmp_path / "shop")


@pytest.fixture
def quick_training() -> Iterator[None]:
    """Learn quickly, where how well it learns is not asked."""
    from tests.worlds import cause_world

    with cause_world.quick_training():
        yield


@pytest.fixture
def asks_what_must_hold() -> None:
    """A load of this test asks what must hold."""


@pytest.fixture(autouse=True)
def asks_not_what_must_hold(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Loads ask what must hold and tell it in their notes: only where a test looks there (a sixth of a small load)."""
    if "asks_what_must_hold" not in request.fixturenames:
        monkeypatch.setattr(load_module, "broken", lambda *_, **__: [])


@pytest.fixture(autouse=True)
def bounded_trees(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sheets are followed a few taps far, but in the room that tests them: a whole tree takes seconds a call."""
    if request.path.parent.name != "visit":
        monkeypatch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", FEW_POINTS)


@pytest.fixture
def without_marts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave core and marts out, where only raw and staged tables are looked at: half of a small load."""
    empty.made()
    monkeypatch.setattr(sql, "rebuild", lambda *_: None)
    monkeypatch.setattr(load_module, "refreshed", lambda *_: contextlib.nullcontext())


@pytest.fixture
def seed(request: pytest.FixtureRequest) -> int:
    """A printed seed: a failing random test shows what to run again."""
    value = random.randrange(2**32)
    print(f"seed {value} in {request.node.nodeid}")
    return value
