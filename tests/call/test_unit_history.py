"""The unit's own past stands beside the answer, and changes it only as far as the workshop's returns say so."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline import Workshop
from pipeline.call.unit_history import PastVisit, UnitHistory
from pipeline.visit.callback_odds import with_history
from pipeline.visit.odds import Odds
from tests.worlds.empty import empty_workshop

HEADER = "visit_date,appliance_kind,job_no,customer_ref,make,serial,complaint,cause,parts,outcome,technician\n"


def past(days_ago: int, *parts: str) -> UnitHistory:
    day = dt.date.today() - dt.timedelta(days=days_ago)
    visit = PastVisit("J1", day, "not draining", None, "fixed", "Ada", ("does not drain",), parts, days_ago)
    return UnitHistory((visit,), is_callback=True)


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory):
    """Three jobs on two units; read it, never change it."""
    folder = tmp_path_factory.mktemp("units")
    lately = dt.date.today() - dt.timedelta(days=20)
    lines = [
        f"{lately},W/M,J1,Ann Example,Tavrik,TW1001,not draining,drain pump seized,drain pump,fixed,Ada",
        f"{lately - dt.timedelta(days=400)},W/M,J0,Ann Example,Tavrik,TW1001,leaks,torn door seal,door seal,fixed,Bo",
        f"{lately},W/M,J2,Cy Other,Tavrik,TW1002,noisy,worn drum bearings,bearing kit,fixed,Ada",
    ]
    (folder / "jobs.csv").write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    with Workshop.open(empty_workshop(folder / "workshop.duckdb")) as opened:
        opened.load([folder / "jobs.csv"])
        yield opened


@pytest.mark.parametrize("who", [{"serial": "tw-1001"}, {"customer": "ann example"}])
def test_a_call_to_a_known_unit_tells_its_past(workshop: Workshop, who: dict[str, str]) -> None:
    unit = workshop.causes(kind="w/m", complaint="not draining", **who).as_json()["unit"]
    assert [visit["job_no"] for visit in unit["visits"]] == ["J1", "J0"]
    assert unit["is_callback"]
    assert unit["under_our_guarantee"] == ["drain pump"]


def test_another_complaint_is_no_callback(workshop: Workshop) -> None:
    assert not workshop.causes(kind="w/m", complaint="leaks", serial="TW1001").as_json()["unit"]["is_callback"]


@pytest.mark.parametrize("who", [{}, {"serial": "TW9999"}, {"customer": "nobody known"}])
def test_an_unknown_unit_has_no_past(workshop: Workshop, who: dict[str, str]) -> None:
    assert workshop.causes(kind="w/m", complaint="not draining", **who).as_json()["unit"]["visits"] == []


def test_without_returns_on_record_the_odds_stay(workshop: Workshop) -> None:
    plainly = workshop.causes(kind="w/m", complaint="not draining").as_json()["causes"]
    assert workshop.causes(kind="w/m", complaint="not draining", serial="TW1001").as_json()["causes"] == plainly


def test_returns_on_record_move_the_odds_of_what_the_part_cures() -> None:
    odds = Odds({"drain pump seized": 0.6, "blocked pump filter": 0.35}, 0.05, "0001", None)
    cured_by = {"drain pump seized": ("drain pump",), "blocked pump filter": ()}
    moved, history = with_history(past(9, "drain pump"), odds, cured_by, (4, 80, 0.4))
    assert moved.causes["drain pump seized"] < 0.3
    assert sum(moved.causes.values()) + moved.none_of_these == pytest.approx(1.0)
    assert "4 had the same cause again" in history.effect
    untouched, _ = with_history(past(9, "door seal"), odds, cured_by, (4, 80, 0.4))
    assert untouched == odds


def test_a_round_tells_the_past_and_loses_no_line(workshop: Workshop, tmp_path: Path, short_trees: None) -> None:
    calls = (
        "appliance_kind,job_no,serial,complaint,visit_date\n"
        "W/M,N1,TW1001,not draining,30/11/2026\n"
        "W/M,N1,TW1002,noisy,31/11/2026\n"
        "W/M,N3,TW1003,leaks,one comma,too,many\n"
        ",N4,TW1004,dead,\n"
    )
    (tmp_path / "calls.csv").write_text(calls, encoding="utf-8")
    plan = workshop.round(tmp_path / "calls.csv", tmp_path / "round.html")
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    assert len(plan["calls"]) + len(plan["not_planned"]) == 4
    assert [text.split(":")[0] for text in plan["not_planned"]] == ["line 4", "line 5"]
    no_day = 'line 3: "31/11/2026" is no day that can be read; its call is planned with the others'
    assert plan["remarks"] == [no_day, 'job "N1" stands at lines 2, 3: each is planned']
    assert plan["calls"][0]["unit"]["is_callback"]
    for text in ("line 4", "line 5", "stands at lines 2, 3", "31/11/2026", "this is a callback"):
        assert text in page


def test_a_unit_known_by_its_serial_number_tells_its_age(tmp_path: Path) -> None:
    day = dt.date.today() - dt.timedelta(days=730)
    head, line = "visit_date,appliance_kind,job_no,serial,age,complaint,outcome\n", "W/M,J1,TW1001,5 yrs,leaks,fixed\n"
    (tmp_path / "jobs.csv").write_text(f"{head}{day},{line}", encoding="utf-8")
    with Workshop.open(tmp_path / "workshop.duckdb") as opened:
        opened.load([tmp_path / "jobs.csv"])
        asked = opened.causes(kind="w/m", complaint="not draining", serial="TW1001").as_json()
        assert asked["asked"]["age_years"] == pytest.approx(7, abs=0.01)
        assert any("7 years" in remark and str(day) in remark for remark in asked["remarks"])
        told = opened.causes(kind="w/m", complaint="not draining", serial="TW1001", age="2").as_json()
        assert told["asked"]["age_years"] == 2


def test_a_serial_of_another_kind_is_told(workshop):
    row = workshop.database.connection.execute(
        "select a.serial, v.kind, count(*) from appliance a join visit v using (appliance_id) "
        "where a.serial is not null and v.kind = 'washing machine' group by all order by 3 desc, 1 limit 1"
    ).fetchone()
    serial, kind, count = row
    told = workshop.causes(kind="freezer", complaint="warm", serial=serial)
    assert any(f"another kind: {kind}" in line and f"{count} visit" in line for line in told.lines())
    assert not any("is on record." in line for line in told.lines())
