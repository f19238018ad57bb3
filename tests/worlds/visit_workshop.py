"""A workshop with the demo's last year of records and no model, built once and copied for each test module."""

from __future__ import annotations

import csv
from pathlib import Path

import demo_data
from pipeline import Workshop
from tests.worlds.shared import built_once

LINES = 1300


def folder() -> Path:
    """Folder with ``workshop.duckdb``; read it, never change it."""
    return built_once("last-year", _last_year)


def _last_year(made: Path) -> None:
    with demo_data.JOBS.open(encoding="utf-8", newline="") as file:
        header, *lines = list(csv.reader(file))
    records = made / "last-year.csv"
    with records.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *lines[-LINES:]])
    with Workshop.open(made / "workshop.duckdb") as workshop:
        workshop.load([records])


def open_workshop() -> Workshop:
    """Open it to read."""
    return Workshop.open(folder() / "workshop.duckdb", read_only=True)
