"""Every command meets full disks, read-only places and damaged files: one clear sentence, the right status, nothing lost.

Each runs in a copy of one small workshop and in a process of its own, forked so that little is imported twice: there
the disk is made full (no file may grow beyond so many bytes), and a root user is bound by the rights of files.
"""

from __future__ import annotations

import os
import random
import resource
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pytest

import sql
from pipeline import Workshop
from pipeline.errors import LayoutError
from pipeline.load.hashes import load_key
from pipeline.store.backup import write_backup
from tests.command_in_fork import Ran, bound_by_rights, in_fork
from tests.worlds.demo_sample import learned
from tests.worlds.shared import times

COMMANDS = {
    "load": "load more.csv",
    "train": "train",
    "causes": "causes --kind w/m --complaint leaks",
    "round": "round day.csv",
    "report": "report 2025-02",
    "review": "review",
    "decide": "review --decisions words.csv",
    "export": "export visit visits.csv",
    "export xlsx": "export visit visits.xlsx",
    "export parquet": "export visit visits.parquet",
    "forget": "forget C-7 --yes",
    "backup": "backup new.zip",
    "restore": "restore kept.zip --db new.duckdb",
    "status": "status",
    "models": "models",
    "use": "models use 0001",
    "advice": "advice",
    "demo": "demo",
    "words": "words new fr",
}
OPENING = ["load", "causes", "backup", "status", "models"]
"""One for each way of opening: to write, to read, to copy, as it is found."""
WRITING = ["load", "round", "export", "export xlsx", "export parquet", "forget", "backup", "restore", "use", "words"]
"""One for each way of writing: the database, a page, a table, an archive, what lies beside the database, a new file."""
CHANGING = ["load", "forget"]
PLACES = {
    "round": "round.html", "review": "review.csv", "export xlsx": "visits.xlsx", "export parquet": "visits.parquet",
    "backup": "new.zip", "restore": "new.duckdb",
}  # fmt: skip
INPUTS = {"load": "more.csv", "round": "day.csv", "decide": "words.csv", "restore": "kept.zip"}
OLD = {"round": ("round.html", b"<!doctype html>old"), "export": ("visits.csv", b"visit_id,old")}
"""What stands in the place of an output before: a file of the same form, which a command may replace (text forms)."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workshop with jobs, two models and a backup; read it, never change it."""
    folder = shutil.copytree(learned(), tmp_path_factory.mktemp("faults") / "made")
    header = "visit_date,appliance_kind,job_no,complaint\n"
    (folder / "more.csv").write_text(header + "2025-08-01,oven,K1,not hot\n", encoding="utf-8")
    (folder / "day.csv").write_text("appliance_kind,complaint\nwashing machine,not draining\n", encoding="utf-8")
    (folder / "words.csv").write_text("list,written,decision\npart,grommet plate,drain pump\n", encoding="utf-8")
    shutil.copytree(folder / "workshop.models" / "0001", folder / "workshop.models" / "0002")
    write_backup(folder / "workshop.duckdb", folder / "kept.zip")
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    place = tmp_path / "shop"
    shutil.copytree(made, place)
    return place


def run(folder: Path, command: str, inside: Callable[[], Any] = lambda: None) -> Ran:
    return in_fork(folder, COMMANDS.get(command, command), inside)


def full_disk(most: int) -> Callable[[], None]:
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))


def files(folder: Path) -> dict[str, bytes]:
    """Every file in the folder, byte for byte, but for an empty log that the database leaves."""
    found = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {name: content for name, content in found.items() if content or not name.endswith(".wal")}


def state(folder: Path) -> dict[str, Any]:
    """What the workshop holds; its tables keep their rules."""
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        connection = workshop.database.connection
        assert not {name: rows for name, rows in sql.offenders(connection).items() if rows}
        queries = {
            "parts": "select part, count(*) from stage_part group by all order by 1",
            "customers": "select count(distinct customer_hash) from visit where not customer_hash like 'erased%'",
        } | {table: f"select count(*) from {table}" for table in ("raw_record", "visit", "load_batch")}
        held: dict[str, Any] = {name: connection.execute(query).fetchall() for name, query in queries.items()}
    return held | {"files": sorted(set(files(folder)) - {"workshop.duckdb.wal"})}


