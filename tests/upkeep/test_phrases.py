"""A phrase of the workshop's own is learned, quoted in answers, reviewed and named."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import pytest

from pipeline import Workshop
from pipeline.train import phrases
from pipeline.train.examples import examples


@pytest.fixture
def workshop(tmp_path: Path):
    """120 jobs; whoever says that it hoots like an owl had a worn damper."""
    day = dt.date(2025, 1, 6)
    lines = ["visit_date,appliance_kind,job_no,make,serial,complaint,cause,parts,outcome"]
    for number in range(120):
        hoots = number % 4 == 0
        said = '"noisy, hoots like an owl"' if hoots else ('"noisy, bangs"', '"noisy, worse lately"')[number % 2]
        cause = "shock absorbers worn,damper set" if hoots else "worn drum bearings,bearing kit"
        lines.append(f"{day + dt.timedelta(days=number)},W/M,J{number},Tavrik,T{1000 + number},{said},{cause},fixed")
    (tmp_path / "jobs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with Workshop.open(tmp_path / "workshop.duckdb") as opened:
        opened.load([tmp_path / "jobs.csv"])
        yield opened


def test_a_phrase_is_quoted_reviewed_and_named(workshop: Workshop, tmp_path: Path) -> None:
    assert phrases.keep(workshop.database, examples(workshop.database), workshop.words.filler) >= 1
    told = workshop.causes(kind="w/m", complaint="noisy, hoots like an owl")
    (phrase,) = told.as_json()["phrases"]
    assert phrase["count"] == phrase["jobs"] >= 20  # jobs whose follow-up is over
    assert any(f"{phrase['jobs']} of {phrase['jobs']} such jobs were" in line for line in told.lines())
    assert workshop.causes(kind="w/m", complaint="noisy").as_json()["phrases"] == []

    assert workshop.write_review(tmp_path / "phrases.csv", phrases=True) >= 1
    with (tmp_path / "phrases.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [{**row, "decision": "own" if "owl" in row["written"] else ""} for row in csv.DictReader(file)]
    with (tmp_path / "phrases.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    assert workshop.take_decisions(tmp_path / "phrases.csv")["taken"] == 1
    asked = workshop.causes(kind="w/m", complaint="noisy, hoots like an owl").as_json()["asked"]
    assert any("owl" in complaint for complaint in asked["complaint"])
