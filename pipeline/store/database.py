"""The workshop's database file: open it safely, wait for it, upgrade it, change it all or not at all."""

from __future__ import annotations

import contextlib
import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

import sql
from pipeline.errors import DatabaseBusy, DatabaseUnusable, PriorjobsError, UsageError, shown
from pipeline.store.scratch import Scratch

READER_WAITS = 30.0  # seconds for a load to end: an answer is wanted now
WRITER_WAITS = 600.0  # seconds for loads and readers to end: what is to be written must not be lost
ADDED_COLUMNS = (  # since version 1, to tables that loads fill
    ("load_batch", "mapping varchar"),
    ("load_batch", "header varchar"),
    ("load_batch", "records_after bigint"),
    ("load_batch", "taken_back_at timestamp"),
    ("raw_record", "withdrawn_by integer"),
)
OF_THE_SYSTEM = (duckdb.IOException, duckdb.OutOfMemoryException, duckdb.FatalException)  # file, disk or memory


def beside(db: Path) -> dict[str, Path]:
    """Return what belongs to a workshop and lies beside its database: customer key, settings, models."""
    return {ending: db.with_suffix(f".{ending}") for ending in ("key", "toml", "models")}


class Database:
    """An open workshop database.

    SQL on this connection can reach no file outside its own scratch folder (copy there what SQL is to read), and can
    load no extension: text from records can therefore never open anything.

    Attributes
    ----------
    connection
        The DuckDB connection.
    path
        The database file.
    scratch
        A folder of this opening alone, removed on close; DuckDB may read and write in it.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, scratch: Scratch, *, read_only: bool) -> None:
        self.connection = connection
        self.path = path
        self.read_only = read_only
        self._scratch = scratch
        self._is_changing = False

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

    @property
    def folder_of_models(self) -> Path:
        """Where fitted models are kept."""
        return beside(self.path)["models"]

    @classmethod
    def open(cls, path: Path | str, *, read_only: bool = False, wait: float | None = None) -> Database:
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
            if read_only:
                raise UsageError(
                    f"There is no workshop database at {shown(path, 200)}.",
                    "Load job records first: priorjobs load FILE",
                )
            if not path.parent.is_dir():
                raise DatabaseUnusable(
                    f"There is no folder {shown(path.parent)}.", "Make the folder, or name another with --db."
                )
        wait = (READER_WAITS if read_only else WRITER_WAITS) if wait is None else wait
        connection = _connect(path, wait, read_only=read_only)
        try:
            database = cls(connection, path, Scratch(), read_only=read_only)
        except OSError as fault:
            connection.close()
            raise DatabaseUnusable(
                f"No folder for temporary files can be made: {fault.strerror}.", "Make room, or set TMPDIR to another."
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
        if is_current or not read_only:
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
        """Close the connection and remove the scratch folder."""
        self.connection.close()
        self._scratch.close()

    def __enter__(self) -> Database:
        return self

    def __exit__(self, _: object, fault: BaseException | None, __: object) -> None:
        self.close()
        if isinstance(fault, duckdb.Error) and (is_damage(fault) or isinstance(fault, OF_THE_SYSTEM)):
            raise unusable(self.path, fault) from fault

    def snapshot(self, target: Path) -> None:
        """Write a consistent copy of the database to ``target``, replacing it: whole or not at all.

        Raises
        ------
        DatabaseUnusable
            The disk is full, or the place cannot be written.
        """
        copy = self.scratch / "snapshot.duckdb"
        unfinished = target.with_name(target.name + ".unfinished")
        try:
            source = self.connection.execute("select current_database()").fetchall()[0][0].replace('"', '""')
            quoted = str(copy).replace("'", "''")
            self.connection.execute(f"attach '{quoted}' as snapshot_copy (read_write)")
            try:
                self.connection.execute(f'copy from database "{source}" to snapshot_copy')
            finally:
                self.connection.execute("detach snapshot_copy")
            shutil.move(copy, unfinished)
            unfinished.replace(target)
        except (duckdb.Error, OSError) as fault:
            raise unusable(self.path if is_damage(fault) else target, fault) from fault
        finally:
            copy.unlink(missing_ok=True)
            unfinished.unlink(missing_ok=True)

    def compact(self) -> None:
        """Write the file anew: what was deleted still lies in blocks of the old one that are merely free."""
        fresh = self.path.with_name(self.path.name + ".compacting")
        self.snapshot(fresh)
        self.connection.close()
        fresh.replace(self.path)
        self.connection = _connect(self.path, WRITER_WAITS, read_only=False)
        _fence(self)

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


def _connect(path: Path, wait: float, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    give_up = time.monotonic() + wait
    has_said = False
    while True:
        try:
            return duckdb.connect(
                str(path),
                read_only=read_only,
                config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"},
            )
        except duckdb.Error as fault:
            if "could not set lock" not in str(fault).lower():
                raise unusable(path, fault) from fault
            if time.monotonic() > give_up:
                raise DatabaseBusy(
                    f"Another program has held {shown(path, 200)} for more than {wait:.0f} seconds.",
                    "Let it finish or close it, then run this again; nothing was changed.",
                ) from fault
        if not has_said:
            sys.stderr.write(f"Waiting up to {wait:.0f} seconds: another program is using {path.name}.\n")
            has_said = True
        time.sleep(0.1)


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
        before = database.path.with_suffix(f".before-version-{sql.SCHEMA_VERSION}.duckdb")
        sys.stderr.write(f"As it was: {before.name}\n")
        database.snapshot(before)
    with database.transaction() as connection:
        connection.execute("create table if not exists database_version (version integer not null)")
        for table, column in ADDED_COLUMNS:
            connection.execute(f"alter table if exists {table} add column if not exists {column}")
        sql.create_raw(connection)
        connection.execute("delete from database_version")
        connection.execute("insert into database_version values (?)", [sql.SCHEMA_VERSION])
        connection.execute(f"comment on table database_version is '{sql.fingerprint()}'")
        sql.rebuild(connection)


def unusable(path: Path, fault: Exception) -> PriorjobsError:
    """Say in a sentence and a remedy why a database or a file beside it cannot be used."""
    text = str(fault)
    if "different configuration" in text or "allowed_directories" in text:
        return DatabaseBusy(
            f"{shown(path, 200)} is open already in this program.", "Close it there first: workshop.close()"
        )
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
            "Make room and run this again: what was not finished was dropped.",
        )
    why = next(
        (sign for sign in ("permission denied", "read-only file system", "is a directory") if sign in text.lower()), ""
    )
    return DatabaseUnusable(
        f"{shown(path, 200)} cannot be used: {why or shown(text.splitlines()[0], 160)}.",
        "Check that the file and its folder can be read and written, then run this again.",
    )


def is_damage(fault: Exception) -> bool:
    """Whether a fault of DuckDB says that the file is not as it was written."""
    if isinstance(fault, duckdb.InternalException | duckdb.SerializationException):
        return True
    return any(sign in str(fault) for sign in ("orrupt", "checksum", "Could not read enough bytes"))
