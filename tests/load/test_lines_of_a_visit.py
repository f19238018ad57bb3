"""Two lines of one visit: told where a line is a visit, joined with their own prices where a line is a part."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from pipeline import Workshop
from tests.command_in_fork import in_fork
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


def test_a_line_that_names_no_visit_is_of_the_visit_above(workshop: Workshop, tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(LINES + ",,,,,,inlet hose,9.00,\n", encoding="utf-8")
    (report,) = workshop.load([tmp_path / "jobs.csv"], layout=tmp_path / "part.toml").files
    assert report.rejected == 0
    jobs = workshop.table("part_verdict").set_index("part")["visit_id"]
    assert jobs["inlet hose"] == jobs["drain pump"]


class _Typed(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("typed", "grain"), [("\ny\n", "visit"), ("p\ny\n", "part"), ("v\ny\n", "visit")])
def test_whoever_is_asked_about_a_guess_says_what_a_line_is(tmp_path: Path, typed: str, grain: str) -> None:
    (tmp_path / "lines.csv").write_text(LINES.replace("visit_date,appliance_kind", "When,Machine"), encoding="utf-8")

    def answered() -> None:
        sys.stdin, sys.stderr.isatty = _Typed("1\n" + typed), lambda: True  # type: ignore[method-assign]

    ran = in_fork(tmp_path, "load lines.csv --save-layout kept.toml --db shop.duckdb", answered)
    assert ran.status == 0, ran.err
    assert "one line is a visit: two lines of one job and day are two visits" in ran.err
    assert 'if instead one line is a part: lines of one job and day are one visit: grain = "part"' in ran.err
    assert f'grain = "{grain}"' in (tmp_path / "kept.toml").read_text(encoding="utf-8")


def test_another_reading_takes_the_place_of_one_only_where_that_was_said(workshop: Workshop, tmp_path: Path) -> None:
    workshop.load([tmp_path / "jobs.csv"], layout=tmp_path / "visit.toml")
    workshop.close()
    refused = in_fork(tmp_path, "load jobs.csv --layout part.toml --db shop.duckdb")
    assert refused.status == 2 and "--yes" in refused.err
    with Workshop.open(tmp_path / "shop.duckdb", read_only=True) as opened:
        assert len(opened.table("visit")) == 3
    assert in_fork(tmp_path, "load jobs.csv --layout part.toml --yes --db shop.duckdb").status == 0
    with Workshop.open(tmp_path / "shop.duckdb", read_only=True) as opened:
        assert len(opened.table("visit")) == 2
