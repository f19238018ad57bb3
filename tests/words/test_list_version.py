"""A changed word list reaches every visit: the next load reads what is held again, and `status` says so before."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline import Workshop, cli
from tests.worlds.empty import empty_workshop

pytestmark = pytest.mark.usefixtures("without_marts")

JOBS = (
    "visit_date,appliance_kind,job_no,complaint,parts,outcome\n2025-01-0{day},W/M,J{day},not draining,zibbler,fixed\n"
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop whose lists changed after a load; read it, never change it."""
    folder = tmp_path_factory.mktemp("edition")
    for day in (1, 2):
        (folder / f"{day}.csv").write_text(JOBS.format(day=day))
    with Workshop.open(empty_workshop(folder / "workshop.duckdb")) as workshop:
        workshop.load([folder / "1.csv"])
        assert not workshop.status()["word_lists_changed"]
    (folder / "own.toml").write_text('[[part]]\nterm = "drain pump"\nwritten = ["zibbler"]\n')
    (folder / "workshop.toml").write_text('word_lists = ["own.toml"]\n')
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return shutil.copytree(made, tmp_path / "shop")


def parts(workshop: Workshop) -> list[str]:
    return sorted(workshop.table("stage_part")["part"])


def test_the_next_load_reads_what_is_held_with_the_new_lists(folder: Path) -> None:
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        assert workshop.status()["word_lists_changed"]
        assert parts(workshop) == ["zibbler"]
        workshop.load([folder / "2.csv"])
        assert parts(workshop) == ["drain pump", "drain pump"]
        assert not workshop.status()["word_lists_changed"]
        assert not [word for word in workshop.status()["words_to_review"] if word["written"] == "zibbler"]


def test_a_file_loaded_before_is_enough_and_a_dry_run_changes_nothing(folder: Path) -> None:
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        workshop.load([folder / "2.csv"], dry_run=True)
        assert parts(workshop) == ["zibbler"]
        workshop.load([folder / "1.csv"])
        assert parts(workshop) == ["drain pump"]


def test_an_answer_says_that_records_are_read_by_older_lists(folder: Path) -> None:
    asked = ["causes", "--kind", "w/m", "--complaint", "not draining", "--db", str(folder / "workshop.duckdb")]
    assert "word lists have changed" in CliRunner().invoke(cli.app, asked).stderr
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        workshop.load([folder / "2.csv"])
    assert "word lists have changed" not in CliRunner().invoke(cli.app, asked).stderr


def test_a_decision_in_review_needs_no_new_edition(folder: Path) -> None:
    (folder / "words.csv").write_text("list,written,decision\npart,zibbler,level sensor\n")
    (folder / "workshop.toml").unlink()
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        workshop.take_decisions(folder / "words.csv")
        assert parts(workshop) == ["level sensor"]
        assert not workshop.status()["word_lists_changed"]