def told_well(ran: Ran, status: int | tuple[int, ...], *words: str) -> None:
    """A sentence and a remedy, nothing of Python, nothing on standard output."""
    assert ran.status in (status if isinstance(status, tuple) else (status,)), ran
    assert ran.out == "", ran
    assert "Traceback" not in ran.err, ran.err
    assert "bug in priorjobs" not in ran.err, ran.err
    what, remedy = ran.err.strip().splitlines()[-2:]
    assert what.endswith((".", "?", ")")), what
    assert len(remedy.split()) >= 3, remedy
    assert len(what) < 400, what
    for word in words:
        assert word in what.lower() if word.islower() else word in what, what


@pytest.mark.parametrize("command", [*WRITING, "train"])
def test_a_full_disk_is_named_and_all_is_as_it_was(command: str, folder: Path) -> None:
    if command in OLD:
        place, content = OLD[command]
        (folder / place).write_bytes(content)
    before = files(folder)
    told_well(run(folder, command, full_disk(0)), (2, 3), "full")
    assert files(folder) == before


@pytest.mark.parametrize("command", [command for command in CHANGING if command != "forget"])
def test_a_disk_that_fills_in_the_middle_changes_all_or_nothing(command: str, folder: Path) -> None:
    before = state(folder)
    told_well(run(folder, command, full_disk(10_000)), 3, "full")
    assert state(folder) == before
    assert run(folder, command).status == 0
    assert state(folder) != before


def test_a_disk_that_fills_before_the_file_is_written_anew_says_what_is_erased(folder: Path) -> None:
    before = state(folder)
    told_well(run(folder, "forget", full_disk(100_000)), 3, "full", "still lies in free blocks")
    assert state(folder) != before
    assert run(folder, "forget").status == 0


@pytest.mark.parametrize("command", [*WRITING, "train"])
def test_a_read_only_folder_is_named(command: str, folder: Path) -> None:
    before = files(folder)
    for place in (folder, folder / "workshop.models"):
        place.chmod(0o555)
    told_well(run(folder, command, bound_by_rights), (2, 3), "permission denied")
    assert files(folder) == before


@pytest.mark.parametrize("command", ["load", "forget"])
def test_a_read_only_database_is_named(command: str, folder: Path) -> None:
    (folder / "workshop.duckdb").chmod(0o444)
    told_well(run(folder, command, bound_by_rights), 3, "workshop.duckdb", "permission denied")


@pytest.mark.parametrize("command", ["causes", "status", "models", "review"])
def test_a_read_only_workshop_still_answers(command: str, folder: Path) -> None:
    (folder / "workshop.duckdb").chmod(0o444)
    assert run(folder, command, bound_by_rights).status == 0


