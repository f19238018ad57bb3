"""What the outcome column says: done, works, tested, nothing found; and what the rest of the record makes of it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline.words import Words
from pipeline.workshop import Workshop
from tests.worlds.empty import empty_workshop


def read(*cells: str) -> pd.DataFrame:
    return Words.load(("en", "de")).match("outcome", pd.Series(cells, dtype="str"))


DONE = ("done", "all done", "fixed", "repaired", "sorted", "complete", "job finished", "erledigt", "repariert")
WORKS = ("", "tested ok", "tested and working", "all good", "left running", "ok on test", "getestet ok", "läuft wieder")


@pytest.mark.parametrize("done", DONE)
def test_done_and_working_is_a_repair(done: str) -> None:
    cells = [f"{done}{between}{works}" for works in WORKS for between in (", ", " / ", " and ")]
    table = read(*cells)
    assert set(table["term"]) == {"fixed"}
    assert not table["is_doubtful"].any()


@pytest.mark.parametrize("works", ["all good", "working", "left running", "tested and working", "läuft"])
def test_that_it_works_is_a_repair_by_itself(works: str) -> None:
    assert read(works)["term"].tolist() == ["fixed"]


@pytest.mark.parametrize(
    "nothing",
    [
        "no fault found",
        "NFF",
        "could not replicate",
        "works as it should",
        "nothing wrong found",
        "kein Fehler gefunden",
    ],
)
def test_no_fault_found_says_that_nothing_was_found(nothing: str) -> None:
    table = read(nothing, f"{nothing}, tested ok", f"{nothing}, left working")
    assert set(table["term"]) == {"no fault found"}
    assert not table["is_doubtful"].any()


@pytest.mark.parametrize("outcome", ["part ordered", "not fixed", "declined", "advice given", "made safe"])
def test_that_it_works_yields_to_any_other_outcome(outcome: str) -> None:
    plain, *together = read(outcome, f"{outcome}, working", f"{outcome}, tested ok")["term"]
    assert set(together) == {plain}


def test_two_outcomes_are_a_guess() -> None:
    table = read("fixed, no fault found", "no access, then fixed", "not fixed, part ordered")
    assert table["term"].tolist() == ["no fault found", "fixed", "part needed"]
    assert table["is_doubtful"].tolist() == [True, True, False]


def test_tested_ok_is_what_the_record_makes_of_it_and_is_told(tmp_path: Path) -> None:
    jobs = tmp_path / "jobs.csv"
    rest = {"found": "pump seized,", "fitted": ",drain pump", "nothing": ",", "suspected": "? pump,", "denied": "NFF,"}
    rows = [f"2026-01-0{n},W/M,J{n},S{n}77,not draining,{cells},tested ok" for n, cells in enumerate(rest.values(), 1)]
    header = "visit_date,appliance_kind,job_no,serial,complaint,cause,parts,outcome"
    jobs.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "shop.duckdb")) as workshop:
        workshop.load([jobs])
        outcomes = workshop.table("visit").sort_values("visit_date")["outcome"].tolist()
        told = workshop.status()
        asked = workshop.to_review().set_index(["list", "written"]).loc[("outcome", "tested ok")]
    assert dict(zip(rest, outcomes, strict=True)) == {
        "found": "fixed",
        "fitted": "fixed",
        "nothing": "no fault found",
        "suspected": "no fault found",
        "denied": "no fault found",
    }
    (column,) = [one for one in told["columns"] if one["column"] == "outcome"]
    assert (column["given"], column["understood"]) == (5, 0)
    assert ("outcome", "tested ok", 5) in [(w["list"], w["written"], w["uses"]) for w in told["words_to_review"]]
    assert (asked["suggestion"], asked["second"]) == ("fixed", "no fault found")
    assert "guess" in asked["asks"]
