"""A workshop of every older version of the tables is brought up to date whole, and everything works on it."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import duckdb
import pytest

import sql
from pipeline import Workshop
from pipeline.store.backup import restore_backup
from pipeline.store.database import Database
from pipeline.train import train as learning
from tests.command_in_fork import Ran, in_fork
from tests.worlds import empty

DB = "w.duckdb"
ASKED = "causes --kind w/m --complaint leaks"
KEPT = sorted((Path(__file__).parents[1] / "old_workshops").glob("version-*.zip"))
COLUMNS = (
    "select table_name, column_name, data_type, is_nullable, comment from duckdb_columns() "
    "where not internal and schema_name = 'main' order by all"
)
RAW = [file.table for file in sql.table_files() if file.folder == "10_raw"]


def version(path: Path) -> int:
    return int(path.stem.removeprefix("version-"))


class BroughtUp(NamedTuple):
    """A workshop as an older program left it, after today's program was asked for its status: read it, never change it."""

    version: int
    folder: Path
    columns: list[tuple]
    rows: dict[str, list[tuple]]
    ran: Ran


def as_it_was(sample: Path, folder: Path) -> tuple[list[tuple], dict[str, list[tuple]]]:
    """Unpack a sample; the columns of its tables, and the rows of those that loads fill."""
    restore_backup(sample, folder / DB)
    with duckdb.connect(folder / DB, read_only=True) as connection:
        assert connection.execute("select version from database_version").fetchall() == [(version(sample),)]
        return connection.execute(COLUMNS).fetchall(), raw_rows(connection)


@pytest.fixture(scope="module", params=KEPT, ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> BroughtUp:
    folder = tmp_path_factory.mktemp(request.param.stem)
    columns, rows = as_it_was(request.param, folder)
    return BroughtUp(version(request.param), folder, columns, rows, in_fork(folder, "status", db=DB))


def raw_rows(connection: duckdb.DuckDBPyConnection) -> dict[str, list[tuple]]:
    there = {name for (name,) in connection.execute("select table_name from duckdb_tables()").fetchall()}
    return {name: connection.execute(f"from {name} order by all").fetchall() for name in RAW if name in there}


def as_before(connection: duckdb.DuckDBPyConnection, table: str, columns: list[tuple]) -> list[tuple]:
    """The rows in the columns that the older version had; what it did not have is not known, or off."""
    had = {column for name, column, *_ in columns if name == table}
    there = [c for c, *_ in connection.execute(f"describe {table}").fetchall()]
    given = [f"coalesce({c}::varchar, 'false') <> 'false'" for c in there if c not in had]
    assert not connection.execute(f"from {table} where {' or '.join(given) or 'false'}").fetchall()
    return connection.execute(f"select {', '.join(c for c in there if c in had)} from {table} order by all").fetchall()


def test_every_version_before_this_one_has_its_sample() -> None:
    assert [version(path) for path in KEPT] == list(range(1, sql.SCHEMA_VERSION))
    assert all(path.stat().st_size < 300_000 for path in KEPT)


def test_opening_brings_it_up_to_date_and_keeps_a_copy_of_it_as_it_was(old: BroughtUp) -> None:
    """Opened to read, it is brought up to date all the same."""
    kept = f"w.before-version-{sql.SCHEMA_VERSION}.duckdb"
    assert old.ran.status == 0
    assert kept in old.ran.err
    with (
        duckdb.connect(old.folder / DB, read_only=True) as connection,
        duckdb.connect(empty.made() / empty.NAME, read_only=True) as new,
    ):
        assert connection.execute("select version from database_version").fetchall() == [(sql.SCHEMA_VERSION,)]
        assert {name: as_before(connection, name, old.columns) for name in old.rows} == old.rows
        assert connection.execute(COLUMNS).fetchall() == new.execute(COLUMNS).fetchall()
        assert not {name: rows for name, rows in sql.offenders(connection).items() if rows}
        assert connection.execute("select count(*) from visit").fetchall() == [(len(old.rows["stage_visit"]),)]
    with duckdb.connect(old.folder / kept, read_only=True) as connection:
        assert raw_rows(connection) == old.rows
        assert connection.execute(COLUMNS).fetchall() == old.columns


def test_it_is_brought_up_to_date_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = as_it_was(KEPT[0], tmp_path)

    def fails(_: duckdb.DuckDBPyConnection) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patched:
        patched.setattr(sql, "rebuild", fails)
        with pytest.raises(ZeroDivisionError):
            Database.open(tmp_path / DB)
    with duckdb.connect(tmp_path / DB, read_only=True) as connection:
        assert (connection.execute(COLUMNS).fetchall(), raw_rows(connection)) == before
    Database.open(tmp_path / DB).close()


@pytest.mark.parametrize("old", KEPT[:1], indirect=True, ids=lambda path: path.stem)
def test_it_is_counted_and_asked(old: BroughtUp) -> None:
    """A model of an older form says what to do. The oldest: the others have the same tables by then."""
    with Workshop.open(old.folder / DB, read_only=True) as workshop:
        customers = workshop.table("visit")["customer_hash"].nunique()
        columns = {column["column"]: column["given"] for column in workshop.status()["columns"]}
    assert customers > 10
    assert columns["complaint"] > 100
    asked = in_fork(old.folder, ASKED, db=DB)
    assert (asked.status, "run priorjobs train" in asked.err) == (2, True)


def of_few_jobs() -> None:
    """Learn from the newest jobs alone: from all of them takes most of the time."""
    every = learning.examples
    learning.examples = lambda database: every(database).tail(30)


def test_commands_of_each_kind_run_on_it(tmp_path: Path, quick_training: None) -> None:
    """On the oldest: the others have the same tables by then, and once loaded all have those of a new workshop."""
    as_it_was(KEPT[0], tmp_path)
    (tmp_path / "more.csv").write_text("visit_date,appliance_kind,job_no,complaint\n2026-08-01,oven,K1,not hot\n")
    for place, words in enumerate((
        "load more.csv", "forget C-1001 --yes", "train", ASKED, "models", "report",
        "export rejected_record refused.csv", "backup kept.zip",
    )):  # fmt: skip
        ran = in_fork(tmp_path, words, of_few_jobs, db=DB)
        assert ran.status == 0, (words, ran)
        assert ("up to date" in ran.err) == (place == 0)
    assert "is not a" in (tmp_path / "refused.csv").read_text(encoding="utf-8")
