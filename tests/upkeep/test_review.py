"""Unrecognised words: out with suggestions, decisions in, applied to old and new records, undone."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from pipeline.errors import FileUnusable, LayoutError, UsageError
from pipeline.workshop import Workshop
from tests.worlds.empty import empty_workshop

HEADER = "visit_date,appliance_kind,job_no,make,serial,complaint,cause,parts,outcome\n"


def jobs(folder: Path, name: str, first: int) -> Path:
    """Eight visits of an office with words of its own."""
    kinds, causes = ["laundry contraption", "W/M"], ["gubbins gone", "blocked pump filter"]
    texts = ["quonking, not draining", "=2+3 blorping"]
    lines = [
        f"2026-0{1 + n // 4}-1{n % 4},{kinds[n % 2]},J{first + n},Tavrik,T{first + n}77,"
        f'"{texts[n % 2]}",{causes[n % 2]},{["widget", "drain pmp"][n % 2]} x1,fixed'
        for n in range(8)
    ]
    path = folder / name
    path.write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop that has loaded eight visits; read it, never change it."""
    folder = tmp_path_factory.mktemp("review")
    with Workshop.open(empty_workshop(folder / "workshop.duckdb")) as opened:
        opened.load([jobs(folder, "first.csv", 1)])
    return folder


@pytest.fixture
def workshop(made: Path, tmp_path: Path) -> Iterator[Workshop]:
    with Workshop.open(shutil.copytree(made, tmp_path / "shop") / "workshop.duckdb") as opened:
        yield opened


