"""May this file be written? What holds a workshop, or what a command reads, is never written over."""

from __future__ import annotations

import hashlib
import os
import re
import stat
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import UsageError, shown
from pipeline.store.database import is_open_here
from pipeline.store.workshop_files import beside, lock_file

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.store.database import Database

PAGE, PDF, PNG, WORKBOOK, PARQUET = b"<!doctype html", b"%pdf", b"\x89png", b"pk\x03\x04", b"par1"
MANIFEST = "contents.json"  # the member of a backup that names the others
OF_A_WORKSHOP = (".duckdb", ".key", ".lock", ".wal", ".models", ".begun")
REMEDY = "Name another file to write; nothing was changed."
_START = 200  # bytes that tell what a file is


def may_write(
    path: Path,
    form: bytes | None,
    *,
    db: Path | None = None,
    database: Database | None = None,
    inputs: Iterable[Path | None] = (),
) -> None:
    """Refuse a name under which a command's output would harm what is there; every option that names a file asks here.

    A file that exists is replaced only by one of the same form, and never when it was loaded as job records.

    Parameters
    ----------
    path
        Where the output is to go.
    form
        What such a file begins with, in small letters: ``PAGE``, ``PDF`` …, or its first column; None where the command
        looks at the content itself.
    db
        The workshop's database file, or ``database``, the open one.
    inputs
        What the command reads, and its other outputs.

    Raises
    ------
    UsageError
        The name is taken, or is one of a workshop's own names.
    """
    if str(path) == "-":
        raise UsageError('"-" names no file to write.', "Name a file; /dev/stdout is standard output.")
    db = database.path if database is not None else db
    for what, own in _own(db) if db is not None else ():
        if _is_same(path, own):
            raise _refused(path, f"is {what} of this workshop")
    if any(given is not None and _is_same(path, given) for given in inputs):
        raise _refused(path, "is read or written by this command already")
    place = Path(os.path.realpath(path))
    if any(folder.suffix == ".models" for folder in place.parents):
        raise _refused(path, "lies in a folder of models")
    if is_open_here(place):
        raise _refused(path, "is a workshop's database")
    if place.exists():
        _may_replace(path, place, form, database)
    elif place.suffix.lower() in OF_A_WORKSHOP or (form is not None and place.suffix.lower() == ".toml"):
        raise _refused(path, "ends as the files of a workshop do")
    elif place.suffix == ".toml" and any(place.with_suffix(ending).exists() for ending in (".duckdb", ".key")):
        raise _refused(path, "is the name of a workshop's settings file")


def _own(db: Path) -> list[tuple[str, Path]]:
    names = {"key": "the key", "toml": "the settings file", "models": "the folder of models"}
    log = Path(os.path.realpath(db) + ".wal")
    files = [("the database", db), ("the lock file", lock_file(db)), ("the log", log)]
    return files + [(names[ending], place) for ending, place in beside(db).items()]


def _is_same(one: Path, other: Path) -> bool:
    if os.path.realpath(one) == os.path.realpath(other):
        return True
    return one.exists() and other.exists() and one.samefile(other)


def _may_replace(path: Path, place: Path, form: bytes | None, database: Database | None) -> None:
    kind = place.stat().st_mode
    if stat.S_ISDIR(kind):
        raise _refused(path, "is a folder")
    if stat.S_ISBLK(kind) or stat.S_ISSOCK(kind):
        raise _refused(path, "is a device")
    if not stat.S_ISREG(kind) or place.stat().st_size == 0:
        return  # a pipe or a terminal is written as it is
    with place.open("rb") as file:
        start = file.read(_START).removeprefix(b"\xef\xbb\xbf").lower()
    if form is not None and not re.match(re.escape(form) + rb"(?!\w)", start.replace(b'"', b"").lstrip()):
        raise _refused(path, "exists and holds something else")
    if start.startswith(WORKBOOK) and _is_backup(place):
        raise _refused(path, "is a backup")
    if database is not None and form is not None and _was_loaded(database, place):
        raise _refused(path, "holds job records that were loaded")


def _is_backup(place: Path) -> bool:
    try:
        with zipfile.ZipFile(place) as archive:
            return MANIFEST in archive.namelist()
    except (zipfile.BadZipFile, OSError, ValueError):
        return False


def _was_loaded(database: Database, place: Path) -> bool:
    rows = database.connection.execute(
        "select sha256 from load_batch where bytes = ?", [place.stat().st_size]
    ).fetchall()
    if not rows:
        return False
    with place.open("rb") as file:
        return (hashlib.file_digest(file, "sha256").hexdigest(),) in rows


def _refused(path: Path, why: str) -> UsageError:
    return UsageError(f"{shown(path, 200)} {why}.", REMEDY)
