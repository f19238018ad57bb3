"""The file of finished visits: a line a visit, in the tool's own layout, ready to load."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import UsageError, shown
from pipeline.load.layout import FIELDS
from pipeline.terminal.text import safe


def header_of(path: Path) -> list[str]:
    """Columns of the record file; the own layout when the file is new or empty.

    Raises
    ------
    UsageError
        The file holds other columns than a record's, or cannot be written.
    """
    try:
        path.open("a", encoding="utf-8").close()
        with path.open(encoding="utf-8-sig", newline="") as file:
            header = next(csv.reader(file), [])
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise UsageError(
            f"{shown(path)} cannot be used as a record file.",
            "Name a file in a folder you may write to, with --record.",
        ) from fault
    if not header:
        return list(FIELDS)
    if missing := [
        name for name in ("visit_date", "appliance_kind", "findings", "cause", "outcome") if name not in header
    ]:
        raise UsageError(
            f"{shown(path.name)} is not a record file: it has no column {', '.join(missing)}.",
            "Name a new file with --record, or one in the tool's own layout.",
        )
    return header


def append_record(path: Path, line: Mapping[str, str]) -> None:
    """Add one line to a record file, its header first when it is new."""
    header = header_of(path)
    is_new = not path.exists() or path.stat().st_size == 0
    ends_open = not is_new and not path.read_bytes().endswith((b"\n", b"\r"))
    with path.open("a", encoding="utf-8", newline="") as file:
        if ends_open:
            file.write("\n")
        writer = csv.DictWriter(file, header, extrasaction="ignore", restval="")
        if is_new:
            writer.writeheader()
        writer.writerow({name: safe(value).replace("\n", " ") for name, value in line.items()})


def stand_in_number() -> str:
    """Stamp of day and time: a record needs a job number where none is given."""
    return dt.datetime.now().astimezone().strftime("V%Y%m%d-%H%M%S")
