"""One file that holds a whole workshop: database, key, settings, models; and the way back."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import shutil
import tomllib
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.errors import FileUnreadable, PriorjobsError, UsageError, file_fault, shown
from pipeline.store.atomic_write import draft_of, take_free_name
from pipeline.store.database import Database
from pipeline.store.lock import MARK, Turn, alone_in
from pipeline.store.outputs import MANIFEST, WORKBOOK, may_write
from pipeline.store.workshop_files import PLACING, beside, lock_file, restoring

DATABASE, KEY, SETTINGS, MODELS = "workshop.duckdb", "workshop.key", "workshop.toml", "workshop.models"
KEY_BYTES = 32
MOST_MANIFEST = 1 << 20  # bytes: some ten thousand members
FREE_BYTES = 64 << 20  # below this any compression ratio passes
MOST_RATIO = 200  # unpacked to packed; the demo's workshop packs to a tenth
NEW_NAME = "Name a new file: a backup is never written over."
RESTORE_ELSEWHERE = "Restore beside it with --db, or move it away first."
_NO_BACKUP = (  # what reading something else, or a damaged one, as a backup raises
    zipfile.BadZipFile, zlib.error, LookupError, ValueError, TypeError, AttributeError, EOFError, RuntimeError,
)  # fmt: skip


def write_backup(db: Path, target: Path) -> dict[str, Any]:
    """Write the workshop at ``db`` into one zip file that only its owner can read: it holds the customer key.

    Raises
    ------
    UsageError
        There is no such workshop, or ``target`` exists.
    FileUnusable
        The disk is full, or one of the files cannot be read or written.
    """
    draft = draft_of(target)
    _is_free(target)
    may_write(target, WORKBOOK, db=db)
    try:
        with Database.open(db, read_only=True) as database:
            copy = database.scratch / "backup.duckdb"
            database.snapshot(copy)
            handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with (
                _models_at_rest(database.folder_of_models),
                os.fdopen(handle, "wb") as file,
                zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive,
            ):
                members = {DATABASE: copy, **_members_beside(db)}
                contents = {name: _pack(archive, name, path) for name, path in members.items()}
                archive.writestr(MANIFEST, json.dumps({"sha256": contents}, indent=1))
        take_free_name(draft, target)
    except FileExistsError as fault:
        raise _taken(target, NEW_NAME) from fault
    except OSError as fault:
        raise file_fault(fault, target if fault.filename in (None, str(draft)) else fault.filename) from fault
    finally:
        draft.unlink(missing_ok=True)
    return {"file": str(target), "bytes": target.stat().st_size, "members": len(members)}


def restore_backup(source: Path, db: Path) -> dict[str, Any]:
    """Bring a workshop back; the whole backup is checked before anything is put in place, the database last.

    A restore that was killed is completed by running it again.

    Raises
    ------
    UsageError
        A workshop is at ``db`` already.
    FileUnreadable
        Not a backup of a workshop, a member does not match its checksum, or it unpacks beyond all reason.
    FileUnusable
        The disk is full, or the place cannot be written.
    """
    places = {f"workshop.{ending}": place for ending, place in beside(db).items()} | {DATABASE: db}
    if db.exists():
        _is_free(db, RESTORE_ELSEWHERE)
    folder = restoring(db)
    turn = Turn(lock_file(db))
    try:
        _undo_unfinished(folder, places)
        log = db.with_name(db.name + ".wal")  # of another database: it would be replayed on this one
        for place in (*places.values(), log):
            _is_free(place, RESTORE_ELSEWHERE)
        folder.mkdir()
        count = _unpack(source, folder)
        _verify(source, folder)
        (folder / PLACING).touch()
        for name, place in places.items():
            if (folder / name).exists():
                (folder / name).rename(place)
    except BaseException as fault:
        if not db.exists():
            _undo_unfinished(folder, places)
        if isinstance(fault, OSError):
            raise file_fault(fault, source if fault.filename == str(source) else db) from fault
        raise
    finally:
        if folder.exists() and (db.exists() or not (folder / PLACING).exists()):
            shutil.rmtree(folder, ignore_errors=True)
        turn.close()
    return {"database": str(db), "members": count}


def _undo_unfinished(folder: Path, places: dict[str, Path]) -> None:
    """Take away what a restore put in place that never came to the database itself."""
    if (folder / PLACING).exists():
        for name, place in places.items():
            if place.exists() and not (folder / name).exists():
                place.rename(folder / name)
    shutil.rmtree(folder, ignore_errors=True)


def _is_free(place: Path, remedy: str = NEW_NAME) -> None:
    if place.exists() or place.is_symlink():
        raise _taken(place, remedy)


def _taken(place: Path, remedy: str) -> UsageError:
    return UsageError(f"{shown(place, 200)} already exists.", remedy)


@contextlib.contextmanager
def _models_at_rest(folder: Path) -> Iterator[None]:
    """Let no training change the models meanwhile."""
    with alone_in(folder) if folder.is_dir() else contextlib.nullcontext():
        yield


def _members_beside(db: Path) -> dict[str, Path]:
    found: dict[str, Path] = {}
    for ending, place in beside(db).items():
        inside = sorted(place.rglob("*")) if place.is_dir() else [place]
        found |= {
            f"workshop.{ending}/{p.relative_to(place).as_posix()}".removesuffix("/."): p
            for p in inside
            if p.is_file() and p.name != MARK
        }
    return found


def _pack(archive: zipfile.ZipFile, name: str, path: Path) -> str:
    """Write one member, a piece at a time; returns the SHA-256 of what was written."""
    digest = hashlib.sha256()
    with path.open("rb") as file, archive.open(name, "w", force_zip64=True) as packed:
        while piece := file.read(1 << 20):
            digest.update(piece)
            packed.write(piece)
    return digest.hexdigest()


def _unpack(source: Path, folder: Path) -> int:
    if source.exists() and not source.is_file():
        raise _no_backup(source, "is a folder, a pipe or a device")
    try:
        with zipfile.ZipFile(source) as archive:
            contents = _contents(archive, source)
            _within_bounds(archive, source, folder)
            for name, expected in contents.items():
                place = folder.joinpath(*PurePosixPath(name).parts)
                place.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(name) as packed, place.open("xb") as out:
                    shutil.copyfileobj(packed, out)
                if name == KEY:
                    place.chmod(0o600)
                if _sha256(place) != expected:
                    raise FileUnreadable(
                        f"{shown(source, 200)}: {shown(name)} is damaged.", "Use another backup; nothing was changed."
                    )
    except _NO_BACKUP as fault:
        raise _no_backup(source) from fault
    except (FileExistsError, NotADirectoryError, IsADirectoryError) as fault:
        raise _no_backup(source) from fault
    return len(contents)


def _no_backup(source: Path, why: str = "is not a whole backup file") -> FileUnreadable:
    return FileUnreadable(f"{shown(source, 200)} {why}.", "Use another backup; nothing was changed.")


def _contents(archive: zipfile.ZipFile, source: Path) -> dict[str, str]:
    """Return the members and their checksums; they are what the archive holds, and what a workshop consists of."""
    if archive.getinfo(MANIFEST).file_size > MOST_MANIFEST:
        raise _no_backup(source, "lists more files than a workshop has")
    contents: dict[str, str] = json.loads(archive.read(MANIFEST))["sha256"]
    for name in contents:
        parts = PurePosixPath(name).parts
        is_ours = name in (DATABASE, KEY, SETTINGS) or (len(parts) > 1 and parts[0] == MODELS)
        if not is_ours or ".." in parts or "\\" in name or name.endswith("/"):
            raise _no_backup(source, f"names {shown(name)}, which no backup does")
    if sorted([*contents, MANIFEST]) != sorted(archive.namelist()) or DATABASE not in contents:
        raise _no_backup(source)
    return contents


def _within_bounds(archive: zipfile.ZipFile, source: Path, folder: Path) -> None:
    size = sum(member.file_size for member in archive.infolist())
    if size > max(FREE_BYTES, MOST_RATIO * source.stat().st_size):
        raise _no_backup(source, f"unpacks to {size >> 20:,} MB, beyond what a workshop of its size can be")
    if size > shutil.disk_usage(folder).free:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _verify(source: Path, folder: Path) -> None:
    """Open what was unpacked as the workshop will be opened, before any of it is put in place."""
    try:
        Database.open(folder / DATABASE, read_only=True, is_as_found=True).close()
    except PriorjobsError as fault:
        raise _no_backup(source, f"holds no workshop's database ({fault.what.rstrip('.')})") from fault
    try:
        if (folder / KEY).exists() and len(bytes.fromhex((folder / KEY).read_text("ascii").strip())) != KEY_BYTES:
            raise ValueError
        if (folder / SETTINGS).exists():
            tomllib.loads((folder / SETTINGS).read_text("utf-8-sig"))
    except ValueError as fault:
        raise _no_backup(source, "holds a key or settings that cannot be read") from fault


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
