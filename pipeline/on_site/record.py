"""The file of finished visits: a line a visit, in the tool's own layout, ready to load."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Mapping
from pathlib import Path

from pipeline.call.question import Call
from pipeline.errors import UsageError, shown
from pipeline.load.layout import FIELDS
from pipeline.on_site.visit_state import Visit
from pipeline.terminal.text import safe
from pipeline.words.retests import TESTS


def record_line(visit: Visit, call: Call, *, on: dt.date | None = None) -> dict[str, str]:
    """The visit in the tool's own layout, ready to load: what was asked as written, what was seen and done in terms."""
    done = [event for event in visit.events if event.what in ("tried", "cured")]
    looked = [f"told: {name}" for name in visit.names("heard")]
    looked += [event.recorded for event in visit.events if event.what == "looks good"]
    question = visit.question()
    ordered = [f"ordered: {visit.ordered}"] if visit.ordered else []
    findings, again = _findings(visit)
    line = dict.fromkeys(FIELDS, "")
    line |= {
        "visit_date": (on or dt.date.today()).isoformat(),
        "appliance_kind": question.kind,
        "job_no": question.job_no or "",
        "customer_ref": call.customer or "",
        "serial": call.serial or "",
        "make": call.make or "",
        "model": call.model or "",
        "age": call.age or "",
        "complaint": ", ".join([*([call.complaint] if call.complaint else []), *visit.names("said")]),
        "fault_code": call.code or "",
        "findings": "; ".join(f"{finding}={value}" for finding, value in findings.items()),
        "cause": visit.cause,
        "work_done": "; ".join([*(event.name for event in done), *again, *looked, *ordered]),
        "parts": "; ".join(part for event in done for part in event.parts),
        "outcome": visit.outcome,
    }
    return line


def _findings(visit: Visit) -> tuple[dict[str, str], list[str]]:
    """What was found, and tests repeated after a repair: these belong to the work, the first reading to the fault."""
    findings, again, is_repaired = dict(visit.asked.findings), list[str](), False
    for event in visit.events:
        is_repaired = is_repaired or event.what in ("tried", "cured")
        if event.what == "seen" and is_repaired and event.name in TESTS and event.name in findings:
            again.append(f"{event.name} again: {event.value}")
        elif event.what == "seen":
            findings[event.name] = event.value
    return findings, again


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
