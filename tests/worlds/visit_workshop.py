"""A workshop with the demo's last year of records and no model, built once and copied for each test module."""

from __future__ import annotations

import csv
from pathlib import Path

import demo_data
from pipeline import Workshop
from tests.worlds.shared import built_once

LINES = 1300


def folder(lines: int = LINES) -> Path:
    """Folder with ``workshop.duckdb`` of the demo's last records; read it, never change it."""
    return built_once(f"last-{lines}", lambda made: _last(made, lines))


def _last(made: Path, count: int) -> None:
    with demo_data.JOBS.open(encoding="utf-8", newline="") as file:
        header, *lines = list(csv.reader(file))
    records = made / "last-year.csv"
    with records.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *lines[-count:]])
    with Workshop.open(made / "workshop.duckdb") as workshop:
        workshop.load([records])


def open_workshop() -> Workshop:
    """Open it to read."""
    return Workshop.open(folder() / "workshop.duckdb", read_only=True)
