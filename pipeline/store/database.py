"""The workshop's database file, open: changed all or not at all, and by one at a time."""

from __future__ import annotations

import contextlib
import shutil
import sys
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

import sql
from pipeline.errors import DatabaseUnusable, UsageError, shown
from pipeline.store.cache import while_unchanged
from pipeline.store.connect import Patience, connect
from pipeline.store.lock import Turn
from pipeline.store.scratch import Scratch
from pipeline.store.unusable import OF_THE_SYSTEM, is_damage, open_already, unusable
from pipeline.store.up_to_date import Found, build_todays, copy_of, found_in
from pipeline.store.workshop_files import (
    COMPACTING,
    PLACING,
    UNFINISHED,
    alone_by_name,
    beside,
    clear_unfinished,
    give_to_users_of,
    lock_file,
    place_of,
    restoring,
)

READER_WAITS = 30.0  # seconds for a load to end: an answer is wanted now
WRITER_WAITS = 600.0  # seconds for loads and readers to end: what is to be written must not be lost


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
        self.place = place_of(path)
        self.read_only = turn is None
        self._turn = turn
        self._scratch = scratch
        self._is_changing = False
        self.records_up_to: str | None = None
        """Day after which records are hidden from this connection; None = all are seen."""
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
                f"The key file {shown(file.name)} is missing, and customers of this database were hashed with it.",
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
        """What changes whenever the file does, or what is seen of it."""
        files = (self.place, self.place.with_name(self.place.name + ".wal"))
        states = [file.stat() for file in files if file.exists()]
        return (self.place, self.records_up_to, *((state.st_ino, state.st_size, state.st_mtime_ns) for state in states))

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
        _look_first(path, read_only=read_only)
        wait = (READER_WAITS if read_only else WRITER_WAITS) if wait is None else wait
        database = cls._opened(path, wait, read_only=read_only)
        try:
            _fence(database)
            found = while_unchanged(database, "tables", lambda: found_in(database.connection, path))
            if not found.is_current and not read_only:
                database._bring_up_to_date(found)
        except duckdb.Error as fault:
            database.close()
            raise unusable(path, fault) from fault
        except BaseException:
            database.close()
            raise
        if found.is_current or not read_only or (is_as_found and found.version is not None):
            return database
        database.close()
        if found.version is None:
            raise UsageError(
                f"{shown(path, 200)} holds no job records in this version's tables.",
                "Run priorjobs load FILE once: it prepares the database.",
            )
        cls.open(path, wait=wait).close()  # opened to be written, it is brought up to date
        return cls.open(path, read_only=True)

    @classmethod
    def _opened(cls, path: Path, wait: float, *, read_only: bool) -> Database:
        """Wait for the turn to write and for the file; whatever fails, what was taken is given back."""
        patience = Patience(path, wait)
        with contextlib.ExitStack() as taken:
            turn = None
            if not read_only:
                turn = Turn(lock_file(path), patience.pause)
                taken.callback(turn.close)
                clear_unfinished(place_of(path))
            connection = connect(path, patience, read_only=read_only)
            taken.callback(connection.close)
            try:
                scratch = Scratch()
            except OSError as fault:
                raise DatabaseUnusable(
                    f"No folder for temporary files can be created: {fault.strerror}.",
                    "Free disk space, or set TMPDIR to another.",
                ) from fault
            taken.pop_all()
        return cls(connection, path, scratch, turn)

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
        """Write a consistent copy of the database to ``target``, replacing it: whole or not at all.

        It is for the same users as the database, but in the scratch folder, which is of this opening alone.

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
            if target.parent != self.scratch:
                give_to_users_of(self.place, unfinished)
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
            self.connection = connect(self.path, Patience(self.path, WRITER_WAITS), read_only=False)
            _fence(self)

    def compact(self) -> None:
        """Write the file anew: what was deleted still lies in blocks of the old one that are merely free."""
        fresh = self.place.with_name(self.place.name + COMPACTING)
        self.snapshot(fresh)
        with self.closed() as place:
            fresh.replace(place)

    def _bring_up_to_date(self, found: Found) -> None:
        """Build today's tables; a copy is kept where those that loads fill change too."""
        if found.changed:
            sys.stderr.write(
                f"Another program changed or dropped {', '.join(found.changed)} in {self.path.name}: "
                "built anew from the records.\n"
            )
        elif found.version is not None:
            sys.stderr.write(f"Bringing {self.path.name} up to date …\n")
        if found.version not in (None, sql.SCHEMA_VERSION):
            before = copy_of(self.path)
            sys.stderr.write(f"As it was: {before.name}\n")
            self.snapshot(before)
        with self.transaction() as connection:
            build_todays(connection)

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


def _look_first(path: Path, *, read_only: bool) -> None:
    """Refuse what can be told without opening the file."""
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
    if path.exists() and not (path.is_file() or path.is_dir()):  # opening a pipe waits for whoever writes to it
        raise DatabaseUnusable(f"{shown(path, 200)} is a pipe or a device.", "Name the right file with --db.")
    if is_open_here(path):
        raise open_already(path)
    alone_by_name(path)


def _fence(database: Database) -> None:
    connection = database.connection
    connection.execute("set allowed_directories = ?", [[f"{database.scratch}/"]])
    connection.execute("set enable_external_access = false")
    connection.execute("set enable_progress_bar = false")
