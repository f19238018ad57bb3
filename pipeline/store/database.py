"""The workshop's database file: open it safely, wait for it, upgrade it, change it all or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
import time
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

import sql
from pipeline.errors import DatabaseBusy, DatabaseUnusable, PriorjobsError, UsageError, shown
from pipeline.store.lock import Turn
from pipeline.store.scratch import Scratch

READER_WAITS = 30.0  # seconds for a load to end: an answer is wanted now
WRITER_WAITS = 600.0  # seconds for loads and readers to end: what is to be written must not be lost
ADDED_COLUMNS = (  # since version 1, to tables that loads fill
    ("load_batch", "mapping varchar"),
    ("load_batch", "header varchar"),
    ("load_batch", "records_after bigint"),
    ("load_batch", "taken_back_at timestamp"),
    ("raw_record", "withdrawn_by integer"),
    ("setting", "wrong_labour_billed boolean default false"),
    ("raw_record", "branch varchar"),
    ("stage_visit", "branch varchar"),
    ("raw_record", "photos varchar"),
    ("stage_visit", "photos varchar"),
)
PLACING = "placing"
COMPACTING = ".compacting"  # ends the name of the database as it is written anew
UNFINISHED = ".unfinished"
OF_THE_SYSTEM = (duckdb.IOException, duckdb.OutOfMemoryException, duckdb.FatalException)  # file, disk or memory


def beside(db: Path) -> dict[str, Path]:
    """Return what belongs to a workshop and lies beside its database: customer key, settings, models.

    They are named as the database is, without ``.duckdb``; any other ending stays, so that no two share them.
    """
    return {ending: db.with_name(f"{_stem(db)}.{ending}") for ending in ("key", "toml", "models")}


def _stem(db: Path) -> str:
    return db.name.removesuffix(".duckdb")


def _place(db: Path) -> Path:
    return Path(os.path.realpath(db))


def lock_file(db: Path) -> Path:
    """Return the lock file of all who write the database, by whatever name they open it."""
    place = _place(db)
    return place.with_name(f"{_stem(place)}.lock")


def restoring(db: Path) -> Path:
    """Return the folder a restore unpacks in; it holds ``PLACING`` from when files are put in place."""
    return db.with_name(db.name + ".restoring")


def is_open_here(path: Path) -> bool:
    """Whether a file is a database this program has open.

    Such a file must not be opened beside DuckDB: closing any handle on it drops the lock that DuckDB holds.
    """
    return any(path.exists() and database.place.exists() and path.samefile(database.place) for database in _open_here)


class Database:
    """An open workshop database.

    SQL on this connection can reach no file outside its own scratch folder (copy there what SQL is to read), and can
    load no extension: text from records can therefore never open anything.

    Attributes
    ----------
    connection
        The DuckDB connection.
    path
        The database file, as it was named.
    place
        Where the file itself lies, when ``path`` is a link.
    scratch
        A folder of this opening alone, removed on close; DuckDB may read and write in it.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, scratch: Scratch, turn: Turn | None) -> None:
        self.connection = connection
        self.path = path
        self.place = _place(path)
        self.read_only = turn is None
        self._turn = turn
        self._scratch = scratch
        self._is_changing = False
        _open_here.add(self)

    @property
    def scratch(self) -> Path:
        """The folder."""
        return self._scratch.folder

    @property
    def key_file(self) -> Path:
        """Key of the customer hash; made by whoever reads it first.

        Raises
        ------
        DatabaseUnusable
            It is gone, though customers were hashed with it: another one would find none of them again.
        """
        file = beside(self.path)["key"]
        if not file.exists() and self._holds_customers():
            raise DatabaseUnusable(
                f"The key file {shown(file.name)} is gone, and customers of this database were hashed with it.",
                "Put it back from a backup; if it is lost for good, load the records into a new database.",
            )
        return file

    def _holds_customers(self) -> bool:
        return bool(
            self.connection.execute(
                "select 1 from stage_visit where customer_hash not like 'erased-%' limit 1"
            ).fetchall()
        )

    def stamp(self) -> tuple[object, ...]:
        """What changes whenever the file does."""
        files = (self.place, self.place.with_name(self.place.name + ".wal"))
        states = [file.stat() for file in files if file.exists()]
        return (self.place, *((state.st_ino, state.st_size, state.st_mtime_ns) for state in states))

    @property
    def folder_of_models(self) -> Path:
        """Where fitted models are kept."""
        return beside(self.path)["models"]

    @classmethod
    def open(
        cls, path: Path | str, *, read_only: bool = False, wait: float | None = None, is_as_found: bool = False
    ) -> Database:
        """Open or create the database, waiting a bounded time while another process holds it.

        Tables of an older version are brought up to date, after a copy of the file is put beside it.

        Parameters
        ----------
        path
            The database file; created when missing, unless ``read_only``.
        read_only
            Share the file with other readers; nothing can be changed.
        wait
            Longest wait, seconds; left out, what a reader or a writer waits.
        is_as_found
            With ``read_only``: leave tables of an older version as they are.

        Raises
        ------
        UsageError
            Read only, and there is no such file.
        DatabaseBusy
            Another process kept it longer than the wait, or this process has it open already.
        DatabaseUnusable
            Not a database, damaged, made by a newer program, or in a place that cannot be written.
        """
        path = Path(path)
        if not path.exists():
            if (restoring(path) / PLACING).exists():
                raise DatabaseUnusable(
                    f"A restore of {shown(path, 200)} was interrupted.", "Run the same priorjobs restore again first."
                )
            if read_only:
                raise UsageError(
                    f"There is no workshop database at {shown(path, 200)}.",
                    "Load job records first: priorjobs load FILE",
                )
            if not path.parent.is_dir():
                raise DatabaseUnusable(
                    f"There is no folder {shown(path.parent)}.", "Make the folder, or name another with --db."
                )
        if is_open_here(path):
            raise _open_already(path)
        _alone_by_name(path)
        wait = (READER_WAITS if read_only else WRITER_WAITS) if wait is None else wait
        patience = _Patience(path, wait)
        turn = None if read_only else Turn(lock_file(path), patience.pause)
        try:
            if turn is not None:
                _clear_unfinished(_place(path))
            connection = _connect(path, patience, read_only=read_only)
        except BaseException:
            if turn is not None:
                turn.close()
            raise
        try:
            database = cls(connection, path, Scratch(), turn)
        except OSError as fault:
            connection.close()
            if turn is not None:
                turn.close()
            raise DatabaseUnusable(
                f"No folder for temporary files can be made: {fault.strerror}.",
                "Free disk space, or set TMPDIR to another.",
            ) from fault
        try:
            _fence(database)
            found, is_current = _version(database)
            if not is_current and not read_only:
                _bring_up_to_date(database, found)
        except duckdb.Error as fault:
            database.close()
            raise unusable(path, fault) from fault
        except BaseException:
            database.close()
            raise
        if is_current or not read_only or (is_as_found and found is not None):
            return database
        database.close()
        if found is None:
            raise UsageError(
                f"{shown(path, 200)} holds no job records in this version's tables.",
                "Run priorjobs load FILE once: it prepares the database.",
            )
        cls.open(path, wait=wait).close()  # opened to be written, it is brought up to date
        return cls.open(path, read_only=True)

    def close(self) -> None:
        """Close the connection, remove the scratch folder, let the next writer in."""
        _open_here.discard(self)
        self.connection.close()
        self._scratch.close()
        if self._turn is not None:
            self._turn.close()

    def __enter__(self) -> Database:
        return self

    def __exit__(self, _: object, fault: BaseException | None, __: object) -> None:
        self.close()
        if isinstance(fault, duckdb.Error) and (is_damage(fault) or isinstance(fault, OF_THE_SYSTEM)):
            raise unusable(self.path, fault) from fault

    def snapshot(self, target: Path) -> None:
        """Write a consistent copy of the database to ``target``, replacing it: whole or not at all, for the same users.

        Raises
        ------
        DatabaseUnusable
            The disk is full, or the place cannot be written.
        """
        copy = self.scratch / "snapshot.duckdb"
        unfinished = target.with_name(target.name + UNFINISHED)
        try:
            source = self.connection.execute("select current_database()").fetchall()[0][0].replace('"', '""')
            quoted = str(copy).replace("'", "''")
            self.connection.execute(f"attach '{quoted}' as snapshot_copy (read_write)")
            try:
                self.connection.execute(f'copy from database "{source}" to snapshot_copy')
            finally:
                self.connection.execute("detach snapshot_copy")
            shutil.move(copy, unfinished)
            _give_to_users_of(self.place, unfinished)
            unfinished.replace(target)
        except (duckdb.Error, OSError) as fault:
            raise unusable(self.path if is_damage(fault) else target, fault) from fault
        finally:
            copy.unlink(missing_ok=True)
            unfinished.unlink(missing_ok=True)

    @contextmanager
    def closed(self) -> Iterator[Path]:
        """Yield the file while no connection to it is open here, and no other writer is let in.

        Raises
        ------
        DatabaseUnusable
            Changes are still in the log beside it.
        """
        self.connection.close()
        try:
            if self.place.with_name(self.place.name + ".wal").exists():
                raise DatabaseUnusable(
                    f"{shown(self.path, 200)} could not be written out: changes are still in its log.",
                    "Close other programs that use it, then run this again.",
                )
            yield self.place
        finally:
            self.connection = _connect(self.path, _Patience(self.path, WRITER_WAITS), read_only=False)
            _fence(self)

    def compact(self) -> None:
        """Write the file anew: what was deleted still lies in blocks of the old one that are merely free."""
        fresh = self.place.with_name(self.place.name + COMPACTING)
        self.snapshot(fresh)
        with self.closed() as place:
            fresh.replace(place)

    @contextmanager
    def transaction(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """All of what happens inside is kept, or none of it; a transaction inside another is a part of it."""
        if self._is_changing:
            yield self.connection
            return
        self.connection.execute("begin")
        self._is_changing = True
        try:
            yield self.connection
            self._commit()
        except BaseException:
            self._roll_back()
            raise
        finally:
            self._is_changing = False

    def _commit(self) -> None:
        try:
            self.connection.execute("commit")
        except duckdb.Error as fault:
            raise unusable(self.path, fault) from fault

    def _roll_back(self) -> None:
        with contextlib.suppress(duckdb.Error):  # what a fatal fault interrupted is not on disk: closing drops it
            self.connection.execute("rollback")


_open_here: weakref.WeakSet[Database] = weakref.WeakSet()


class _Patience:
    """Waits a bounded time in all for a file that others use, and says so once."""

    def __init__(self, path: Path, wait: float) -> None:
        self._path = path
        self._wait = wait
        self._give_up = time.monotonic() + wait
        self._has_said = False

    def pause(self) -> None:
        if time.monotonic() > self._give_up:
            raise DatabaseBusy(
                f"Another program has held {shown(self._path, 200)} for more than {self._wait:.0f} seconds.",
                "Let it finish or close it, then run this again; nothing was changed.",
            )
        if not self._has_said:
            sys.stderr.write(f"Waiting up to {self._wait:.0f} seconds: another program is using {self._path.name}.\n")
            self._has_said = True


def _connect(path: Path, patience: _Patience, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    while True:
        try:
            return duckdb.connect(
                str(_place(path)),
                read_only=read_only,
                config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"},
            )
        except duckdb.Error as fault:
            if "could not set lock" not in str(fault).lower():
                raise unusable(path, fault) from fault
        patience.pause()
        time.sleep(0.1)


def _alone_by_name(path: Path) -> None:
    """Refuse names under which a workshop would find another's key, settings and models, or not its own."""
    with_ending = path.with_name(path.name + ".duckdb")
    if not path.suffix and with_ending.exists():
        raise UsageError(
            f"{shown(path, 200)} would share key, settings and models with {shown(with_ending.name)} beside it.",
            "Name the database with an ending of its own.",
        )
    before, key = path.with_suffix(".key"), beside(path)["key"]
    is_moved = before != key and before.exists() and not key.exists()
    if path.exists() and is_moved and not path.with_suffix(".duckdb").exists():
        raise DatabaseUnusable(
            f"The key of {shown(path, 200)} was kept as {before.name}; it is {key.name} now, so that no two "
            "databases share one.",
            f"Copy {before.name} to {key.name}, and likewise {path.stem}.toml and {path.stem}.models.",
        )


def _clear_unfinished(place: Path) -> None:
    """Remove what a killed run left half written beside the database; only who may write it does so."""
    for name in (COMPACTING, COMPACTING + UNFINISHED):
        place.with_name(place.name + name).unlink(missing_ok=True)


def _give_to_users_of(model: Path, file: Path) -> None:
    """Let the same people use a new file; where its owner cannot be kept, that is told."""
    held = model.stat()
    file.chmod(held.st_mode & 0o7777)
    made = file.stat()
    if (made.st_uid, made.st_gid) != (held.st_uid, held.st_gid):
        try:
            os.chown(file, held.st_uid, held.st_gid)
            file.chmod(held.st_mode & 0o7777)
        except OSError:
            sys.stderr.write(f"{file.name} now belongs to you: its owner could not be kept.\n")


def _fence(database: Database) -> None:
    connection = database.connection
    connection.execute("set allowed_directories = ?", [[f"{database.scratch}/"]])
    connection.execute("set enable_external_access = false")
    connection.execute("set enable_progress_bar = false")


def _version(database: Database) -> tuple[int | None, bool]:
    """Return the version of the tables in the file, None where there are none of ours, and whether they are today's."""
    connection = database.connection
    tables = dict(connection.execute("select table_name, comment from duckdb_tables()").fetchall())
    if "database_version" not in tables:
        if tables:
            raise DatabaseUnusable(
                f"{shown(database.path, 200)} holds tables of another program.", "Name another file with --db."
            )
        return None, False
    (found,) = connection.execute("select coalesce(max(version), 0) from database_version").fetchall()[0]
    if found > sql.SCHEMA_VERSION:
        raise DatabaseUnusable(
            f"{shown(database.path, 200)} was made by a newer priorjobs: its tables are version {found}, "
            f"this one knows {sql.SCHEMA_VERSION}.",
            "Install the newer version, or name another database with --db.",
        )
    return found, found == sql.SCHEMA_VERSION and tables["database_version"] == sql.fingerprint()


def _bring_up_to_date(database: Database, found: int | None) -> None:
    """Build today's tables from what the file holds; a copy is kept where those that loads fill change too."""
    if found is not None:
        sys.stderr.write(f"Bringing {database.path.name} up to date …\n")
    if found not in (None, sql.SCHEMA_VERSION):
        before = database.path.with_name(f"{_stem(database.path)}.before-version-{sql.SCHEMA_VERSION}.duckdb")
        sys.stderr.write(f"As it was: {before.name}\n")
        database.snapshot(before)
    with database.transaction() as connection:
        connection.execute("create table if not exists database_version (version integer not null)")
        for table, column in ADDED_COLUMNS:
            connection.execute(f"alter table if exists {table} add column if not exists {column}")
        sql.create_raw(connection)
        _move_advice(connection)
        connection.execute("delete from database_version")
        connection.execute("insert into database_version values (?)", [sql.SCHEMA_VERSION])
        connection.execute(f"comment on table database_version is '{sql.fingerprint()}'")
        sql.rebuild(connection)


def _move_advice(connection: duckdb.DuckDBPyConnection) -> None:
    """Up to version 3 advice taken up stood among the decisions on words, its pattern as JSON."""
    rows = connection.execute(
        "select correction_id, decided_at, term::date, written, undone_at from correction where list = 'advice'"
    ).fetchall()
    for number, decided_at, adopted_on, written, undone_at in rows:
        row = {"advice_id": number, "decided_at": decided_at, "adopted_on": adopted_on, "undone_at": undone_at}
        row |= json.loads(written)
        connection.execute(
            f"insert into advice_taken ({', '.join(row)}) values ({', '.join('?' * len(row))})", list(row.values())
        )
    connection.execute("delete from correction where list = 'advice'")


def unusable(path: Path, fault: Exception) -> PriorjobsError:
    """Say in a sentence and a remedy why a database or a file beside it cannot be used."""
    text = str(fault)
    if "different configuration" in text or "allowed_directories" in text:
        return _open_already(path)
    if isinstance(fault, duckdb.OutOfMemoryException):
        return DatabaseUnusable(
            f"This needs more memory than is free, and {shown(path, 200)} is as it was.",
            "Close other programs, then run this again.",
        )
    if "not a valid DuckDB" in text:
        return DatabaseUnusable(
            f"{shown(path, 200)} is not a workshop database.", "Name the right file with --db, or move this one away."
        )
    if is_damage(fault):
        return DatabaseUnusable(
            f"{shown(path, 200)} is damaged.", "Move it away and bring a backup back: priorjobs restore FILE"
        )
    if any(sign in text.lower() for sign in ("no space", "not enough space", "too large", "quota")):
        return DatabaseUnusable(
            f"The disk of {shown(path, 200)} is full.",
            "Free disk space and run this again: what was not finished was dropped.",
        )
    why = next(
        (sign for sign in ("permission denied", "read-only file system", "is a directory") if sign in text.lower()), ""
    )
    return DatabaseUnusable(
        f"{shown(path, 200)} cannot be used: {why or shown(text.splitlines()[0], 160)}.",
        "Check that the file and its folder can be read and written, then run this again.",
    )


def _open_already(path: Path) -> DatabaseBusy:
    return DatabaseBusy(
        f"{shown(path, 200)} is open already in this program.", "Close it there first: workshop.close()"
    )


def is_damage(fault: Exception) -> bool:
    """Whether a fault of DuckDB says that the file is not as it was written."""
    if isinstance(fault, duckdb.InternalException | duckdb.SerializationException):
        return True
    return any(sign in str(fault) for sign in ("orrupt", "checksum", "Could not read enough bytes"))
