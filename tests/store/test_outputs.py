"""No option that names an output file can harm a workshop, its own input, or what else is there."""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline import Workshop, cli
from pipeline.errors import PriorjobsError, UsageError
from pipeline.store.atomic_write import whole

JOBS = (
    "visit_date,appliance_kind,job_no,customer_ref,complaint,cause,outcome\n"
    "2025-01-02,W/M,J1,C-1,not draining,blocked filter,fixed\n"
    "2025-02-12,W/M,J2,C-2,leaks,torn door seal,fixed\n"
)
OPTIONS = {
    "report --out": "report --out {}",
    "report --pdf": "report --out fine.html --pdf {}",
    "report --xlsx": "report --out fine.html --xlsx {}",
    "review --out": "review --out {}",
    "round --out": "round day.csv --out {}",
    "export": "export visit {}",
    "backup": "backup {}",
    "backtest --out": "backtest --out {}",
    "causes --record": "causes --kind oven -i --record {}",
    "load --save-layout": "load more.csv --save-layout {}",
    "words new --out": "words new fr --out {}",
}
FOLDERS = {
    "report --png": ("report --out fine.html --chart fix-by-month --png {}", "fix-by-month.png"),
    "report --all --out": ("report --all --out {}", "index.html"),
}
FEW = ("w.duckdb", "w.models/0001/card.html", "link.html", "letter.docx", "-")
ALL_TRIED = ("backup", "causes --record")  # all ask one function: the whole list where little else is done
TAKEN = (
    "w.duckdb", "w.key", "w.toml", "w.models/0001/card.html", "w.models/new.html", "w.lock", "other.duckdb", "other.key",
    "other.toml", "link.html", "hard.html", "sub/../w.duckdb", "jobs.csv", "letter.docx", "kept.zip", "layout.toml", "-",
)  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    (folder / "jobs.csv").write_text(JOBS)
    (folder / "more.csv").write_text(JOBS.replace("J", "K"))
    (folder / "day.csv").write_text("appliance_kind,complaint\nwashing machine,not draining\n")
    (folder / "letter.docx").write_bytes(b"\xd0\xcf\x11\xe0 a letter")
    (folder / "layout.toml").write_text('[columns]\nvisit_date = "Day"\n')
    (folder / "sub").mkdir()
    (folder / "w.toml").write_text("window_days = 28\n")
    with Workshop.open(folder / "w.duckdb") as workshop:
        workshop.load([folder / "jobs.csv"])
    (folder / "w.models" / "0001").mkdir(parents=True)
    (folder / "w.models" / "0001" / "card.html").write_text("<!doctype html>a card")
    for ending in ("duckdb", "key", "toml"):
        shutil.copy(folder / f"w.{ending}", folder / f"other.{ending}")
    shutil.copytree(folder / "w.models", folder / "other.models")
    run("backup kept.zip", folder)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    place = tmp_path / "shop"
    shutil.copytree(made, place)
    (place / "link.html").symlink_to("w.duckdb")
    (place / "hard.html").hardlink_to(place / "w.duckdb")
    return place


def run(words: str, folder: Path) -> BaseException | None:
    """What one command raises when it is run in the folder, on ``w.duckdb``."""
    before = Path.cwd()
    os.chdir(folder)
    try:
        return CliRunner().invoke(cli.app, words.split(), env={"PRIORJOBS_DB": "w.duckdb"}, input="").exception
    finally:
        os.chdir(before)


def contents(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() + str(path.is_symlink())
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "fine.html"
    }


@pytest.mark.parametrize("option", OPTIONS)
def test_nothing_is_written_over(option: str, folder: Path) -> None:
    before = contents(folder)
    for taken in TAKEN if option in ALL_TRIED else FEW:
        name = taken
        if option == "export" and not taken.endswith(".csv"):
            name = f"{taken}.csv"  # other endings name no form; the same file under an ending that does
            if not (folder / taken).exists():
                continue
            (folder / name).symlink_to((folder / taken).resolve())
        if option == "causes --record" and taken == "jobs.csv":
            continue  # it adds a line to a file of records: that is what it is for
        raised = run(OPTIONS[option].format(name), folder)
        assert isinstance(raised, PriorjobsError), (name, raised)
        if name != taken:
            (folder / name).unlink()
        assert contents(folder) == before, name


