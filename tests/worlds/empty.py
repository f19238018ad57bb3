"""A workshop without records, its tables built once: what a test of its own loads is then all it pays for."""

from __future__ import annotations

import shutil
from pathlib import Path

from pipeline import Workshop
from tests.worlds.shared import built_once

NAME = "workshop.duckdb"


def empty_workshop(place: Path) -> Path:
    """Put a workshop without records at ``place``, a database file of the test's own."""
    shutil.copyfile(made() / NAME, place)
    return place


def made() -> Path:
    """The folder that the empty workshop is copied from; made before anything is left out of what makes it."""
    return built_once("empty", _empty)


def _empty(folder: Path) -> None:
    Workshop.open(folder / NAME).close()
