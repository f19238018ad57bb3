"""A workshop of every older version of the tables is brought up to date whole, and everything works on it."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

import sql
from pipeline import Workshop
from pipeline.store.backup import restore_backup
from pipeline.store.database import Database
from tests.command_in_fork import in_fork

KEPT = sorted((Path(__file__).parents[1] / "old_workshops").glob("version-*.zip"))
COLUMNS = (
    "select table_name, column_name, data_type, is_nullable, comment from duckdb_columns() "
    "where not internal and schema_name = 'main' order by all"
)
RAW = [file.table for file in sql.table_files() if file.folder == "10_raw"]


def version(path: Path) -> int:
    return int(path.stem.removeprefix("version-"))


@pytest.fixture(params=KEPT, ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A folder with the workshop as the program of that version left it."""
    restore_backup(request.param, tmp_path / "w.duckdb")
    with duckdb.connect(tmp_path / "w.duckdb", read_only=True) as connection:
        assert connection.execute("select version from database_version").fetchall() == [(version(request.param),)]
    return tmp_path


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


def test_opening_brings_it_up_to_date_and_keeps_a_copy_of_it_as_it_was(old: Path) -> None:
    with duckdb.connect(old / "w.duckdb", read_only=True) as connection:
        before = raw_rows(connection)
        columns = connection.execute(COLUMNS).fetchall()
    with Database.open(old / "w.duckdb") as database, Database.open(old / "new.duckdb") as new:
        connection = database.connection
        assert connection.execute("select version from database_version").fetchall() == [(sql.SCHEMA_VERSION,)]
        assert {name: as_before(connection, name, columns) for name in before} == before
        assert connection.execute(COLUMNS).fetchall() == new.connection.execute(COLUMNS).fetchall()
        assert not {name: rows for name, rows in sql.offenders(connection).items() if rows}
        assert connection.execute("select count(*) from visit").fetchall() == [(len(before["stage_visit"]),)]
    with duckdb.connect(old / f"w.before-version-{sql.SCHEMA_VERSION}.duckdb", read_only=True) as connection:
        assert raw_rows(connection) == before
        assert connection.execute(COLUMNS).fetchall() == columns


@pytest.mark.parametrize("old", [KEPT[0], KEPT[-1]], indirect=True, ids=lambda path: path.stem)
def test_it_is_brought_up_to_date_whole_or_not_at_all(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with duckdb.connect(old / "w.duckdb", read_only=True) as connection:
        before = connection.execute(COLUMNS).fetchall(), raw_rows(connection)

    def fails(_: duckdb.DuckDBPyConnection) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patched:
        patched.setattr(sql, "rebuild", fails)
        with pytest.raises(ZeroDivisionError):
            Database.open(old / "w.duckdb")
    with duckdb.connect(old / "w.duckdb", read_only=True) as connection:
        assert (connection.execute(COLUMNS).fetchall(), raw_rows(connection)) == before
    Database.open(old / "w.duckdb").close()


def test_every_command_runs_on_it(old: Path, request: pytest.FixtureRequest) -> None:
    (old / "more.csv").write_text("visit_date,appliance_kind,job_no,complaint\n2026-08-01,oven,K1,not hot\n")
    (old / "day.csv").write_text("appliance_kind,complaint\nwashing machine,not draining\n")
    (old / "words.csv").write_text("list,written,decision\ncomplaint,wibble,nothing\n")
    first = in_fork(old, "status", db="w.duckdb")  # opened to read, it is brought up to date all the same
    assert first.status == 0
    assert f"w.before-version-{sql.SCHEMA_VERSION}.duckdb" in first.err
    with Workshop.open(old / "w.duckdb", read_only=True) as workshop:
        customers = workshop.table("visit")["customer_hash"].nunique()
        columns = {column["column"]: column["given"] for column in workshop.status()["columns"]}
    assert customers > 10
    assert columns["complaint"] > 100
    asked = in_fork(old, "causes --kind w/m --complaint leaks", db="w.duckdb")
    has_older_model = version(request.node.callspec.params["old"]) < 4
    assert (asked.status, "run priorjobs train" in asked.err) == ((2, True) if has_older_model else (0, False))
    every_other = (  # the others have the same tables by then
        "train", "causes --kind w/m --complaint leaks", "models", "models use 0002", "round day.csv", "report", "review",
        "export rejected_record refused.csv", "backup kept.zip", "restore kept.zip --db new.duckdb",
    ) if request.node.callspec.params["old"] == KEPT[0] else ()  # fmt: skip
    for words in ("load more.csv", "review --decisions words.csv", "forget C-1001 --yes", *every_other):
        ran = in_fork(old, words, db="w.duckdb")
        assert ran.status == 0, (words, ran)
        assert "up to date" not in ran.err
    if every_other:
        assert "is not a" in (old / "refused.csv").read_text(encoding="utf-8")
