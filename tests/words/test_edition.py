"""A changed word list reaches every visit: the next load reads what is held again, and `status` says so before."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop

JOBS = (
    "visit_date,appliance_kind,job_no,complaint,parts,outcome\n2025-01-0{day},W/M,J{day},not draining,zibbler,fixed\n"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for day in (1, 2):
        (tmp_path / f"{day}.csv").write_text(JOBS.format(day=day))
    with Workshop.open(tmp_path / "workshop.duckdb") as workshop:
        workshop.load([tmp_path / "1.csv"])
        assert not workshop.status()["word_lists_changed"]
    (tmp_path / "own.toml").write_text('[[part]]\nterm = "drain pump"\nwritten = ["zibbler"]\n')
    (tmp_path / "workshop.toml").write_text('word_lists = ["own.toml"]\n')
    return tmp_path


def parts(workshop: Workshop) -> list[str]:
    return sorted(workshop.table("part_fitted")["part"])


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


def test_a_decision_in_review_needs_no_new_edition(folder: Path) -> None:
    (folder / "words.csv").write_text("list,written,decision\npart,zibbler,level sensor\n")
    (folder / "workshop.toml").unlink()
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        workshop.take_decisions(folder / "words.csv")
        assert parts(workshop) == ["level sensor"]
        assert not workshop.status()["word_lists_changed"]