def decide(path: Path, decisions: dict[tuple[str, str], str]) -> None:
    """Fill in the decision column as a person would."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["decision"] = decisions.get((row["list"], row["written"]), "")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def values(workshop: Workshop, query: str) -> list[object]:
    return [row[0] for row in workshop.database.connection.execute(query).fetchall()]


def test_words_not_understood_come_with_uses_and_examples(workshop: Workshop) -> None:
    table = workshop.to_review().set_index(["list", "written"])
    assert table.loc[("kind", "laundry contraption"), "uses"] == 4
    assert table.loc[("complaint", "quonking"), "example"] == "quonking, not draining"
    assert ("cause", "gubbins gone") in table.index
    assert ("cause", "blocked pump filter") not in table.index
    assert table.loc[("cure", "gubbins gone"), "suggestion"] == "widget"
    assert (table["decision"] == "").all()
    assert table["likeness"].dropna().between(0, 1).all()


def test_near_spellings_are_suggested_with_likeness(tmp_path: Path, without_marts: None) -> None:
    path = tmp_path / "near.csv"
    path.write_text(HEADER + "2026-01-05,machine for dishwashing,J1,Tavrik,S1,dead,,,fixed\n", encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "near.duckdb")) as opened:
        opened.load([path])
        table = opened.to_review().set_index("written")
    assert table.loc["machine for dishwashing", "suggestion"] == "dishwasher"
    assert table.loc["machine for dishwashing", "likeness"] >= 0.7


def test_decisions_reach_old_and_new_records_and_can_be_undone(workshop: Workshop, tmp_path: Path) -> None:
    raw = values(workshop, "select appliance_kind || cause from raw_record order by record_id")
    out = tmp_path / "review.csv"
    workshop.write_review(out)
    decide(
        out,
        {
            ("kind", "laundry contraption"): "washing machine",
            ("complaint", "quonking"): "noisy",
            ("cause", "gubbins gone"): "own",
            ("cure", "gubbins gone"): "no part",
            ("part", "widget"): "new: gubbins plate",
        },
    )
    taken = workshop.take_decisions(out)
    assert (taken["taken"], taken["unchanged"]) == (5, 0)
    assert set(values(workshop, "select distinct kind from visit")) == {"washing machine"}
    assert values(workshop, "select count(*) from visit_symptom where symptom = 'noisy'") == [4]
    assert values(workshop, "select distinct part from part_fitted order by 1") == ["drain pump", "gubbins plate"]
    assert values(workshop, "select part is null from cure where cause = 'gubbins gone'").count(True) > 0
    assert workshop.to_review()["written"].tolist() == ["blorping"]
    assert values(workshop, "select appliance_kind || cause from raw_record order by record_id") == raw

    workshop.load([jobs(tmp_path, "second.csv", 101)])
    assert set(values(workshop, "select distinct kind from visit")) == {"washing machine"}
    assert values(workshop, "select count(*) from visit") == [16]

    number = next(d["correction_id"] for d in taken["decisions"] if d["list"] == "kind")
    workshop.undo_decision(number)
    assert values(workshop, "select count(*) from visit where kind = 'laundry contraption'") == [8]
    assert values(workshop, f"select undone_at is not null from correction where correction_id = {number}") == [True]
    with pytest.raises(UsageError, match="already been undone"):
        workshop.undo_decision(number)
    with pytest.raises(UsageError, match="no decision number"):
        workshop.undo_decision(999)


def test_the_same_file_twice_takes_nothing_new(workshop: Workshop, tmp_path: Path, without_marts: None) -> None:
    out = tmp_path / "review.csv"
    workshop.write_review(out)
    decide(out, {("kind", "laundry contraption"): "washer-dryer"})
    typed = out.read_bytes()
    with pytest.raises(UsageError, match="1 decisions that were not taken in"):
        workshop.write_review(out)
    assert out.read_bytes() == typed
    assert workshop.take_decisions(out)["taken"] == 1
    assert workshop.take_decisions(out)["taken"] == 0
    decide(out, {("kind", "laundry contraption"): "washing machine"})
    assert workshop.take_decisions(out)["taken"] == 1
    in_force = values(workshop, "select term from correction where undone_at is null and list = 'kind'")
    assert in_force == ["washing machine"]
    assert values(workshop, "select count(*) from correction") == [2]
    workshop.write_review(out)  # what was taken in may go
    assert b"laundry contraption" not in out.read_bytes()


def test_faults_of_a_decided_file_come_at_once_and_nothing_is_taken(workshop: Workshop, tmp_path: Path) -> None:
    out = tmp_path / "review.csv"
    workshop.write_review(out)
    decide(out, {("kind", "laundry contraption"): "washing machin", ("complaint", "quonking"): "yes"})
    with pytest.raises(LayoutError) as refused:
        workshop.take_decisions(out)
    told = str(refused.value)
    assert "review.csv" in told
    assert "washing machine" in told  # the near name
    assert "no suggestion" in told
    assert values(workshop, "select count(*) from correction") == [0]


@pytest.mark.parametrize(
    "content",
    ["", "a,b\n1,2\n", "\x00\x01", "list,written,decision\nzoo,x,y\n", "list,written,decision\nkind,,y\n"],
)
def test_a_broken_file_is_refused(workshop: Workshop, tmp_path: Path, content: str) -> None:
    path = tmp_path / "broken.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(LayoutError):
        workshop.take_decisions(path)
    with pytest.raises(FileUnusable, match="no such file"):
        workshop.take_decisions(tmp_path / "none.csv")


def test_a_spreadsheet_sees_no_formula(workshop: Workshop, tmp_path: Path) -> None:
    out = tmp_path / "review.csv"
    workshop.write_review(out)
    with out.open(encoding="utf-8-sig", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert any(cell.startswith("'=2+3") for cell in cells)
    assert not any(cell.startswith(("=", "+", "-", "@", "\t")) for cell in cells)


def test_a_decision_file_with_semicolons_is_read(workshop: Workshop, tmp_path: Path, without_marts: None) -> None:
    path = tmp_path / "german.csv"
    path.write_text("list;written;suggestion;decision\nkind;laundry contraption;;washing machine\n", encoding="utf-8")
    assert workshop.take_decisions(path)["taken"] == 1


def test_nothing_to_review_is_an_empty_frame_with_columns(tmp_path: Path) -> None:
    with Workshop.open(empty_workshop(tmp_path / "empty.duckdb")) as opened:
        table = opened.to_review()
        assert table.empty
        assert list(table.columns)[:4] == ["list", "written", "uses", "example"]
        assert opened.write_review(tmp_path / "review.csv") == 0
    assert len(pd.read_csv(tmp_path / "review.csv")) == 0


LISTS = {
    "kind": "laundry contraption",
    "complaint": "quonking",
    "finding": "glorp",
    "cause": "gubbins gone",
    "part": "widget",
    "outcome": "fixed",
    "make": "Tavrik",
    "cure": "gubbins gone",
}


@pytest.mark.parametrize("decision", ["nothing", "own", "new: thing of ours", "yes", "no part", "washing machine"])
@pytest.mark.parametrize("name", list(LISTS))
def test_every_list_takes_every_decision_or_names_the_line_that_it_does_not_take(
    workshop: Workshop, tmp_path: Path, without_marts: None, name: str, decision: str
) -> None:
    path = tmp_path / "decided.csv"
    path.write_text(f"list,written,suggestion,decision\n{name},{LISTS[name]},,{decision}\n", encoding="utf-8")
    before = values(workshop, "select visit_id from stage_visit order by 1")
    try:
        assert workshop.take_decisions(path)["taken"] == 1
    except LayoutError as refused:
        assert "line 2" in refused.what and len(refused.what.splitlines()) == 2
        assert values(workshop, "select count(*) from correction") == [0]
    assert values(workshop, "select visit_id from stage_visit order by 1") == before
    if (name, decision) == ("kind", "nothing"):
        assert "laundry contraption" in values(workshop, "select kind from stage_visit")
    if (name, decision) == ("part", "nothing"):
        assert "widget" not in values(workshop, "select part from stage_part")


def test_two_decisions_on_one_word_are_refused_with_both_lines(workshop: Workshop, tmp_path: Path) -> None:
    path = tmp_path / "decided.csv"
    lines = ["outcome,job done,fixed", "kind,laundry contraption,own", "outcome,Job  done,declined"]
    path.write_text("\n".join(["list,written,decision", *lines, lines[0]]) + "\n", encoding="utf-8")
    with pytest.raises(LayoutError, match="lines 2 and 4") as refused:
        workshop.take_decisions(path)
    assert "fixed" in refused.value.what and "declined" in refused.value.what
    assert values(workshop, "select count(*) from correction") == [0]
