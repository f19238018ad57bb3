"""One file that holds a whole workshop: database, key, settings, models; and the way back."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.errors import FileUnreadable, UsageError, file_fault, shown
from pipeline.store.database import Database, beside
from pipeline.store.outputs import MANIFEST, WORKBOOK, may_write

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
    if target.exists():
        raise UsageError(f"{shown(target, 200)} exists already.", "Name a new file: a backup is never written over.")
    may_write(target, WORKBOOK, db=db)
    unfinished = target.with_name(target.name + ".unfinished")
    try:
        with Database.open(db, read_only=True) as database:
            copy = database.scratch / "backup.duckdb"
            database.snapshot(copy)
            members = {"workshop.duckdb": copy, **_members_beside(db)}
            handle = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "wb") as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                contents = {name: _pack(archive, name, path) for name, path in members.items()}
                archive.writestr(MANIFEST, json.dumps({"sha256": contents}, indent=1))
        unfinished.replace(target)
    except OSError as fault:
        raise file_fault(fault, target if fault.filename in (None, str(unfinished)) else fault.filename) from fault
    finally:
        unfinished.unlink(missing_ok=True)
    return {"file": str(target), "bytes": target.stat().st_size, "members": len(members)}


def restore_backup(source: Path, db: Path) -> dict[str, Any]:
    """Bring a workshop back; every member is checked before anything is put in place.

    Raises
    ------
    UsageError
        A workshop is at ``db`` already.
    FileUnreadable
        Not a backup, or a member does not match its checksum.
    """
    places = {f"workshop.{ending}": place for ending, place in beside(db).items()} | {"workshop.duckdb": db}
    log = db.with_name(db.name + ".wal")  # of another database: it would be replayed on this one
    for place in (*places.values(), log):
        if place.exists():
            raise UsageError(
                f"{shown(place, 200)} exists already.", "Restore beside it with --db, or move it away first."
            )
    folder = db.with_name(db.name + ".restoring")
    placed: list[Path] = []
    try:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        count = _unpack(source, folder)
        for name, place in places.items():
            if (folder / name).exists():
                (folder / name).rename(place)
                placed.append(place)
    except BaseException as fault:
        for place in placed:
            place.rename(folder / place.name)
        if isinstance(fault, OSError):
            raise file_fault(fault, source if fault.filename == str(source) else db) from fault
        raise
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return {"database": str(db), "members": count}


def _members_beside(db: Path) -> dict[str, Path]:
    found: dict[str, Path] = {}
    for ending, place in beside(db).items():
        inside = sorted(place.rglob("*")) if place.is_dir() else [place]
        found |= {
            f"workshop.{ending}/{p.relative_to(place).as_posix()}".removesuffix("/."): p for p in inside if p.is_file()
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
    try:
        with zipfile.ZipFile(source) as archive:
            contents: dict[str, str] = json.loads(archive.read(MANIFEST))["sha256"]
            for name, expected in contents.items():
                parts = PurePosixPath(name).parts
                if not parts or not parts[0].startswith("workshop.") or ".." in parts:
                    raise FileUnreadable(
                        f"{shown(source, 200)} names {shown(name)}, which no backup does.", "Use another backup."
                    )
                place = folder.joinpath(*parts)
                place.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(name) as packed, place.open("wb") as out:
                    shutil.copyfileobj(packed, out)
                if name == "workshop.key":
                    place.chmod(0o600)
                if _sha256(place) != expected:
                    raise FileUnreadable(
                        f"{shown(source, 200)}: {shown(name)} is damaged.", "Use another backup; nothing was changed."
                    )
    except _NO_BACKUP as fault:
        raise FileUnreadable(
            f"{shown(source, 200)} is not a whole backup file.", "Use another backup; nothing was changed."
        ) from fault
    return len(contents)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
