"""Two lines of one visit: told where a line is a visit, joined with their own prices where a line is a part."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from tests.worlds.empty import empty_workshop

LINES = (
    "visit_date,appliance_kind,job_no,serial,complaint,cause,parts,parts_cost,outcome\n"
    "2026-01-05,W/M,J1,T1,not draining,drain pump seized,control board,131.00,fixed\n"
    "2026-01-05,W/M,J1,T1,not draining,,door hinge £14.00,14.00,fixed\n"
    "2026-01-06,W/M,J2,T2,not draining,drain pump seized,drain pump,31.00,fixed\n"
)


def layout(grain: str) -> str:
    columns = LINES.splitlines()[0].split(",")
    return f'name = "own"\ngrain = "{grain}"\n[columns]\n' + "".join(f'{c} = "{c}"\n' for c in columns)


@pytest.fixture
def workshop(tmp_path: Path):
    (tmp_path / "jobs.csv").write_text(LINES, encoding="utf-8")
    for grain in ("visit", "part"):
        (tmp_path / f"{grain}.toml").write_text(layout(grain), encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "shop.duckdb")) as opened:
        yield opened


def test_lines_of_one_visit_are_told_and_joined_when_a_line_is_a_part(workshop: Workshop, tmp_path: Path) -> None:
    (report,) = workshop.load([tmp_path / "jobs.csv"], layout=tmp_path / "visit.toml").files
    (told,) = [note for note in report.notes if "more than one line" in note]
    assert "1 visits" in told and "J1" in told and "2026-01-05" in told and 'grain = "part"' in told
    (report,) = workshop.load([tmp_path / "jobs.csv"], layout=tmp_path / "part.toml").files
    assert not [note for note in report.notes if "more than one line" in note]
    assert len(workshop.table("visit")) == 2
    costs = workshop.table("part_verdict").set_index("part")["part_cost"].to_dict()
    assert costs == {"control board": 131.0, "door hinge": 14.0, "drain pump": 31.0}
