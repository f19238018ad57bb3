"""Which files belong to a workshop: its database and what lies beside it, by name alone."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from pipeline.errors import DatabaseUnusable, UsageError, shown

PLACING = "placing"
COMPACTING = ".compacting"  # ends the name of the database as it is written anew
UNFINISHED = ".unfinished"


def beside(db: Path) -> dict[str, Path]:
    """Return what belongs to a workshop and lies beside its database: customer key, settings, models.

    They are named as the database is, without ``.duckdb``; any other ending stays, so that no two share them.
    """
    return {ending: db.with_name(f"{stem(db)}.{ending}") for ending in ("key", "toml", "models")}


def stem(db: Path) -> str:
    """Return the name that what belongs to a database begins with."""
    return db.name.removesuffix(".duckdb")


def usual_page(db: Path, name: str) -> Path:
    """Return where a page goes for which no place was named: beside the database, so that no two workshops share it."""
    return db.with_name(name if stem(db) == "workshop" else f"{stem(db)}.{name}")


def place_of(db: Path) -> Path:
    """Return where the file itself lies, when the name is a link."""
    return Path(os.path.realpath(db))


def lock_file(db: Path) -> Path:
    """Return the lock file of all who write the database, by whatever name they open it."""
    place = place_of(db)
    return place.with_name(f"{stem(place)}.lock")


def restoring(db: Path) -> Path:
    """Return the folder a restore unpacks in; it holds ``PLACING`` from when files are put in place."""
    return db.with_name(db.name + ".restoring")


def alone_by_name(path: Path) -> None:
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


def clear_unfinished(place: Path) -> None:
    """Remove what a killed run left half written beside the database; only who may write it does so."""
    for name in (COMPACTING, COMPACTING + UNFINISHED):
        place.with_name(place.name + name).unlink(missing_ok=True)


def give_to_users_of(model: Path, file: Path) -> None:
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
