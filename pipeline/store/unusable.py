"""Why a database cannot be used, in a sentence and a remedy."""

from __future__ import annotations

from pathlib import Path

import duckdb

from pipeline.errors import DatabaseBusy, DatabaseUnusable, PriorjobsError, shown

OF_THE_SYSTEM = (duckdb.IOException, duckdb.OutOfMemoryException, duckdb.FatalException)  # file, disk or memory


def unusable(path: Path, fault: Exception) -> PriorjobsError:
    """Say in a sentence and a remedy why a database or a file beside it cannot be used."""
    text = str(fault)
    if "different configuration" in text or "allowed_directories" in text:
        return open_already(path)
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


def open_already(path: Path) -> DatabaseBusy:
    """Say that this program has the database open already."""
    return DatabaseBusy(
        f"{shown(path, 200)} is already open in this program.", "Close it there first: workshop.close()"
    )


def is_damage(fault: Exception) -> bool:
    """Whether a fault of DuckDB says that the file is not as it was written."""
    if isinstance(fault, duckdb.InternalException | duckdb.SerializationException):
        return True
    return any(sign in str(fault) for sign in ("orrupt", "checksum", "Could not read enough bytes"))
