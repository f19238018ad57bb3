"""Open, wait, refuse, all or nothing."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import duckdb
import pytest

import sql
from pipeline import Workshop
from pipeline.errors import DatabaseBusy, DatabaseUnusable, UsageError
from pipeline.store import database as database_module
from pipeline.store.database import Database
from pipeline.store.workshop_files import beside
from tests.command_in_fork import begun_in_fork
from tests.worlds.empty import empty_workshop

ROOT = Path(sql.__file__).parents[1]


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return empty_workshop(tmp_path / "shop.duckdb")


def hold(db: Path, seconds: float) -> subprocess.Popen:
    """Another process that keeps the database for writing."""
    code = f"""
    import duckdb, time, sys
    c = duckdb.connect({str(db)!r})
    print("held", flush=True)
    time.sleep({seconds})
    """
    holder = subprocess.Popen([sys.executable, "-c", textwrap.dedent(code)], stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None
    assert holder.stdout.readline() == "held\n"
    return holder


def test_reading_a_database_that_is_not_there_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="priorjobs load"):
        Database.open(tmp_path / "none.duckdb", read_only=True)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(DatabaseUnusable, match="no folder"):
        Database.open(tmp_path / "nowhere" / "shop.duckdb")


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "shop.duckdb"
    path.write_bytes(b"not a database" * 100)
    with pytest.raises(DatabaseUnusable, match="not a workshop database"):
        Database.open(path)
    assert path.read_bytes() == b"not a database" * 100


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
@pytest.mark.parametrize("read_only", [True, False])
def test_a_pipe_is_refused_at_once(read_only: bool, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "w.duckdb")
    with pytest.raises(DatabaseUnusable, match="pipe"):
        Database.open(tmp_path / "w.duckdb", read_only=read_only)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_in_the_place_of_the_lock_holds_nobody_up(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "w.lock")
    Database.open(empty_workshop(tmp_path / "w.duckdb")).close()


def test_a_damaged_file_is_refused(db: Path) -> None:
    content = bytearray(db.read_bytes())
    content[4096:5120] = b"z" * 1024
    db.write_bytes(content)
    with pytest.raises(DatabaseUnusable, match="damaged"):
        Database.open(db)


def test_a_newer_database_is_refused_and_not_touched(db: Path) -> None:
    with duckdb.connect(db) as connection:
        connection.execute("update database_version set version = version + 1")
    with pytest.raises(DatabaseUnusable, match="newer priorjobs"):
        Database.open(db)
    with duckdb.connect(db, read_only=True) as connection:
        assert connection.execute("select version from database_version").fetchall() == [(sql.SCHEMA_VERSION + 1,)]


def test_an_older_database_is_upgraded_with_a_copy_beside_it(db: Path) -> None:
    with duckdb.connect(db) as connection:
        connection.execute("update database_version set version = 0")
        connection.execute("drop view visit")
    with Database.open(db) as database:
        assert database.connection.execute("select count(*) from visit").fetchall() == [(0,)]
    kept = db.with_suffix(f".before-version-{sql.SCHEMA_VERSION}.duckdb")
    with duckdb.connect(kept, read_only=True) as connection:
        assert connection.execute("select version from database_version").fetchall() == [(0,)]


@pytest.mark.parametrize("read_only", [False, True])
def test_tables_built_by_other_sql_are_built_anew(
    read_only: bool, db: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with duckdb.connect(db) as connection:
        connection.execute("drop view month_summary")
    monkeypatch.setattr(sql, "fingerprint", lambda: "of files that changed")
    for says in ("Another program changed or dropped month_summary in shop.duckdb: built anew", ""):
        with Database.open(db, read_only=read_only) as database:
            assert database.connection.execute("select count(*) from month_summary").fetchall() == [(0,)]
        assert capsys.readouterr().err.startswith(says)
    assert not list(db.parent.glob("*before*"))


@pytest.mark.parametrize("read_only", [False, True])
@pytest.mark.parametrize(
    "statement",
    [
        "create or replace view visit as select * from stage_visit",
        "create or replace view visit as select 1 as a",
        "drop view visit",
        "drop table cured_cause",
    ],
)
def test_what_is_built_from_records_is_built_anew_where_another_program_changed_it(
    statement: str, read_only: bool, db: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Database.open(db) as database:
        before = database.connection.execute("describe visit").fetchall()
        database.snapshot(db.with_name("copy.duckdb"))
    copy = db.with_name("copy.duckdb")  # what the tables were made by goes along with them
    with duckdb.connect(copy) as connection:
        connection.execute(statement)
    with Database.open(copy, read_only=read_only) as database:
        assert database.connection.execute("describe visit").fetchall() == before
        assert database.connection.execute("select count(*) from cured_cause").fetchall() == [(0,)]
    changed = "cured_cause" if "cured_cause" in statement else "visit"
    assert capsys.readouterr().err == (
        f"Another program changed or dropped {changed} in copy.duckdb: built anew from the records.\n"
    )
    Database.open(copy).close()
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("drop table raw_record", "is damaged: it lacks raw_record"),
        ("drop table raw_record; create view raw_record as select 1 as a", "changed raw_record"),
        ("drop table raw_record; create table raw_record (a integer)", "changed raw_record"),
        ("alter table raw_record add column theirs varchar", "changed raw_record"),
        ("drop view visit; create table visit as select 1 as theirs", "changed visit"),
        ("drop table cured_cause; create table cured_cause as select 1 as theirs", "changed cured_cause"),
        ("alter table cured_cause add column theirs varchar", "changed cured_cause"),
    ],
)
def test_what_may_hold_rows_of_another_program_is_refused_and_left_alone(statement: str, says: str, db: Path) -> None:
    with duckdb.connect(db) as connection:
        connection.execute(statement)
        held = connection.execute("select sql from duckdb_tables() order by 1").fetchall()
    for read_only in (False, True):
        with pytest.raises(DatabaseUnusable, match=says):
            Database.open(db, read_only=read_only)
    with duckdb.connect(db) as connection:
        assert connection.execute("select sql from duckdb_tables() order by 1").fetchall() == held


@pytest.mark.parametrize("read_only", [False, True])
def test_waits_for_another_program_and_says_how_long(
    read_only: bool, db: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    holder = hold(db, 0.4)
    with Database.open(db, read_only=read_only) as database:
        assert database.connection.execute("select 1").fetchall() == [(1,)]
    seconds = database_module.READER_WAITS if read_only else database_module.WRITER_WAITS
    assert f"Waiting up to {seconds:.0f} seconds: another program is using shop.duckdb." in capsys.readouterr().err
    holder.communicate()
    assert holder.returncode == 0


@pytest.mark.parametrize("read_only", [False, True])
def test_gives_up_after_a_bounded_wait(read_only: bool, db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database_module, "READER_WAITS" if read_only else "WRITER_WAITS", 0.2)
    holder = hold(db, 30)
    try:
        with pytest.raises(DatabaseBusy, match="nothing was changed"):
            Database.open(db, read_only=read_only)
    finally:
        holder.kill()
        holder.communicate()


def test_a_reader_that_must_build_tables_first_waits_no_longer_than_a_reader(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database_module, "READER_WAITS", 0.2)
    code = f"import duckdb, time\nc = duckdb.connect({str(db)!r}, read_only=True)\nprint('held', flush=True)\ntime.sleep(90)"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        Database.open(db, read_only=True).close()  # readers share it
        monkeypatch.setattr(sql, "fingerprint", lambda: "of files that changed")
        os.utime(db)  # a file as it was is not looked through again by the same program
        with pytest.raises(DatabaseBusy, match="more than 0 seconds"):
            Database.open(db, read_only=True)
        holder.kill()


@pytest.mark.parametrize("read_only", [False, True])
def test_settings_that_changed_rebuild_the_tables(read_only: bool, db: Path) -> None:
    db.with_suffix(".toml").write_text("hour_rate = 61.5\n", encoding="utf-8")
    with Workshop.open(db, read_only=read_only) as workshop:
        assert workshop.table("setting")["hour_rate"].tolist() == [61.5]
        assert workshop.database.read_only is read_only


def test_loads_begun_at_once_wait_for_one_another_and_none_is_lost(tmp_path: Path) -> None:
    header = "visit_date,appliance_kind,job_no,complaint\n"
    loads = []
    for name in "ABC":
        (tmp_path / f"{name}.csv").write_text(f"{header}2025-01-02,oven,{name}1,not hot\n", encoding="utf-8")
        loads.append(begun_in_fork(tmp_path, f"load {name}.csv", db="shop.duckdb"))
    ran = [ended() for ended in loads]
    assert [load.status for load in ran] == [0, 0, 0], ran
    with duckdb.connect(tmp_path / "shop.duckdb", read_only=True) as connection:
        jobs = connection.execute("select job_no from visit order by 1").fetchall()
        batches = connection.execute("select count(distinct batch_id), sum(loaded) from load_batch").fetchall()
    assert jobs == [("A1",), ("B1",), ("C1",)]
    assert batches == [(3, 3)]


@pytest.mark.parametrize("first", [False, True])
@pytest.mark.parametrize("second", [False, True])
def test_opening_it_twice_in_one_program_says_so_and_harms_nothing(first: bool, second: bool, db: Path) -> None:
    with Database.open(db, read_only=first) as database:
        with pytest.raises(DatabaseBusy, match="already open in this program"):
            Database.open(db, read_only=second)
        assert database.connection.execute("select count(*) from visit").fetchall() == [(0,)]
    Database.open(db, read_only=second).close()


def test_what_a_killed_run_left_in_its_folder_is_removed_by_the_next(db: Path) -> None:
    code = f"""
    import os, signal
    from pipeline.store.database import Database
    database = Database.open({str(db)!r})
    (database.scratch / "jobs.csv").write_text("Ann Example, 07700 900123")
    print(database.scratch, flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
    """
    ran = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, cwd=ROOT, check=False
    )
    left = Path(ran.stdout.strip())
    assert (left / "jobs.csv").exists()
    os.utime(left, (0, 0))
    with Database.open(db) as running:
        assert not left.exists()
        os.utime(running.scratch, (0, 0))  # its process lives: the next leaves it alone
        Database.open(db.with_name("other.duckdb")).close()
        assert running.scratch.exists()


@pytest.mark.parametrize("made", ["table visit as", "view visit as", "macro visit() as table"])
def test_what_another_program_made_is_left_alone(tmp_path: Path, made: str) -> None:
    with duckdb.connect(tmp_path / "other.duckdb") as connection:
        connection.execute(f"create {made} select 1 as patient")
    for read_only in (True, False):
        with pytest.raises(DatabaseUnusable, match="another program"):
            Database.open(tmp_path / "other.duckdb", read_only=read_only)
    with duckdb.connect(tmp_path / "other.duckdb", read_only=True) as connection:
        assert connection.execute("from visit" + "()" * ("macro" in made)).fetchall() == [(1,)]


def test_macros_that_would_change_what_queries_mean_are_refused(tmp_path: Path) -> None:
    Database.open(tmp_path / "w.duckdb").close()
    with duckdb.connect(tmp_path / "w.duckdb") as connection:
        connection.execute("create macro a_helper(x) as x + 1")
    Database.open(tmp_path / "w.duckdb").close()
    with duckdb.connect(tmp_path / "w.duckdb") as connection:
        connection.execute("create macro lower(x) as 'other'")
    with pytest.raises(DatabaseUnusable, match='"lower"'):
        Database.open(tmp_path / "w.duckdb")


def test_a_transaction_that_fails_leaves_nothing(db: Path) -> None:
    with Database.open(db) as database:
        with pytest.raises(ZeroDivisionError), database.transaction() as connection:
            connection.execute("insert into term values ('kind', 'kettle', 'own')")
            raise ZeroDivisionError
        assert database.connection.execute("select count(*) from term").fetchall() == [(0,)]


def test_sql_reaches_no_file_outside_its_scratch_folder(db: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("a\n1\n")
    with Database.open(db) as database:
        link = database.scratch / "link.csv"
        link.symlink_to(secret)
        for reach in (f"from read_csv('{secret}')", f"from read_csv('{link}')", f"copy term to '{tmp_path}/out.csv'"):
            with pytest.raises(duckdb.PermissionException):
                database.connection.execute(reach)
        with pytest.raises(duckdb.Error):
            database.connection.execute("set enable_external_access = true")
        (database.scratch / "given.csv").write_text("a\n1\n")
        assert database.connection.execute(f"from read_csv('{database.scratch}/given.csv')").fetchall() == [(1,)]
        scratch = database.scratch
    assert not scratch.exists()


def test_two_databases_share_nothing_beside_them(tmp_path: Path) -> None:
    places = [set(beside(tmp_path / name).values()) for name in ("shop.duckdb", "shop.north", "shop.south", "shop.db")]
    assert len(set.union(*places)) == sum(map(len, places))
    assert beside(tmp_path / "workshop.duckdb")["key"] == tmp_path / "workshop.key"
    Database.open(tmp_path / "shop.duckdb").close()
    with pytest.raises(UsageError, match="share"):
        Database.open(tmp_path / "shop")


def test_a_workshop_whose_key_has_another_name_today_says_how_to_go_on(tmp_path: Path) -> None:
    Database.open(tmp_path / "shop.db").close()
    (tmp_path / "shop.key").write_text("00" * 32)
    with pytest.raises(DatabaseUnusable, match=r"Copy shop\.key to shop\.db\.key"):
        Database.open(tmp_path / "shop.db", read_only=True)
    (tmp_path / "shop.key").rename(tmp_path / "shop.db.key")
    Database.open(tmp_path / "shop.db").close()


def test_a_writer_waits_while_another_has_the_file_closed(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database_module, "WRITER_WAITS", 0.2)
    code = (
        "import sys\nfrom pathlib import Path\nfrom pipeline.store.database import Database\n"
        f"with Database.open(Path({str(db)!r})) as database, database.closed():\n"
        "    print('closed', flush=True)\n    sys.stdin.read()"
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdin=-1, stdout=-1, text=True) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "closed\n"
        with pytest.raises(DatabaseBusy, match="nothing was changed"):
            Database.open(db)
        link = db.with_name("link.duckdb")
        link.symlink_to(db)
        with pytest.raises(DatabaseBusy):
            Database.open(link)
        holder.communicate("")
    Database.open(db).close()
