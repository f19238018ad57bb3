"""Work that is killed half way leaves all or none behind, and can be done again.

Here at the worst moments, chosen; ``tests/benchmarks/robustness/kill.py`` kills at random ones.
"""

from __future__ import annotations

import importlib
import operator
import os
import shutil
import signal
from pathlib import Path

import pytest

import sql
from pipeline import Workshop
from tests.command_in_fork import in_fork

HEADER = "visit_date,appliance_kind,job_no,customer_ref,complaint\n"
LINES = [f"2024-03-0{n + 1},oven,J{n},C-10{n}47,not hot - C-10{n}47 wants a call" for n in range(6)]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("killed")
    (folder / "some.csv").write_text(HEADER + "\n".join(LINES[:4]), encoding="utf-8")
    (folder / "more.csv").write_text(HEADER + "\n".join(LINES[4:]), encoding="utf-8")
    with Workshop.open(folder / "w.duckdb") as workshop:
        workshop.load([folder / "some.csv"])
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return shutil.copytree(made, tmp_path / "shop")


def killed(folder: Path, module: str, function: str, command: str) -> None:
    """Run a command in a process that kills itself where it would call a function."""

    def lie_in_wait() -> None:
        *owner, name = function.split(".")
        place = importlib.import_module(module)
        place = operator.attrgetter(".".join(owner))(place) if owner else place
        setattr(place, name, lambda *_, **__: os.kill(os.getpid(), signal.SIGKILL))

    assert in_fork(folder, command, lie_in_wait, db="w.duckdb").status == -signal.SIGKILL


@pytest.mark.parametrize(
    ("module", "function"),
    [("sql", "rebuild"), ("pipeline.load.load", "drop_temporary")],
)
def test_a_killed_load_is_there_whole_or_not_at_all(folder: Path, module: str, function: str) -> None:
    killed(folder, module, function, "load more.csv")
    with Workshop.open(folder / "w.duckdb") as workshop:
        connection = workshop.database.connection
        counts = connection.execute(
            "select (select count(*) from raw_record), (select count(*) from visit), (select count(*) from load_batch)"
        ).fetchall()[0]
        assert counts == ((6, 6, 2) if function == "drop_temporary" else (4, 4, 1))
        totals = workshop.load([folder / "more.csv"]).as_json()["totals"]
        assert totals["loaded"] + totals["unchanged"] == 2
        assert connection.execute("select count(*) from visit").fetchall() == [(6,)]
        assert not {name: rows for name, rows in sql.offenders(connection).items() if len(rows)}


@pytest.mark.parametrize(
    ("module", "function"),
    [
        ("pipeline.upkeep.forget", "_erase_written"),
        ("pipeline.upkeep.forget", "_erase_in_files"),
        ("pipeline.store.database", "Database.compact"),
        ("pipeline.upkeep.forget", "_search"),
    ],
)
def test_a_killed_forget_is_finished_by_the_next(folder: Path, module: str, function: str) -> None:
    killed(folder, module, function, "forget C-10147 --yes")
    with Workshop.open(folder / "w.duckdb") as workshop:
        assert workshop.forget("C-10147")["proof"]["found"] == 0
        texts = workshop.database.connection.execute("select complaint from visit order by job_no").fetchall()
    assert len(texts) == 4
    assert "C-10147" not in str(texts)
    assert b"C-10147" not in (folder / "w.duckdb").read_bytes()


def test_a_load_stopped_by_its_user_says_so_and_leaves_nothing(folder: Path) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    ran = in_fork(folder, "load more.csv", lambda: setattr(sql, "rebuild", stop), db="w.duckdb")
    assert ran.status == 130
    assert "Stopped before the end" in ran.err
    with Workshop.open(folder / "w.duckdb", read_only=True) as workshop:
        assert len(workshop.table("load_batch")) == 1
