"""What `status` says of the columns is what counting them anew gives, after everything that can change it."""

from __future__ import annotations

import shutil
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest

from pipeline import Workshop
from pipeline.upkeep.status import COLUMNS, columns_understood
from tests.worlds.empty import empty_workshop

FILLED = {  # column -> (as written, what it became); a make has no list, a complaint, code or finding has its own table
    "make": ("make", "make"), "model": ("model", "model"), "serial": ("serial", "serial"), "age": ("age", "age_years"),
    "minutes": ("minutes", "labour_minutes"), "labour charge": ("labour_charge", "labour_charge"),
    "parts cost": ("parts_cost", "parts_cost"),
}  # fmt: skip


def counted_anew(workshop: Workshop) -> dict[str, tuple[int, int]]:
    """Given and understood of every column, counted row by row in frames."""
    tables = {
        name: workshop.table(name)
        for name in ("raw_record", "stage_visit", "stage_symptom", "stage_finding", "word_use")
    }
    visits = tables["stage_visit"].merge(tables["raw_record"], on="record_id", suffixes=("", "_written"))
    uses, symptoms, findings = tables["word_use"], tables["stage_symptom"], tables["stage_finding"]

    def written(column: str) -> pd.Series:
        return visits.get(f"{column}_written", visits[column])

    def terms(name: str) -> set[str]:
        known = uses[(uses["list"] == name) & uses["term"].notna()]
        return set(known["written"])

    own = set(uses.loc[uses["list"] == "finding", "written"])
    understood = {
        "appliance kind": (visits["appliance_kind"], visits["appliance_kind"].isin(terms("kind"))),
        "complaint": (
            written("complaint"),
            visits["visit_id"].isin(symptoms.loc[symptoms["source"].isin(("complaint", "again")), "visit_id"]),
        ),
        "fault code": (
            visits["fault_code"],
            visits["visit_id"].isin(symptoms.loc[symptoms["source"] == "code", "visit_id"]),
        ),
        "findings": (
            visits["findings"],
            visits["visit_id"].isin(findings.loc[~findings["finding"].isin(own), "visit_id"]),
        ),
        "cause": (written("cause"), written("cause").isin(terms("cause"))),
        "outcome": (written("outcome"), written("outcome").isin(terms("outcome")) & (visits["outcome"] != "unknown")),
        **{name: (written(given), visits[became].notna()) for name, (given, became) in FILLED.items()},
    }
    found = {name: (int(g.notna().sum()), int((g.notna() & u).sum())) for name, (g, u) in understood.items()}
    parts = uses[uses["list"] == "part"]
    found["parts"] = (int(parts["uses"].sum()), int(parts.loc[parts["term"].notna(), "uses"].sum()))
    return {name: found[name] for name in COLUMNS}


def told(workshop: Workshop) -> dict[str, tuple[int, int]]:
    return {c["column"]: (c["given"], c["understood"]) for c in columns_understood(workshop.database.connection)}


def test_a_new_workshop_has_every_column_with_nothing_in_it(tmp_path: Path) -> None:
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        assert told(workshop) == dict.fromkeys(COLUMNS, (0, 0))
        assert all(column["share"] is None for column in workshop.status()["columns"])


def test_a_damaged_model_is_not_called_up_to_date(tmp_path: Path) -> None:
    models = tmp_path / "w.models"
    (models / "0001").mkdir(parents=True)
    (models / "0001" / "model.json").write_text('{"a":')
    (models / "in_use.json").write_text('{"model": "0001"}')
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        told = workshop.status()["model"]
    assert told["name"] is None
    assert "0001 cannot be used" in told["note"]
    assert "priorjobs train" in told["note"]


def test_the_demo_is_understood_as_counting_it_anew_says(demo_workshop: Workshop) -> None:
    assert told(demo_workshop) == counted_anew(demo_workshop)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop that has loaded three visits; read it, never change it."""
    folder = tmp_path_factory.mktemp("status") / "shop"
    folder.mkdir()
    (folder / "jobs.csv").write_text(
        "visit_date,appliance_kind,job_no,customer_ref,complaint,cause,parts,findings,fault_code,outcome\n"
        "2025-01-02,w/m,J1,C-1001,leaks,wobbly thing,grommet plate,water left=no,K07,fixed\n"
        "2025-01-03,oven,J2,C-1002,not hot - C-1002 called,thermostat,drain pump; grommet plate,gizmo=odd,,fixd\n"
        "2025-01-04,zork,J3,C-1001,zzz,,,,,\n",
        encoding="utf-8",
    )
    (folder / "corrected.csv").write_text(
        "visit_date,appliance_kind,job_no,customer_ref,complaint,cause,parts,findings,fault_code,outcome\n"
        "2025-01-02,w/m,J1,C-1001,leaks,blocked pump filter,,,K07,fixed\n"
        "2025-01-09,oven,J9,C-1009,too hot,,,,E4,declined\n",
        encoding="utf-8",
    )
    with Workshop.open(empty_workshop(folder / "w.duckdb")) as opened:
        opened.load([folder / "jobs.csv"])
    return folder


@pytest.fixture
def workshop(made: Path, tmp_path: Path):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    with Workshop.open(tmp_path / "w.duckdb") as opened:
        yield opened


def test_every_change_is_counted(workshop: Workshop, tmp_path: Path) -> None:
    seen = [told(workshop)]
    assert seen[-1] == counted_anew(workshop)

    workshop.load([tmp_path / "corrected.csv"])
    seen.append(told(workshop))
    assert seen[-1] == counted_anew(workshop)

    (tmp_path / "words.csv").write_text(
        "list,written,decision\npart,grommet plate,drain pump\nkind,zork,electric oven\ncause,wobbly thing,new: wobble\n",
        encoding="utf-8",
    )
    decided = workshop.take_decisions(tmp_path / "words.csv")["decisions"]
    seen.append(told(workshop))
    assert seen[-1] == counted_anew(workshop)

    workshop.undo_decision(decided[0]["correction_id"])
    seen.append(told(workshop))
    assert seen[-1] == counted_anew(workshop)

    workshop.forget("C-1002")
    assert told(workshop) == counted_anew(workshop)
    assert all(before != after for before, after in pairwise(seen))


def test_a_load_that_keeps_nothing_changes_no_count(workshop: Workshop, tmp_path: Path, without_marts: None) -> None:
    before = told(workshop)
    workshop.load([tmp_path / "corrected.csv"], dry_run=True)
    assert told(workshop) == before == counted_anew(workshop)


def test_the_counts_are_read_not_counted_anew(workshop: Workshop) -> None:
    workshop.database.connection.execute("delete from stage_symptom")
    assert told(workshop)["complaint"][1] > 0