def test_a_database_cut_short_is_called_damaged_whoever_opens_it(folder: Path) -> None:
    content = (folder / "workshop.duckdb").read_bytes()[: (folder / "workshop.duckdb").stat().st_size // 2]
    (folder / "workshop.duckdb").write_bytes(content)
    for command in OPENING:
        told_well(run(folder, command), 3, "workshop.duckdb", "damaged")
    assert (folder / "workshop.duckdb").read_bytes() == content


def overwrite(path: Path, seed: int) -> None:
    """Bytes at forty places, anywhere in the file, are others now."""
    rng = random.Random(seed)
    content = bytearray(path.read_bytes())
    for _ in range(40):
        place = rng.randrange(len(content) - 100)
        content[place : place + 100] = rng.randbytes(100)
    path.write_bytes(content)


@pytest.mark.parametrize("seed", range(times(3)))
def test_a_database_damaged_at_random_is_read_right_or_called_damaged(seed: int, made: Path, tmp_path: Path) -> None:
    path = tmp_path / "workshop.duckdb"
    shutil.copy(made / "workshop.duckdb", path)
    overwrite(path, seed)
    for command in ("status", "export visit visits.csv"):
        ran = run(tmp_path, command)
        if ran.status:
            told_well(ran, 3, "workshop.duckdb")


DAMAGE: dict[str, Callable[[Path], Any]] = {
    "noise": lambda path: path.write_bytes(random.Random(1).randbytes(300_000)),
    "empty": lambda path: path.write_bytes(b""),
    "a header only": lambda path: path.write_bytes(path.read_bytes()[:5000]),
    "a folder": lambda path: (path.unlink(), path.mkdir()),
    "another's database": lambda path: (
        path.unlink(),
        duckdb.connect(path).execute("create table visit (a int)").close(),
    ),
}


@pytest.mark.parametrize(
    ("damage", "command"),
    [*((damage, "status") for damage in DAMAGE), ("noise", "load"), ("another's database", "load")],
)
def test_what_is_no_workshop_is_refused(damage: str, command: str, folder: Path) -> None:
    DAMAGE[damage](folder / "workshop.duckdb")
    told_well(run(folder, command), (2, 3), "workshop.duckdb")


def test_a_newer_database_is_refused_whoever_opens_it(folder: Path) -> None:
    with duckdb.connect(folder / "workshop.duckdb") as connection:
        connection.execute("update database_version set version = version + 1")
    before = (folder / "workshop.duckdb").read_bytes()
    for command in ("load", "status", "forget", "backup"):
        told_well(run(folder, command), 3, "newer priorjobs")
    assert (folder / "workshop.duckdb").read_bytes() == before


MODELS: dict[str, Callable[[Path], Any]] = {
    "weights noise": lambda models: (models / "0001" / "weights.npz").write_bytes(b"noise" * 100),
    "card cut": lambda models: (models / "0001" / "card.json").write_text("{"),
    "a file gone": lambda models: (models / "0001" / "model.json").unlink(),
    "the folder gone": lambda models: shutil.rmtree(models / "0001"),
    "the pointer cut": lambda models: (models / "in_use.json").write_text("{"),
    "the pointer elsewhere": lambda models: (models / "in_use.json").write_text('{"model": "../0001"}'),
}


@pytest.mark.parametrize("damage", MODELS)
def test_a_damaged_model_is_named(damage: str, folder: Path) -> None:
    MODELS[damage](folder / "workshop.models")
    told_well(run(folder, "causes"), 2)


@pytest.mark.parametrize("damage", ["weights noise", "the pointer cut"])
def test_beside_a_damaged_model_another_can_be_used(damage: str, folder: Path) -> None:
    MODELS[damage](folder / "workshop.models")
    assert "0002" in run(folder, "models").out
    assert run(folder, "models use 0002").status == 0
    with Workshop.open(folder / "workshop.duckdb", read_only=True) as workshop:
        assert workshop.status()["model"]["name"] == "0002"


def test_models_that_are_gone_leave_common_practice(folder: Path) -> None:
    shutil.rmtree(folder / "workshop.models")
    assert run(folder, "causes").status == 0
    assert "priorjobs train" in run(folder, "status").out


def test_a_file_in_the_place_of_the_models_is_named(folder: Path) -> None:
    shutil.rmtree(folder / "workshop.models")
    (folder / "workshop.models").write_text("x", encoding="utf-8")
    told_well(run(folder, "train"), 2, "workshop.models", "not a directory")


KEYS: dict[str, Callable[[Path], Any]] = {
    "gone": lambda key: key.unlink(),
    "no key": lambda key: key.write_text("zz"),
    "cut": lambda key: key.write_text(key.read_text()[:10]),
    "a folder": lambda key: (key.unlink(), key.mkdir()),
}


@pytest.mark.parametrize(("damage", "command"), [*((damage, "load") for damage in KEYS), ("gone", "forget")])
def test_without_its_key_no_customer_is_hashed_or_called_forgotten(damage: str, command: str, folder: Path) -> None:
    KEYS[damage](folder / "workshop.key")
    before = files(folder)
    told_well(run(folder, command), 3, "workshop.key")
    assert files(folder) == before


def test_a_key_that_others_may_read_is_closed_again(tmp_path: Path) -> None:
    key = load_key(tmp_path / "w.key")
    (tmp_path / "w.key").chmod(0o644)
    assert load_key(tmp_path / "w.key") == key
    assert (tmp_path / "w.key").stat().st_mode & 0o777 == 0o600


def test_a_key_that_cannot_be_read_is_named(folder: Path) -> None:
    (folder / "workshop.key").chmod(0o000)
    told_well(run(folder, "load", bound_by_rights), 3, "workshop.key")
    told_well(run(folder, "backup", bound_by_rights), 2, "workshop.key")
    assert not list(folder.glob("new.zip*"))


@pytest.mark.parametrize("command", PLACES)
def test_a_folder_where_a_file_is_to_be_written_is_named(command: str, folder: Path) -> None:
    (folder / PLACES[command]).mkdir()
    told_well(run(folder, command), 2, PLACES[command])


@pytest.mark.parametrize(("command", "name"), [("report --all", "reports"), ("demo", "demo-workshop")])
def test_a_file_where_a_folder_is_to_be_made_is_named(command: str, name: str, folder: Path) -> None:
    (folder / name).write_text("x", encoding="utf-8")
    before = files(folder)
    told_well(run(folder, command), 2, name)
    assert files(folder) == before


@pytest.mark.parametrize("command", INPUTS)
@pytest.mark.parametrize("how", ["other kind", "gone", "noise"])
def test_an_input_of_the_wrong_kind_is_named(command: str, how: str, folder: Path) -> None:
    place = folder / INPUTS[command]
    if how == "noise":
        place.write_bytes(random.Random(2).randbytes(3000))
    else:
        place.unlink()
        if how == "other kind":
            place.mkdir()
    before = files(folder)
    told_well(run(folder, command), 2, place.name)
    assert files(folder) == before


def test_settings_that_cannot_be_read_are_not_passed_over(folder: Path) -> None:
    (folder / "workshop.toml").mkdir()
    told_well(run(folder, "status"), 2, "workshop.toml", "it is a folder")


def test_a_full_disk_ends_the_demo_in_a_sentence(tmp_path: Path) -> None:
    told_well(run(tmp_path, "demo", full_disk(100_000)), (2, 3), "full")


def test_the_demo_takes_no_workshop_for_its_own(folder: Path) -> None:
    for path in folder.glob("w.*"):
        path.rename(path.with_stem("workshop"))
    before = files(folder)
    told_well(run(folder, "demo --folder ."), 2, "workshop.duckdb")
    assert files(folder) == before


@pytest.mark.parametrize("words", ["status", "status --json", "--help", "models", "nonsense --json"])
def test_standard_output_on_a_full_disk_ends_in_a_sentence(words: str, folder: Path) -> None:
    def to_full() -> None:
        os.dup2(os.open("/dev/full", os.O_WRONLY), 1)

    ran = run(folder, words, to_full)
    assert ran.status == 2
    assert ran.err.count("\n") <= 2, ran.err
    assert ran.err.count("\n") >= 1
    assert "Traceback" not in ran.err


def test_no_folder_for_temporary_files_is_named(folder: Path) -> None:
    def nowhere() -> None:
        import tempfile

        tempfile.tempdir = str(folder / "nowhere")

    told_well(run(folder, "status", nowhere), 3, "temporary")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_settings_and_word_lists_that_are_pipes_are_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "w.toml").write_text('word_lists = ["pipe.toml"]\n')
    with Workshop.open(tmp_path / "w.duckdb") as opened, pytest.raises(LayoutError, match="pipe or a device"):
        _ = opened.words
    (tmp_path / "w.toml").unlink()
    os.mkfifo(tmp_path / "w.toml")
    with pytest.raises(LayoutError, match="pipe or a device"), Workshop.open(tmp_path / "w.duckdb") as opened:
        _ = opened.settings