@pytest.mark.parametrize("option", FOLDERS)
def test_nothing_is_written_over_in_a_folder(option: str, folder: Path) -> None:
    words, name = FOLDERS[option]
    if option != "report --png":  # it draws first, and the same link is refused below
        assert isinstance(run(words.format("w.models/0001"), folder), PriorjobsError)
    (folder / "pages").mkdir()
    (folder / "pages" / name).symlink_to(folder / "w.duckdb")
    before = contents(folder)
    assert isinstance(run(words.format("pages"), folder), UsageError)
    after = contents(folder)
    assert {path: after[path] for path in before} == before


@pytest.mark.parametrize(
    "words",
    [
        "round day.csv --out day.csv",
        "round day.csv --stock stock.html --out stock.html",
        "report --out a.html --pdf a.html",
    ],
)
def test_its_own_input_or_other_output_is_not_written_over(words: str, folder: Path) -> None:
    (folder / "stock.html").write_text("<!doctype html>part,quantity\n")
    before = contents(folder)
    assert isinstance(run(words, folder), UsageError)
    assert contents(folder) == before


@pytest.mark.parametrize("option", ["words new --out", "load --save-layout"])
def test_no_new_file_takes_a_name_that_a_workshop_would_read(option: str, folder: Path) -> None:
    (folder / "w.toml").unlink()
    (folder / "third.duckdb").touch()
    before = contents(folder)
    for name in ("w.toml", "third.toml", "new.duckdb", "new.key", "new.begun", "w.models/new.toml"):
        assert isinstance(run(OPTIONS[option].format(name), folder), UsageError), name
        assert contents(folder) == before


def test_a_demo_leaves_files_alone_that_no_demo_made(folder: Path) -> None:
    (folder / "sub" / "round.html").write_text("<!doctype html>ours")
    before = contents(folder)
    assert isinstance(run("demo --folder sub", folder), UsageError)
    assert contents(folder) == before


def test_two_workshops_share_no_page_for_which_no_place_was_named(folder: Path) -> None:
    assert run("report 2025-01", folder) is None and run("round day.csv", folder) is None
    before = contents(folder)
    assert {"w.report-2025-01.html", "w.round.html"} <= set(before)
    assert run("report 2025-01 --db other.duckdb", folder) is None
    assert run("round ../shop/day.csv --db ../shop/other.duckdb", folder) is None
    after = contents(folder)
    assert {name: after[name] for name in before} == before
    assert {"other.report-2025-01.html", "other.round.html"} <= set(after)


@pytest.mark.skipif(not Path("/dev/fd").exists(), reason="no names of open files here")
def test_a_pipe_is_written_as_it_is_whatever_its_name() -> None:
    read_end, write_end = os.pipe()
    with whole(Path(f"/dev/fd/{write_end}")) as draft:
        draft.write_text("page")
    os.close(write_end)
    with os.fdopen(read_end) as pipe:
        assert pipe.read() == "page"


def test_its_own_earlier_output_is_replaced_where_it_lies(folder: Path) -> None:
    (folder / "elsewhere").mkdir()
    (folder / "page.html").symlink_to(folder / "elsewhere" / "page.html")
    assert run("round day.csv --out page.html", folder) is None
    for words in (
        "export visit visits.csv",
        "export visit visits.xlsx",
        "review --out r.csv",
    ):
        for _ in range(2):
            assert run(words, folder) is None, words
    assert (folder / "page.html").is_symlink()
    (folder / "elsewhere" / "page.html").chmod(0o640)
    assert run("round day.csv --out page.html", folder) is None
    assert (folder / "elsewhere" / "page.html").stat().st_mode & 0o777 == 0o640
    (folder / "elsewhere" / "page.html").chmod(0o040)
    assert run("round day.csv --out page.html", folder) is None
    assert (folder / "elsewhere" / "page.html").stat().st_mode & 0o777 == 0o640  # what was written can be read
    assert not list(folder.rglob("*.unfinished"))
