"""Which files beside the database hold a customer, or may hold one because they cannot be looked into."""

from __future__ import annotations

import gzip
import html
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.store.outputs import MANIFEST, PARQUET, PDF, WORKBOOK

if TYPE_CHECKING:
    from pipeline.store.database import Database

MOST_SEARCHED = 64 << 20  # bytes of one file
OF_RECORDS = {
    *(".csv", ".tsv", ".txt", ".json", ".jsonl", ".xml", ".html", ".htm", ".xlsx", ".xls", ".ods", ".parquet"),
    *(".duckdb", ".db", ".zip", ".gz", ".pdf", ".toml"),
}
"""Endings of what is named when it is too large to be searched, or may not be read."""
NO_TEXT = {
    *(
        ".jpg",
        ".jpeg",
        ".png",
        ".gif",
        ".webp",
        ".heic",
        ".bmp",
        ".tif",
        ".tiff",
        ".mp3",
        ".m4a",
        ".wav",
        ".ogg",
        ".flac",
    ),
    *(".mp4", ".m4v", ".mov", ".avi", ".mkv", ".webm", ".3gp", ".iso", ".exe", ".dll", ".so"),
}
"""Endings of pictures, sound, film and programs: not searched, and said so."""
_PIECE, _OVERLAP = 4 << 20, 1 << 13  # bytes searched at once: many times as much is held meanwhile
OF_BEGUN_VISITS = ".begun"
"""A visit broken off is known by a hash of its call, the customer's name included: a guess at it can be proved."""
_PACKED = b"\x1f\x8b"
_UNREADABLE = (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError)


def elsewhere(database: Database, hashed: str, name: re.Pattern[str] | None) -> list[str]:
    """Name the files that hold the customer or may hold it: beside the database, in the current folder, the models.

    Folders in them that hold pages, such as ``report --all`` makes, are searched too. Copies of the database, backups
    and PDF files are named whatever they hold: what is packed in them cannot be searched.

    Parameters
    ----------
    database
        The workshop.
    hashed
        The customer's hash.
    name
        Finds the name in a text; None where it is too short to be told from other words.
    """
    folders = {database.place.parent, database.path.parent.resolve(), Path.cwd()}
    files = {path for folder in folders for path in folder.iterdir()}
    files |= {path for folder in files for path in _pages_in(folder)}
    if database.folder_of_models.is_dir():
        files |= set(database.folder_of_models.rglob("*"))
    return sorted(
        str(path)
        for path in files
        if path.is_file() and not path.samefile(database.place) and _may_hold(path, hashed, name)
    )


def _pages_in(folder: Path) -> list[Path]:
    try:
        files = list(folder.iterdir()) if folder.is_dir() else []
    except OSError:
        return []
    return files if any(path.suffix == ".html" for path in files) else []


def _may_hold(path: Path, hashed: str, name: re.Pattern[str] | None) -> bool:
    if (
        ".before-version-" in path.name
        or path.suffix == OF_BEGUN_VISITS
        or (name is not None and name.search(path.name))
    ):
        return True
    if path.suffix.lower() in NO_TEXT:
        return False
    try:
        with path.open("rb") as file:
            held = file.read(MOST_SEARCHED)
            is_whole = not file.read(1)
        if held[8:12] == b"DUCK" or held.lower().startswith(PDF) or _is_backup(path, held):
            return True
        is_there = any(hashed in text or (name is not None and name.search(text)) for text in _texts(held))
    except _UNREADABLE:
        is_there = is_whole = False
    return is_there or (not is_whole and path.suffix.lower() in OF_RECORDS)


def _is_backup(path: Path, held: bytes) -> bool:
    if not held.lower().startswith(WORKBOOK):
        return False
    with zipfile.ZipFile(path) as archive:
        return MANIFEST in archive.namelist()


def _texts(held: bytes) -> Iterator[str]:
    """Give what is written in a file, in the encodings it may be in; signs of HTML and JSON are read."""
    for content in _pieces(held):
        encodings = ["utf-8"]
        if not _is_utf8(content):
            encodings.append("cp1252")
        if b"\0" in content:
            encodings += ["utf-16-le", "utf-16-be"]
        for encoding in encodings:
            text = html.unescape(content.decode(encoding, "replace"))
            yield re.sub(r"\\u([0-9a-fA-F]{4})", lambda found: chr(int(found[1], 16)), text)


def _pieces(held: bytes) -> Iterator[bytes]:
    """Give the content in pieces that overlap, so that a name is whole in one of them."""
    for content in _unpacked(held):
        for start in range(0, max(len(content) - _OVERLAP, 1), _PIECE):
            yield content[start : start + _PIECE + _OVERLAP]


def _is_utf8(content: bytes) -> bool:
    try:
        content.decode()
    except UnicodeDecodeError:
        return False
    return True


def _unpacked(held: bytes) -> Iterator[bytes]:
    if held.lower().startswith(WORKBOOK):
        with zipfile.ZipFile(io.BytesIO(held)) as archive:
            for member in archive.infolist():
                if member.file_size > MOST_SEARCHED:
                    raise EOFError
                yield archive.read(member)
    elif held.startswith(_PACKED):
        with gzip.open(io.BytesIO(held)) as file:
            yield file.read(MOST_SEARCHED)
    elif held.lower().startswith(PARQUET):
        yield _of_parquet(held)
    else:
        yield held


def _of_parquet(held: bytes) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        rows = pq.read_table(pa.BufferReader(held)).to_pylist()
    except (pa.ArrowException, ValueError, OverflowError) as fault:
        raise EOFError from fault
    return "\n".join(str(value) for row in rows for value in row.values()).encode("utf-8", "replace")
