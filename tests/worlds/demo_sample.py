"""A small made-up history, written as a file: sixty calls."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

from pipeline import Workshop
from tests.worlds.shared import built_once

CALLS = 60


def write_jobs(path: Path) -> None:
    """Sixty calls: every third ended with a new pump, the others with a cleaned filter; one word nobody knows."""
    rows = []
    for number in range(CALLS):
        needs_pump = number % 3 == 0
        rows.append(
            {
                "visit_date": dt.date(2025, 1, 6) + dt.timedelta(days=2 * number),
                "appliance_kind": "washing machine",
                "job_no": f"J{number + 1}",
                "customer_ref": f"C-{number + 1}",
                "make": "Tavrik",
                "model": "TW540",
                "serial": f"TW{1000 + number}",
                "age": 2 + number % 9,
                "complaint": "not draining, hums" if needs_pump else "not draining",
                "findings": "" if needs_pump else "filter=blocked",
                "cause": "drain pump seized or open circuit" if needs_pump else "blocked pump filter",
                "parts": "drain pump @ 34.50" if needs_pump else "",
                "outcome": "fixed",
                "technician": "Ada" if number % 2 else "Bo",
                "minutes": 35,
                "labour_charge": 60,
            }
        )
    rows[-1]["parts"] = "grommet plate"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def learned() -> Path:
    """Folder with ``jobs.csv`` and ``workshop.duckdb``, its calls loaded and learned from; read it, never change it."""
    return built_once("sixty-calls", _learned)


def _learned(folder: Path) -> None:
    write_jobs(folder / "jobs.csv")
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        workshop.load([folder / "jobs.csv"])
        workshop.train()
