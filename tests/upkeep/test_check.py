"""What must hold is run after a load and on demand; what is broken is named with its rows and a remedy."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from pipeline import Workshop
from tests.command_in_fork import in_fork
from tests.worlds.empty import empty_workshop

LINES = "visit_date,appliance_kind,job_no,outcome,cause\n2025-01-02,oven,J1,fixed,fan motor worn\n2025-01-03,oven,J2,fixed,fan motor worn\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop that has loaded two visits, and nothing was to be told; read it, never change it."""
    folder = tmp_path_factory.mktemp("check")
    (folder / "jobs.csv").write_text(LINES, encoding="utf-8")
    with Workshop.open(empty_workshop(folder / "workshop.duckdb")) as workshop:
        assert workshop.load([folder / "jobs.csv"]).files[0].notes == []
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return shutil.copytree(made, tmp_path / "shop")


def damage(folder: Path) -> None:
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        workshop.database.connection.execute("update load_batch set loaded = 7")


def test_a_good_workshop_says_so(folder: Path) -> None:
    ran = in_fork(folder, "status --check")
    assert ran.status == 0
    assert "All that must hold of the tables holds." in ran.out
    assert "must hold" not in in_fork(folder, "status").out


def test_an_offence_names_table_rows_and_remedy(folder: Path) -> None:
    damage(folder)
    ran = in_fork(folder, "status --check --json")
    assert ran.status == 1
    (offence,) = json.loads(ran.out)["broken"]
    assert (offence["table"], offence["rows"]) == ("load_batch", 1)
    assert offence["first"][0]["loaded"] == 7
    text = in_fork(folder, "status --check").out
    assert "Table load_batch breaks the rule" in text
    assert "loaded 7" in text
    assert "Restore the last backup" in text


def test_a_load_runs_it_too(folder: Path, asks_what_must_hold: None) -> None:
    damage(folder)
    (folder / "more.csv").write_text(LINES.replace("J", "K"), encoding="utf-8")
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        (note,) = workshop.load([folder / "more.csv"]).files[0].notes
    assert note.startswith("Table load_batch breaks the rule")
