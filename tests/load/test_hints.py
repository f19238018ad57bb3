"""What a load leaves useless though nothing of it is wrong is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from tests.worlds.empty import empty_workshop

pytestmark = pytest.mark.usefixtures("without_marts")


@pytest.mark.parametrize(
    ("column", "text", "told"),
    [
        ("root_cause", "zorbled", "is named as if it held them"),
        ("remark", "blocked pump filter", "may hold them (100% of its texts name one)"),
        ("remark", "second floor", "No column looks as if it held them."),
    ],
)
def test_a_file_without_causes_says_where_they_may_be(tmp_path: Path, column: str, text: str, told: str) -> None:
    (tmp_path / "jobs.csv").write_text(
        f"visit_date,appliance_kind,job_no,complaint,{column}\n2025-01-02,washing machine,J1,not draining,{text}\n"
    )
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        (note,) = workshop.load([tmp_path / "jobs.csv"]).files[0].notes
    assert "train learns nothing" in note
    assert told in note


GERMAN = ("Waschmaschine,J1,pumpt nicht ab,Pumpe defekt", "Trockner,J2,heizt nicht,Heizung defekt")
ENGLISH = ("washing machine,J3,not draining,pump seized", "tumble dryer,J4,no heat,element open circuit")


@pytest.mark.parametrize(
    ("lines", "is_told"),
    [
        (GERMAN[:1], True),
        ((*GERMAN, *ENGLISH * 4), True),  # a fifth of the lines
        (ENGLISH, False),
        (("lave-linge,J1,fuite d'eau,",), False),
    ],
)
def test_lines_of_a_language_that_is_off_are_told(tmp_path: Path, lines: tuple[str, ...], is_told: bool) -> None:
    written = "\n".join(f"2025-01-02,{line.replace(',J', f',J{n}')}" for n, line in enumerate(lines))
    (tmp_path / "jobs.csv").write_text(f"visit_date,appliance_kind,job_no,complaint,cause\n{written}\n")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        notes = workshop.load([tmp_path / "jobs.csv"]).files[0].notes
    assert any('languages = ["en", "de"]' in note for note in notes) == is_told


def test_amounts_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    lines = [f"2026-01-{day:02d},W/M,J{day},not draining,{day}.50,{day} min\n" for day in range(10, 20)]
    lines.append('2026-02-01,W/M,J99,not draining,"1.4.8,0,0",a while 3x\n')
    header = "visit_date,appliance_kind,job_no,complaint,parts_cost,minutes\n"
    (tmp_path / "jobs.csv").write_text(header + "".join(lines), encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "shop.duckdb")) as workshop:
        (report,) = workshop.load([tmp_path / "jobs.csv"]).files
    told = [note for note in report.notes if "count as not recorded" in note]
    assert any(note.startswith("parts cost: 1 ") and '"1.4.8,0,0" (line 12)' in note for note in told), report.notes
    assert any(note.startswith("minutes: 1 ") and '"a while 3x" (line 12)' in note for note in told), report.notes
    assert any("decimal_mark" in note for note in report.notes)


def test_an_older_export_that_takes_corrections_back_is_told(tmp_path: Path) -> None:
    header = "visit_date,appliance_kind,job_no,complaint,parts_cost\n"
    first, corrected = "2026-01-02,W/M,J1,not draining,20\n", "2026-01-02,W/M,J1,not draining,25\n"
    for name, lines in (
        ("jan.csv", first),
        ("put_right.csv", corrected),
        ("all.csv", first + "2026-02-01,W/M,J2,leaks,\n"),
    ):
        (tmp_path / name).write_text(header + lines, encoding="utf-8")
    with Workshop.open(tmp_path / "shop.duckdb") as workshop:
        workshop.load([tmp_path / "jan.csv"])
        assert not any("older export" in note for note in workshop.load([tmp_path / "put_right.csv"]).files[0].notes)
        notes = workshop.load([tmp_path / "all.csv"]).files[0].notes
    assert any("1 of the new versions" in note and "put_right.csv" in note and "take-back 3" in note for note in notes)


def test_a_file_of_names_alone_is_told(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text("visit_date,appliance_kind,job_no\n", encoding="utf-8")
    with Workshop.open(tmp_path / "shop.duckdb") as workshop:
        assert "It holds the names of columns and no line." in workshop.load([tmp_path / "jobs.csv"]).files[0].notes


def test_part_lines_beyond_the_cost_of_parts_are_told(tmp_path: Path, without_marts: None) -> None:
    head = "visit_date,appliance_kind,job_no,outcome,parts,parts_cost\n"
    lines = ["drain pump @ 30; belt @ 12.19,30.00", "drain pump @ 30,30.00", "drain pump @ 30,"]
    text = "".join(f"2025-01-0{n},W/M,J{n},fixed,{line}\n" for n, line in enumerate(lines, 1))
    (tmp_path / "jobs.csv").write_text(head + text, encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as opened:
        (told,) = [n for n in opened.load([tmp_path / "jobs.csv"]).files[0].notes if "add up to more" in n]
        assert told.startswith("1 visits") and "line 2: 42.19 against 30.00" in told
