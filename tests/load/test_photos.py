"""Links to photographs go with a visit: from the file into the tables, the unit's history, the sheet and the export."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline import Workshop
from tests.worlds.empty import empty_workshop

HEAD = "visit_date,appliance_kind,job_no,serial,complaint,cause,outcome,photos"
HOSTILE = 'javascript:alert(1) "><script>alert(2)</script>'
LINES = (
    "2026-01-03,washing machine,J1,S1,not draining,blocked pump filter,fixed,https://photos.example/1.jpg photos/2.png",
    f'2026-02-04,washing machine,J2,S1,leaks,,not fixed,"{HOSTILE.replace(chr(34), chr(34) * 2)}"',
    "2026-02-05,washing machine,J3,S3,leaks,,not fixed,",
)


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photos")
    (folder / "jobs.csv").write_text("\n".join([HEAD, *LINES]) + "\n", encoding="utf-8")
    with Workshop.open(empty_workshop(folder / "workshop.duckdb")) as opened:
        opened.load([folder / "jobs.csv"])
        yield opened


def test_links_stand_with_the_visit_as_written(workshop, tmp_path):
    told = workshop.table("visit").set_index("job_no")["photos"]
    assert told["J1"] == "https://photos.example/1.jpg photos/2.png"
    assert told["J2"] == HOSTILE
    assert told.isna()["J3"]
    workshop.export("visit", tmp_path / "visit.csv")
    assert "photos/2.png" in (tmp_path / "visit.csv").read_text(encoding="utf-8")


def test_the_units_history_tells_them(workshop):
    asked = workshop.causes(kind="washing machine", complaint="leaks", serial="S1")
    assert [visit["photos"] for visit in asked.as_json()["unit"]["visits"]] == [
        HOSTILE, "https://photos.example/1.jpg photos/2.png",
    ]  # fmt: skip
    assert any("photographs: https://photos.example/1.jpg" in line for line in asked.lines())
    assert any(
        "No visit to this serial" in line for line in workshop.causes(kind="washing machine", serial="NO1").lines()
    )


def test_a_sheet_links_what_is_safe_and_shows_the_rest(workshop, tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 1)
    calls = tmp_path / "calls.csv"
    calls.write_text(
        "appliance_kind,complaint,serial,photos\nwashing machine,leaks,S1,https://photos.example/today.jpg\n",
        encoding="utf-8",
    )
    workshop.round(calls, tmp_path / "round.html")
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    led = re.findall(r'<a href="([^"#]*)" rel="noopener noreferrer"', page)
    assert led == ["https://photos.example/today.jpg", "https://photos.example/1.jpg", "photos/2.png"]
    assert "<script>alert(2)" not in page
    assert "javascript:alert(1)" in page
    assert 'href="javascript' not in page


@pytest.mark.parametrize(("photos", "branch"), [("Photos", "Filiale"), ("Fotos", "depot"), ("picture", "Branch")])
def test_columns_of_links_and_of_branches_are_told_by_their_names(
    tmp_path: Path, without_marts: None, photos: str, branch: str
) -> None:
    lines = [
        f"{n % 27 + 1:02d}.01.2025,w/m,A{n:04d},leaks under the door,img/{n}.jpg,{('Nord', 'Süd')[n % 2]},fixed"
        for n in range(40)
    ]
    path = tmp_path / "jobs.csv"
    head = f"Visited on,Machine,Job no,Customer says,{photos},{branch},Result"
    path.write_text("\n".join([head, *lines]), encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([path], accept_guess=True)
        staged = workshop.table("stage_visit")
    assert staged["photos"].str.endswith(".jpg").sum() == 40
    assert staged["branch"].value_counts().to_dict() == {"Nord": 20, "Süd": 20}


def test_lines_of_one_visit_keep_all_their_links(tmp_path: Path, without_marts: None) -> None:
    layout = tmp_path / "parts.toml"
    columns = ("visit_date", "appliance_kind", "job_no", "part", "photos")
    layout.write_text(
        'grain = "part"\n[columns]\n' + "".join(f'{name} = "{name}"\n' for name in columns), encoding="utf-8"
    )
    path = tmp_path / "parts.csv"
    path.write_text(
        "visit_date,appliance_kind,job_no,part,photos\n2026-01-03,w/m,J1,pump,b.jpg\n2026-01-03,w/m,J1,filter,a.jpg\n"
        "2026-01-03,w/m,J1,hose,b.jpg\n",
        encoding="utf-8",
    )
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([path], layout=str(layout))
        assert workshop.table("stage_visit")["photos"].tolist() == ["a.jpg b.jpg"]
