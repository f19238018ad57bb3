"""Calls out of a file: any file that `load` reads, one line a call."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.call.question import Call, Question
from pipeline.errors import UsageError, shown
from pipeline.load.guess import guess_layout, known_names, shipped_layout
from pipeline.read.incoming import Reading, Records
from pipeline.read.reader import read
from pipeline.read.sources import Unopened, open_sources
from pipeline.visit.ask import questions_of
from reports.render.wording import Written, sentence
from sql.working import drop_temporary

if TYPE_CHECKING:
    from pipeline.load.layout import Layout
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

MOST_CALLS = 1000  # of a file meant as a day's calls; more is a mistake, or a trap


def read_calls(
    database: Database, words: Words, path: Path, *, mask: bool = True
) -> tuple[list[dict[str, str]], dt.date | None, list[str]]:
    """Read the calls as text.

    Returns
    -------
    tuple
        One mapping of field to text a line; the day they are for when they name one day; and the lines that could not
        be read, with the reason and the remedy.

    Raises
    ------
    FileUnreadable, UsageError
        As `pipeline.load.load.load_files`; or no column gives the kind of appliance.
    """
    import pandas as pd

    from pipeline.load.personal_data import mask_contacts
    from pipeline.values import dates

    lines, refused = _read_lines(database, words, path)
    if len(lines) > MOST_CALLS:
        raise UsageError(
            f"{shown(path.name)} holds {len(lines):,} calls; a round holds at most {MOST_CALLS}.",
            "Give the calls of one day and one van.",
        )
    if mask and lines:
        complaints = mask_contacts(pd.Series([line["complaint"] for line in lines], dtype="str"))
        lines = [{**line, "complaint": text} for line, text in zip(lines, complaints.fillna(""), strict=True)]
    written = pd.Series([line["visit_date"] for line in lines], dtype="str")
    days = dates.parse(written.where(written != ""))["value"].dropna().unique()
    return lines, pd.Timestamp(days[0]).date() if len(days) == 1 else None, refused


def unread_days(lines: Sequence[Mapping[str, str]]) -> list[str]:
    """Days of calls that are none: each call is planned, and its line and value are told."""
    import pandas as pd

    from pipeline.values import dates

    read = dates.parse(pd.Series([line["visit_date"] for line in lines], dtype="str"))
    return [
        sentence("round.no_day", line=Written(line["line_no"]), day=Written(shown(line["visit_date"])))
        for line, problem in zip(lines, read["problem"].isna(), strict=True)
        if not problem
    ]


def told_twice(lines: Sequence[Mapping[str, str]]) -> list[str]:
    """Job numbers that stand at several lines: each is planned, and the technician is told."""
    at: dict[str, list[str]] = {}
    for line in lines:
        if line["job_no"]:
            at.setdefault(line["job_no"], []).append(line["line_no"])
    return [
        sentence("round.told_twice", job=Written(shown(job)), lines=[Written(number) for number in numbers])
        for job, numbers in at.items()
        if len(numbers) > 1
    ]


def _read_lines(database: Database, words: Words, path: Path) -> tuple[list[dict[str, str]], list[str]]:
    """Fields of every line as text, "" where not given, and its line_no; and the lines refused, with reasons."""
    from pipeline.load.layout import FIELDS
    from pipeline.load.mapping import map_lines

    with _incoming(database, path) as records:
        layout = (
            shipped_layout(records.header) or guess_layout(database.connection, words, records.header, path.stem).layout
        )
        if "appliance_kind" not in layout.columns or not _gives(layout, records.header):
            raise UsageError(
                f"{shown(path.name)} has no column for the kind of appliance.",
                "Name its columns as in a job record: appliance_kind, make, model, age, complaint, fault_code.",
            )
        map_lines(database.connection, dataclasses.replace(layout, personal=()), records.header)
        rows = database.connection.execute(
            f"select line_no, {', '.join(FIELDS)} from line order by line_no limit {MOST_CALLS + 1}"
        ).fetchall()
        refused = [f"line {line.line_no}: {line.rule}. {line.remedy}" for line in records.refused]
    return [
        {"line_no": str(row[0]), **{name: value or "" for name, value in zip(FIELDS, row[1:], strict=True)}}
        for row in rows
    ], refused


def _gives(layout: Layout, header: tuple[str, ...]) -> bool:
    from pipeline.load.layout import position

    return any(position(header, rule.column) is not None for rule in layout.columns["appliance_kind"])


@contextmanager
def _incoming(database: Database, path: Path) -> Iterator[Records]:
    """Read a small file into the working table; it is dropped again, for it holds unmasked text."""
    try:
        for source in open_sources([path], database.scratch):
            if isinstance(source, Unopened):
                raise source.fault
            yield read(database.connection, source, Reading(known_names=known_names()), database.scratch)
            return
        raise UsageError(f"{shown(path.name)} holds no lines.", "Give a file of calls.")
    finally:
        drop_temporary(database.connection)


def questions_of_lines(
    database: Database, words: Words, settings: Settings, lines: Sequence[Mapping[str, str]], day: dt.date | None
) -> list[Question]:
    """Read the calls of lines as `questions_of` does."""
    calls = [
        Call(
            kind=line["appliance_kind"],
            make=line["make"],
            model=line["model"],
            age=line["age"],
            complaint=line["complaint"],
            code=line["fault_code"],
            found=(line["findings"],) if line["findings"] else (),
            job_no=line["job_no"],
            serial=line["serial"],
            customer=line["customer_ref"],
            notes=[line[name] for name in ("cause", "work_done", "parts", "outcome")],
        )
        for line in lines
    ]
    return questions_of(database, words, settings, calls, on=day) if calls else []
