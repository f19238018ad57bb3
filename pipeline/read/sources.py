"""Which tables of records do the named files hold? Folders, archives and standard input opened within bounds."""

from __future__ import annotations

import gzip
import hashlib
import os
import re
import shutil
import sys
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import IO

from pipeline.errors import FileUnreadable, PriorjobsError, UsageError, shown

SUFFIXES = frozenset(
    [
        ".csv",
        ".tsv",
        ".tab",
        ".txt",
        ".psv",
        ".json",
        ".jsonl",
        ".ndjson",
        ".parquet",
        ".pq",
        ".xlsx",
        ".xlsm",
        ".xlsb",
        ".xls",
        ".ods",
        ".gz",
        ".zip",
    ]
)
NOT_WHOLE = (OSError, EOFError, zlib.error, zipfile.BadZipFile, NotImplementedError, RuntimeError)
MOST_BYTES = 16 << 30  # of one unpacked file
FREE_BYTES = 64 << 20  # below this any compression ratio passes
MOST_RATIO = 200  # unpacked to packed; job records as text shrink about tenfold (measured on the demo's exports)
MOST_MEMBERS = 10_000
CHUNK = 1 << 16  # bytes; memory for larger ones is asked of the system again each time, which takes longer than reading


@dataclass(frozen=True)
class Source:
    """One table of records, as plain bytes on disk.

    Attributes
    ----------
    name
        Shown to the user: the file's name without its folder; a member of an archive as "archive.zip: jobs.csv".
    path
        The bytes to read.
    form
        "text", "json", "sheet" or "parquet", told from the bytes.
    sha256, size
        Of the bytes at ``path``.
    beside
        Where the file itself lies, None for standard input: a layout of the same stem may lie there.
    second
        Another file whose lines are added to those of this one.
    """

    name: str
    path: Path
    form: str
    sha256: str
    size: int
    beside: Path | None
    second: Source | None = None

    def with_second(self, second: Source) -> Source:
        """Give the two files as one source, known by the bytes of both."""
        both = hashlib.sha256((self.sha256 + second.sha256).encode()).hexdigest()
        return replace(self, second=second, sha256=both, size=self.size + second.size)


@dataclass(frozen=True)
class Unopened:
    """A path, or a member of an archive, that holds no table that can be read, and why.

    It does not exist, is a folder without any file of records, is damaged, locked, or unpacks beyond all reason.
    """

    name: str
    fault: PriorjobsError


def open_sources(paths: Sequence[Path | str], scratch: Path) -> Iterator[Source | Unopened]:
    """Yield every table the paths name, in the order given, a folder's files by name, links out of the folder left out.

    Compressed files and standard input are unpacked into ``scratch``, one at a time, and removed before the next. What
    cannot be opened is yielded in its place, and stops nothing.
    """
    for path in paths:
        if str(path) == "-":
            place = scratch / "standard-input"
            with place.open("wb") as out:
                _copy(sys.stdin.buffer, out, "standard input", None)
            try:
                yield from _tables("standard input", place, None, scratch)
            except FileUnreadable as fault:
                yield Unopened("standard input", fault)
            place.unlink(missing_ok=True)
            continue
        try:
            files = _files(Path(path))
        except UsageError as fault:
            yield Unopened(str(path), fault)
            continue
        for file in files:
            try:
                yield from _tables(_name(file), file, file, scratch)
            except FileUnreadable as fault:
                yield Unopened(_name(file), fault)


def _name(file: Path) -> str:
    """Name of a file as text that can be kept: bytes that are no UTF-8, as of an old disk, become marks."""
    return os.fsencode(file.name).decode("utf-8", "replace")


def _files(path: Path) -> list[Path]:
    if path.is_dir():
        inside = [
            p for p in _shown_in(path) if p.is_file() and p.suffix.lower() in SUFFIXES and not _leads_out(p, path)
        ]
        if not inside:
            raise UsageError(
                f"There is no file of records in the folder {shown(path, 240)}.",
                f"Files are known by their ending: {', '.join(sorted(SUFFIXES))}.",
            )
        return inside
    if path.exists() and not path.is_file():
        raise UsageError(f"{shown(path, 240)} is a pipe or a device.", "Name a file; - reads standard input.")
    if not path.is_file():
        raise UsageError(f"There is no file {shown(path, 240)}.", "Check the name and the folder.")
    return [path]


def links_out(folder: Path) -> list[Path]:
    """Links in a folder to files or folders outside it: whoever fills the folder does not choose what else is read."""
    return [p for p in _shown_in(folder) if _leads_out(p, folder) and (p.is_dir() or p.suffix.lower() in SUFFIXES)]


def _shown_in(folder: Path) -> list[Path]:
    found = sorted(folder.rglob("*"))
    return [p for p in found if not any(part.startswith(".") for part in p.relative_to(folder).parts)]


def _leads_out(path: Path, folder: Path) -> bool:
    return path.is_symlink() and not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder))


