"""A small shop's year as its office program writes it: a habit that costs money, a line that is wrong, strange headings."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path
from typing import Any

from pipeline import Workshop
from tests.worlds.shared import built_once

OWN = {
    "Our ref": "job_no", "Came on": "visit_date", "Machine": "appliance_kind", "Brand": "make", "Unit": "serial",
    "Client": "customer_ref", "They said": "complaint", "Was": "cause", "Done": "work_done", "Put in": "parts",
    "Ended": "outcome", "Who": "technician", "Mins": "minutes",
}  # fmt: skip
DAY_ONE = dt.date(2025, 1, 2)
LINES = 118


def rows() -> list[dict[str, Any]]:
    """118 visits: level sensors fitted in vain in 24 of 28 units, and sixty plain repairs; one more has no day."""
    made: list[dict[str, Any]] = []
    for number in range(28):
        unit = _unit(number, "washing machine", "not draining", DAY_ONE + dt.timedelta(days=13 * number))
        sensor = {**unit, "Put in": "level sensor @ 26"}
        if number % 7 == 0:
            made.append({**sensor, "Was": "level sensor fault", "Ended": "fixed"})
            continue
        made.append({**sensor, "Ended": "not fixed"})
        later = DAY_ONE + dt.timedelta(days=13 * number + 5)
        cleared = {"Our ref": f"R{number}b", "Came on": f"{later:%d/%m/%Y}", "Done": "cleared sump hose"}
        made.append({**unit, **cleared, "Was": "partly blocked sump hose", "Ended": "fixed"})
    for number in range(28, 94):
        kind, said, was, part = (
            ("dishwasher", "leaks", "torn door seal", "door seal @ 18"),
            ("washing machine", "noisy spin", "worn drum bearings", "drum bearings @ 40"),
        )[number % 2]
        unit = _unit(number, kind, said, DAY_ONE + dt.timedelta(days=7 * (number - 28) // 1 % 400))
        made.append({**unit, "Was": was, "Put in": part, "Ended": "fixed"})
    made.append({**_unit(99, "dishwasher", "leaks", DAY_ONE), "Came on": "some day", "Ended": "fixed"})
    return made


def _unit(number: int, kind: str, said: str, day: dt.date) -> dict[str, Any]:
    return {
        "Our ref": f"R{number}", "Came on": f"{day:%d/%m/%Y}", "Machine": kind, "Brand": "Tavrik",
        "Unit": f"TW{4000 + number}", "Client": f"C-{number}", "They said": said, "Who": "Ada", "Mins": 40,
    }  # fmt: skip


def write(path: Path, *, is_own: bool = False) -> Path:
    """Write the year, under the office's headings or the tool's own."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(OWN), restval="")
        if is_own:
            csv.writer(file).writerow(OWN.values())
        else:
            writer.writeheader()
        writer.writerows(rows())
    return path


def folder() -> Path:
    """Folder with ``workshop.duckdb``, loaded, without a model; read it, never change it."""
    return built_once("office", _build)


def _build(made: Path) -> None:
    with Workshop.open(made / "workshop.duckdb") as workshop:
        workshop.load([write(made / "year.csv", is_own=True)])
