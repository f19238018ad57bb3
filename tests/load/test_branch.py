"""Jobs name their branch: two workshops in one database are told apart, and what names none stays what it was."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from tests.worlds.empty import empty_workshop

pytestmark = pytest.mark.usefixtures("without_marts")

HEAD = "visit_date,appliance_kind,job_no,make,complaint,outcome,labour_charge"
LINES = (
    "2025-01-03,washing machine,J1,Acme,leaks,fixed,40.00",
    "2025-01-04,oven,J2,,,not fixed,",
)


def written(path: Path, head: str, *lines: str) -> Path:
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return path


def test_a_line_that_names_no_branch_has_the_hash_it_had_before_there_were_branches(tmp_path: Path) -> None:
    lines = [f"{LINES[0]},", f"{LINES[1]},second floor"]
    plain = written(tmp_path / "plain.csv", f"{HEAD},our own note", *lines)
    blank = written(tmp_path / "blank.csv", f"{HEAD},our own note,branch", *(f"{line}," for line in lines))
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([plain], layout="own")
        hashes = workshop.table("raw_record").set_index("job_no")["content_hash"].to_dict()
        again = workshop.load([blank], layout="own").totals
    # as the program of the fourth version of the tables kept these two lines
    assert hashes == {"J1": "7039079e0efb0592bb95b6f3e0928f08", "J2": "682408b09d1d7353555f7c7502b3a9c8"}
    assert (again["unchanged"], again["replaced"]) == (2, 0)


def test_a_branch_named_later_corrects_the_visit_and_adds_none(tmp_path: Path) -> None:
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([written(tmp_path / "a.csv", HEAD, *LINES)])
        named = written(tmp_path / "b.csv", f"{HEAD},branch", f"{LINES[0]},North", f"{LINES[1]},South")
        assert workshop.load([named]).totals["replaced"] == 2
        assert workshop.table("stage_visit").set_index("job_no")["branch"].to_dict() == {"J1": "North", "J2": "South"}


def test_a_layout_may_say_that_all_lines_are_of_one_branch(tmp_path: Path) -> None:
    columns = "".join(f'{column} = "{column}"\n' for column in HEAD.split(","))
    (tmp_path / "jobs.toml").write_text(f'[columns]\n{columns}[constants]\nbranch = "North"\n', encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([written(tmp_path / "jobs.csv", HEAD, *LINES)])
        assert set(workshop.table("stage_visit")["branch"]) == {"North"}