def _tables(name: str, path: Path, beside: Path | None, scratch: Path, depth: int = 0) -> Iterator[Source | Unopened]:
    try:
        form = _form(path)
        if form in ("gzip", "zip") and depth >= 2:
            raise FileUnreadable(f"{shown(name)} is an archive inside an archive.", "Unpack it first, then load it.")
        if form == "gzip":
            yield from _ungzipped(name, path, beside, scratch, depth)
        elif form == "zip":
            yield from _unzipped(name, path, beside, scratch, depth)
        else:
            if _is_key(path):
                raise FileUnreadable(f"{shown(name)} is the key of a workshop and no records.", "Keep it to yourself.")
            sha256, size = _fingerprint(path)
            yield Source(name, path, form, sha256, size, beside)
    except NOT_WHOLE as fault:
        raise _not_whole(name, fault) from fault


def _not_whole(name: str, fault: BaseException) -> FileUnreadable:
    return FileUnreadable(
        f"{shown(name)} cannot be read: {shown(fault, 120)}", "Check that it is whole and not locked; copy it again."
    )


def _form(path: Path) -> str:
    with path.open("rb") as file:
        start = file.read(4096)
    if start.startswith(b"\x1f\x8b"):
        return "gzip"
    if start.startswith(b"PAR1"):
        return "parquet"
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        return "sheet"
    if start.startswith(b"PK"):
        with zipfile.ZipFile(path) as archive:
            inside = set(archive.namelist())
            if inside & {"[Content_Types].xml", "content.xml"}:
                _bounded("workbook", sum(i.file_size for i in archive.infolist()), path.stat().st_size)
                return "sheet"
        return "zip"
    text = start.removeprefix(b"\xef\xbb\xbf").lstrip()
    return "json" if text[:1] in (b"{", b"[") and b'"' in text else "text"


def _is_key(path: Path) -> bool:
    """Tell whether a file is a workshop's key, whatever its name: nothing of it is ever shown."""
    return path.stat().st_size <= 100 and re.fullmatch(rb"[0-9a-fA-F]{64}\s*", path.read_bytes()) is not None


def _ungzipped(name: str, path: Path, beside: Path | None, scratch: Path, depth: int) -> Iterator[Source | Unopened]:
    place = scratch / f"unpacked-{depth}"
    with gzip.open(path) as packed, place.open("wb") as out:
        _copy(packed, out, name, path.stat().st_size)
    yield from _tables(name, place, beside, scratch, depth + 1)
    place.unlink(missing_ok=True)


def _unzipped(name: str, path: Path, beside: Path | None, scratch: Path, depth: int) -> Iterator[Source | Unopened]:
    place = scratch / f"unpacked-{depth}"
    with zipfile.ZipFile(path) as archive:
        members = [i for i in archive.infolist() if not i.is_dir() and _is_records(i.filename)]
        if not members or len(members) > MOST_MEMBERS:
            raise FileUnreadable(
                f"{shown(name)} holds {len(members)} files of records.",
                f"An archive holds 1 to {MOST_MEMBERS:,}, known by their ending: {', '.join(sorted(SUFFIXES))}.",
            )
        for member in sorted(members, key=lambda i: i.filename):
            inside = f"{name}: {PurePosixPath(member.filename).name}"
            try:
                with archive.open(member) as packed, place.open("wb") as out:
                    _copy(packed, out, inside, member.compress_size)
                yield from _tables(inside, place, beside, scratch, depth + 1)
            except (FileUnreadable, *NOT_WHOLE) as fault:
                yield Unopened(inside, fault if isinstance(fault, FileUnreadable) else _not_whole(inside, fault))
    place.unlink(missing_ok=True)


def _is_records(member: str) -> bool:
    inside = PurePosixPath(member)
    return inside.suffix.lower() in SUFFIXES and not any(p.startswith((".", "__MACOSX")) for p in inside.parts)


def _copy(source: IO[bytes] | gzip.GzipFile, target: IO[bytes], name: str, packed_size: int | None) -> None:
    written = 0
    while chunk := source.read(CHUNK):
        written += len(chunk)
        _bounded(name, written, packed_size)
        target.write(chunk)


def _bounded(name: str, size: int, packed_size: int | None) -> None:
    is_bomb = packed_size is not None and size > FREE_BYTES and size > MOST_RATIO * max(packed_size, 1)
    if size > MOST_BYTES or is_bomb:
        raise FileUnreadable(
            f"{shown(name)} unpacks to more than {size >> 20:,} MB, beyond what job records can be.",
            "If it is genuine, unpack it yourself and load the unpacked file.",
        )


def _fingerprint(path: Path) -> tuple[str, int]:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest(), path.stat().st_size


def private_copy(source: Source, scratch: Path) -> Path:
    """Return the source's bytes under a name of ours inside ``scratch``, the only place SQL can read from."""
    place = scratch / "reading"
    place.unlink(missing_ok=True)
    shutil.copyfile(source.path, place)
    return place
