"""Job records into the database: each file is read, screened, compared with what is held, and taken as a whole.

What reads and stages lines is imported where the first new line comes: a file that was loaded before needs none of it.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import tomllib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

import sql
from pipeline.errors import LIES_AHEAD, DatabaseUnusable, LayoutError, PriorjobsError, shown
from pipeline.load.batches import drop, drop_taken_back, hand_over
from pipeline.load.layout import FIELDS, REQUIRED, Join, Layout, as_toml, open_layout, parse_layout
from pipeline.load.report import FileReport, LoadReport
from pipeline.read.incoming import Reading, Records
from pipeline.read.small_text import small_text
from pipeline.read.sources import Source, Unopened, links_out, open_sources
from pipeline.settings import with_currency_held
from pipeline.store.check import broken, said
from pipeline.store.own_marts import build_own_marts
from pipeline.terminal.progress import bar
from pipeline.words.edition import is_outdated

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.load.guess import Proposal
    from pipeline.load.screen import Screened
    from pipeline.load.versions import Versions
    from pipeline.load.whole_history import Gone
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

Told = Callable[[str], None]
Decide = Callable[[Source, "Proposal"], "Proposal"]
CLOCK_MOVED = "interval 30 day"  # since a load: what it refused as lying far ahead is read again
MEMORY_LIMIT = "1100MB"  # of DuckDB while it loads; what is beyond goes to disk


class _NothingKept(Exception):
    """Leaves a transaction without keeping what was done in it."""


@dataclass(frozen=True)
class _Asked:
    """What the caller asked of a load, and what came in so far: for each file the visits it holds, and its batch."""

    database: Database
    give_words: Callable[[], Words]
    settings: Settings
    layout: Layout | None
    sheet: str | None
    strict: bool
    dry_run: bool
    whole_history: bool
    decide: Decide
    tell: Told
    present: list[pd.DataFrame] = field(default_factory=list)
    batches: list[int] = field(default_factory=list)

    @cached_property
    def words(self) -> Words:
        """Word lists, opened when the first new line comes."""
        return self.give_words()


def load_files(
    database: Database,
    words: Words | Callable[[], Words],
    settings: Settings,
    paths: Sequence[Path | str],
    *,
    layout: Layout | Path | str | None = None,
    sheet: str | None = None,
    strict: bool = False,
    dry_run: bool = False,
    whole_history: bool = False,
    decide: Decide | None = None,
    progress: Told | None = None,
) -> LoadReport:
    """Load every file the paths name; each is one transaction, and one that cannot be read stops no other.

    Where the word lists have changed since, what is held is read again with them first.

    Parameters
    ----------
    database, words, settings
        The workshop; words may be what opens them, for a file that was loaded before needs none.
    paths
        Files, folders, archives; "-" is standard input.
    layout
        A layout, the path of one, or the name of a shipped one. None: a layout of the same stem beside the file, the
        one that a file of the same columns was read with before, a shipped one that fits, else one guessed from headers
        and values. A file loaded before with another layout is replaced.
    sheet
        Sheet of a spreadsheet.
    strict
        Take nothing of a file when one of its lines is refused.
    dry_run
        Do everything, keep nothing.
    whole_history
        The files together hold all jobs from the first to the last day in them: visits held in that period that they
        do not hold are taken out.
    decide
        Asked about a guessed layout, with the file: gives back the layout to read with, or raises. None: a guess is
        held back.
    progress
        Told what is being done, in sentences.

    Returns
    -------
    LoadReport
        Counts, refused lines and the mapping used, file by file; files that could not be read with their fault.

    Raises
    ------
    UsageError, FileUnreadable, LayoutError, GuessHeldBack
        The only file cannot be read at all, or its layout is a guess that nobody has looked at.
    DatabaseUnusable
        The disk is full, or the database cannot be written.
    """
    given = layout if isinstance(layout, Layout) or layout is None else open_layout(layout)
    give_words: Callable[[], Words] = words if callable(words) else lambda: words
    tell = progress or (lambda _: None)
    asked = _Asked(
        database, give_words, settings, given, sheet, strict, dry_run, whole_history, decide or hold_back, tell
    )
    report = LoadReport(dry_run=dry_run, strict=strict)
    if not dry_run and is_outdated(database.connection, settings):
        from pipeline.load.stage import restage

        asked.tell("The word lists have changed: reading the visits held again …")
        restage(database, asked.words, settings)
    report.notes = [
        f"{shown(link, 200)} is a link that leads out of the folder; it was not read. Name it itself to load it."
        for path in paths
        for link in links_out(Path(path))
    ]
    for source in open_sources(paths, database.scratch):
        report.files.append(_load_or_tell(asked, source))
    if len(report.files) == 1 and (fault := report.files[0].fault):
        raise fault
    if whole_history:
        report.gone = _take_out_gone(asked, report)
    if not dry_run:
        report.notes += build_own_marts(database)
    return report


def _load_or_tell(asked: _Asked, source: Source | Unopened) -> FileReport:
    if isinstance(source, Unopened):
        return FileReport(source.name, "", "", 0, fault=source.fault)
    try:
        return _load_one(asked, source)
    except DatabaseUnusable:
        raise
    except PriorjobsError as fault:
        return FileReport(source.name, source.sha256, "", 0, fault=fault)


def _load_one(asked: _Asked, source: Source) -> FileReport:
    layout = asked.layout or _layout_beside(source)
    if layout is not None and asked.sheet:
        layout = dataclasses.replace(layout, sheet=asked.sheet)
    same = None if layout is None and asked.sheet else _loaded_before(asked, source, layout)
    return same or _read_in_bounds(asked, source, layout)


def _take_out_gone(asked: _Asked, report: LoadReport) -> Gone | None:
    """Take out what the files, said to be the whole history of their period, no longer hold."""
    from pipeline.load.stage import restage
    from pipeline.load.whole_history import find_gone

    unread = [f.file for f in report.files if f.fault or f.is_refused_whole]
    if unread:
        report.notes.append(
            f"Nothing was taken out: without {', '.join(unread)} these files are not the whole history."
        )
        return None
    try:
        with asked.database.transaction() as connection:
            gone = find_gone(connection, asked.present, asked.batches, [f.file for f in report.files])
            if asked.dry_run:
                raise _NothingKept
            if gone.visits:
                asked.tell(f"Taking out {gone.visits:,} visits that the files no longer hold …")
                connection.execute(
                    "update raw_record set withdrawn_by = ? where visit_key in (select visit_key from gone) "
                    "and record_id in (select record_id from counted_record)",
                    [max(asked.batches)],
                )
                restage(asked.database, asked.words, asked.settings)
    except _NothingKept:
        pass
    finally:
        drop_temporary(asked.database.connection)
    return gone


@contextmanager
def _bounded_memory(connection: duckdb.DuckDBPyConnection) -> Iterator[None]:
    (before,) = connection.execute("select current_setting('memory_limit')").fetchall()[0]
    connection.execute(f"set memory_limit = '{MEMORY_LIMIT}'")
    try:
        yield
    finally:
        connection.execute("set memory_limit = ?", [before])


def _read_in_bounds(asked: _Asked, source: Source, layout: Layout | None) -> FileReport:
    try:
        with _bounded_memory(asked.database.connection):
            return _read_one(asked, source, layout)
    except duckdb.OutOfMemoryException:
        asked.tell(f"{source.name} needs more than {MEMORY_LIMIT} of memory; reading it again with more …")
    try:
        return _read_one(asked, source, layout)
    except duckdb.OutOfMemoryException as fault:
        raise DatabaseUnusable(
            f"{shown(source.name)} needs more memory than this machine has free.",
            "Load it in smaller files, one after the other; nothing of it was kept.",
        ) from fault


def _read_one(asked: _Asked, source: Source, layout: Layout | None) -> FileReport:
    from pipeline.load.guess import known_names
    from pipeline.read.reader import read

    asked.tell(f"Reading {source.name} …")
    reading = layout.reading() if layout else Reading(sheet=asked.sheet, known_names=known_names())
    report: FileReport | None = None
    try:
        records = read(asked.database.connection, source, reading, asked.database.scratch)
        with asked.database.transaction():
            report = _take(asked, source, records, layout)
            if asked.dry_run or report.is_refused_whole:
                raise _NothingKept
    except _NothingKept:
        pass
    except duckdb.IOException as fault:
        raise DatabaseUnusable(
            f"{shown(source.name)} could not be taken in: {shown(str(fault).splitlines()[0], 160)}",
            "Free space on the disk that holds the database, then load it again; nothing of it was kept.",
        ) from fault
    finally:
        drop_temporary(asked.database.connection)
    if report is None:
        raise DatabaseUnusable(f"{shown(source.name)} could not be loaded.", "Run this again.")
    return report


def _layout_beside(source: Source) -> Layout | None:
    """Open the layout of the same stem beside the file, where there is one; other TOML files are left alone."""
    if source.beside is None:
        return None
    path = source.beside.with_suffix(".toml")
    try:
        text = small_text(path)
        is_layout = "columns" in tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None
    return parse_layout(text, path.stem) if is_layout else None


def _loaded_before(asked: _Asked, source: Source, layout: Layout | None) -> FileReport | None:
    """Report on the very bytes loaded before with the same layout: nothing changes.

    Not where lines were refused as lying far ahead by another clock.
    """
    connection = asked.database.connection
    rows = connection.execute(
        "select batch_id, layout, loaded_at, lines_read, rejected, mapping from load_batch "
        "where sha256 = $sha and (layout = $label or $any) and taken_back_at is null "
        "and not exists (from rejected_record where rejected_record.batch_id = load_batch.batch_id "
        f"and contains(reasons, $ahead) "
        f"and current_localtimestamp() not between loaded_at - {CLOCK_MOVED} and loaded_at + {CLOCK_MOVED}) "
        "order by batch_id desc limit 1",
        {"sha": source.sha256, "label": layout.label if layout else "", "any": layout is None, "ahead": LIES_AHEAD},
    ).fetchall()
    if not rows or _was_refused_by_a_wrong_clock(connection, rows[0][0]):
        return None
    batch, label, loaded_at, lines, rejected, mapping = rows[0]
    if asked.whole_history:
        from pipeline.load.whole_history import present

        asked.present.append(present(connection, batch))
    asked.batches.append(batch)
    notes = [f"This file was already loaded on {loaded_at:%Y-%m-%d %H:%M} as batch {batch}; nothing changed."]
    (newer,) = connection.execute(
        "select count(distinct visit_key) from counted_record where batch_id > $batch "
        "and visit_key in (select visit_key from counted_record where batch_id = $batch)",
        {"batch": batch},
    ).fetchall()[0]
    if newer:
        notes.append(f"Of {newer:,} of its visits a later file brought a newer version, which stays: priorjobs batches")
    return FileReport(
        source.name,
        source.sha256,
        label,
        lines,
        unchanged=lines - rejected,
        rejected=rejected,
        notes=notes,
        batch=batch,
        layout_used=parse_layout(mapping, label) if mapping else layout,
    )


def _was_refused_by_a_wrong_clock(connection: duckdb.DuckDBPyConnection, batch_id: int) -> bool:
    """Whether lines were refused as lying far ahead that do not lie there today: the clock was wrong then."""
    from pipeline.load.screen import MOST_DAYS_AHEAD, RULES

    refused = connection.execute(
        "select reading, reasons from rejected_record join load_batch using (batch_id) "
        "where batch_id = ? and contains(reasons, ?) limit 1000",
        [batch_id, RULES["future"][0]],
    ).fetchall()
    if not refused:
        return False
    import numpy as np

    from pipeline.values import dates

    written = [str(reason["value"]) for _, reasons in refused for reason in json.loads(reasons)]
    days, *_ = dates.read_values(written, [1] * len(written), json.loads(refused[0][0]).get("date_order"))
    last = np.datetime64(dt.date.today() + dt.timedelta(MOST_DAYS_AHEAD), "s")
    return any(bool(day <= last) for day in days)


def _take(asked: _Asked, source: Source, records: Records, layout: Layout | None) -> FileReport:
    from pipeline.load.hints import another_language, without_causes
    from pipeline.load.privacy import load_key
    from pipeline.load.screen import screen
    from pipeline.load.shape import forms_to_find, shape
    from pipeline.load.versions import compare

    connection = asked.database.connection
    proposal = None
    columns_of_file = records.header
    notes: list[str] = []
    if layout is None:
        layout, proposal = _choose_layout(asked, source, records, notes)
        if asked.sheet:
            layout = dataclasses.replace(layout, sheet=asked.sheet)
        if same := _loaded_before(asked, source, layout):
            return same
    shaped = shape(connection, records, layout)
    if lacking := shaped.layout.missing(shaped.header):
        raise _without_columns(source, layout, shaped.header, lacking)
    notes += shaped.notes
    drop_taken_back(connection)
    place = _make_place(connection, source, records, notes)
    settings = with_currency_held(asked.settings, connection)
    forms = forms_to_find(connection, layout, asked.words) if layout.finds_words else {}
    key = load_key(asked.database.key_file)
    screened = screen(connection, shaped.layout, shaped.header, records, settings, key, forms)
    notes += screened.notes
    versions = compare(connection, shaped.layout.grain)
    report = FileReport(
        source.name,
        source.sha256,
        layout.label,
        screened.lines,
        loaded=versions.loaded,
        unchanged=versions.unchanged,
        replaced=versions.replaced,
        rejected=screened.rejected,
        reasons=[{"column": c, "rule": r, "lines": n} for (c, r), n in screened.reasons.most_common()],
        rejected_lines=screened.shown,
        notes=[*records.notes, *notes, *_later_than_today(connection)],
        proposal=proposal,
        layout_used=layout,
        batch=place.batch,
    )
    if versions.loaded:
        report.notes += without_causes(connection, asked.words, shaped.layout, shaped.header)
        report.notes += another_language(connection, asked.words, asked.settings)
    if asked.strict and screened.rejected:
        report.is_refused_whole = True
        report.loaded = report.unchanged = report.replaced = 0
        report.rejected = report.read
        return report
    from pipeline.load.whole_history import missed, present_in_file

    if asked.whole_history:
        asked.present.append(present_in_file(connection))
    elif lacking_visits := missed(connection, source.name):
        report.notes.append(
            f"{lacking_visits:,} visits of this period that an earlier file of this name held are not in it. "
            "They stay. If it holds all jobs of its period, load with --whole-history."
        )
    asked.batches.append(place.batch)
    last_record = _keep_batch(connection, source, layout, screened, versions, records, columns_of_file, place)
    if place.replaces or versions.loaded:
        _build(asked, place, last_record)
        report.notes += [said(offence) for offence in broken(connection)]
    return report


def _choose_layout(asked: _Asked, source: Source, records: Records, notes: list[str]) -> tuple[Layout, Proposal | None]:
    from pipeline.load.guess import shipped_layout

    rows = asked.database.connection.execute(
        "select mapping, batch_id, file_name from load_batch where header = ? and mapping is not null "
        "and taken_back_at is null order by batch_id desc limit 1",
        [_as_json(records.header)],
    ).fetchall()
    shipped = shipped_layout(records.header)
    if not rows:
        return (shipped, None) if shipped else _guessed(asked, source, records)
    mapping, batch, name = rows[0]
    layout = dataclasses.replace(parse_layout(mapping, Path(name).stem), sheet=None)
    if layout.join or layout.sheets:
        from pipeline.read.reader import read

        again = read(asked.database.connection, source, layout.reading(), asked.database.scratch)
        vars(records).update(vars(again))
    if shipped is None or shipped.label != layout.label:
        notes.append(
            f"Read as batch {batch} ({shown(name)}) was, which has the same columns: layout {shown(layout.name)}."
        )
    return layout, None


def _guessed(asked: _Asked, source: Source, records: Records) -> tuple[Layout, Proposal]:
    from pipeline.load.guess import guess_layout, words_of_all_languages

    connection = asked.database.connection
    words = words_of_all_languages(connection, asked.settings)
    join = _second_sheet(asked, source, records)
    proposal = guess_layout(connection, words, records.header, Path(source.name).stem)
    if join:
        proposal = dataclasses.replace(
            proposal,
            layout=dataclasses.replace(proposal.layout, join=join),
            notes=(*proposal.notes, f"lines of sheet {join.sheet} are added by {join.by}"),
        )
    if not asked.dry_run:
        proposal = asked.decide(source, proposal)
    return proposal.layout, proposal


def _second_sheet(asked: _Asked, source: Source, records: Records) -> Join | None:
    """Read a second sheet with the first, where it holds parts and both have a column of job numbers."""
    from pipeline.load.column_evidence import header_score, known_names
    from pipeline.load.guess_shape import NAMED
    from pipeline.read.incoming import plain_name
    from pipeline.read.reader import read

    if asked.sheet:
        return None
    for name, header in records.other_sheets.items():
        both = {plain_name(c) for c in header} & {plain_name(c) for c in records.header}
        by = [c for c in records.header if plain_name(c) in both and header_score(c, "job_no") > NAMED]
        if by and any(header_score(c, "part") > NAMED or header_score(c, "parts") > NAMED for c in header):
            reading = Reading(known_names=known_names(), join=(name, by[0]))
            joined = read(asked.database.connection, source, reading, asked.database.scratch)
            vars(records).update(vars(joined))
            return Join(name, by[0])
    return None


def hold_back(source: Source, proposal: Proposal) -> Proposal:
    """Load nothing by a guess that nobody has looked at."""
    from pipeline.load.guess import GuessHeldBack

    raise GuessHeldBack(source.name, proposal)


def accept(source: Source, proposal: Proposal) -> Proposal:
    """Load by the guess; what several columns may be is left out, and what no visit can do without is not chosen."""
    if proposal.lacking or any(guess.field in REQUIRED for guess in proposal.open_fields):
        return hold_back(source, proposal)
    return proposal.accepted()


@dataclass(frozen=True)
class _Place:
    """Where a batch goes: its number, and the record_id its lines count on from (None = the last one held).

    It takes the place of an older one when the same file was read before, with another layout.
    """

    batch: int
    records_after: int | None
    replaces: bool


def _make_place(connection: duckdb.DuckDBPyConnection, source: Source, records: Records, notes: list[str]) -> _Place:
    """Take out what the same bytes (of a workbook: the same sheet) brought before, and give its place away again."""
    before = connection.execute(
        "select batch_id, layout, loaded, records_after from load_batch where sha256 = ? "
        "and coalesce(reading->>'$.sheet', '') = ? order by batch_id",
        [source.sha256, records.how.get("sheet", "")],
    ).fetchall()
    for batch, label, loaded, _ in before:
        hand_over(connection, batch)
        drop(connection, batch)
        notes.append(f"The same file was read before (layout {shown(label)}): its {loaded:,} lines were replaced.")
    if before:
        return _Place(before[0][0], before[0][3], replaces=True)
    (batch,) = connection.execute("select coalesce(max(batch_id), 0) + 1 from load_batch").fetchall()[0]
    return _Place(batch, None, replaces=False)


def _build(asked: _Asked, place: _Place, last_record: int) -> None:
    """Read the new lines into values and terms and build the tables; where lines went out, read all that are held."""
    from pipeline.load.stage import restage, stage_batch

    if place.replaces:
        asked.tell("Reading all visits again without the lines that were replaced …")
        restage(asked.database, asked.words, with_currency_held(asked.settings, asked.database.connection))
    else:
        asked.tell("Reading the words of the new lines …")
        connection = asked.database.connection
        settings = with_currency_held(asked.settings, connection)
        stage_batch(connection, asked.words, settings, place.batch, last_record)
        asked.tell("Building the tables …")
        sql.rebuild(connection, lambda done, of: asked.tell(bar(done, of, "tables")))


def _as_json(header: tuple[str, ...]) -> str:
    return json.dumps(header, ensure_ascii=False)


def _later_than_today(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Say how many visits lie ahead: the last visit ends every follow-up, so a mistyped year would close them all."""
    lines, last = connection.execute("select count(*), max(day) from candidate where day > current_date").fetchall()[0]
    if not lines:
        return []
    return [
        f"Visits later than today: {lines:,}, the last on {last}. Follow-up is counted to the last visit: "
        "if these are planned calls or mistyped years, set as_of in the settings file."
    ]


def _without_columns(source: Source, layout: Layout, columns: tuple[str, ...], lacking: list[str]) -> LayoutError:
    wanted = []
    for name in lacking:
        asked = [rule.column for rule in layout.columns.get(name, ())]
        wanted.append(name + (f" (column {' or '.join(shown(c) for c in asked)})" if asked else ""))
    header = ", ".join(shown(h, 30) for h in columns[:30])
    return LayoutError(
        f"{source.name} lacks what every visit needs: {'; '.join(wanted)}. Its columns are {header}.",
        "Say in a layout file which column holds it, and load with --layout FILE.",
    )


def _keep_batch(
    connection: duckdb.DuckDBPyConnection,
    source: Source,
    layout: Layout,
    screened: Screened,
    versions: Versions,
    records: Records,
    columns_of_file: tuple[str, ...],
    place: _Place,
) -> int:
    """Write load_batch, raw_record, seen_again and rejected_record; returns the record_id its lines count on from."""
    last_record = _records_after(connection, place)
    kept = {
        "batch_id": place.batch,
        "file_name": source.name,
        "sha256": source.sha256,
        "bytes": source.size,
        "layout": layout.label,
        "reading": json.dumps(screened.how | records.how, ensure_ascii=False),
        "loaded_at": dt.datetime.now().replace(microsecond=0),
        "lines_read": screened.lines,
        "loaded": versions.loaded,
        "unchanged": versions.unchanged,
        "replaced": versions.replaced,
        "rejected": screened.rejected,
        "mapping": as_toml(layout),
        "header": _as_json(columns_of_file),
        "records_after": last_record,
    }
    connection.execute(
        f"insert into load_batch ({', '.join(kept)}) values ({', '.join('?' * len(kept))})", list(kept.values())
    )
    fields = ", ".join(FIELDS)
    connection.execute(
        f"insert into raw_record (record_id, batch_id, line_no, visit_key, line_in_visit, content_hash, {fields}, "
        f"other_columns) select $last + line_no, $batch, coalesce(source_line, line_no), visit_key, line_in_visit, "
        f"coalesce(content_hash, line_hash), {fields}, other_columns from screened join fresh using (line_no) "
        "left join source_line using (line_no)",
        {"last": last_record, "batch": place.batch},
    )
    connection.execute(
        "insert into seen_again select $batch, coalesce(source_line, line_no), record_id from found_again "
        "left join source_line using (line_no) order by all",
        {"batch": place.batch},
    )
    connection.execute(
        "insert into rejected_record (batch_id, line_no, line_text, reasons) "
        "select $batch, line_no, line_text, reasons from refusal order by line_no",
        {"batch": place.batch},
    )
    return last_record


def _records_after(connection: duckdb.DuckDBPyConnection, place: _Place) -> int:
    """Count on from the last record held, or from where the replaced batch did if its numbers are free."""
    (last,) = connection.execute("select coalesce(max(record_id), 0) from raw_record").fetchall()[0]
    if place.records_after is None:
        return int(last)
    (taken,) = connection.execute(
        "select count(*) from raw_record where record_id > $after and record_id <= $after + "
        "(select coalesce(max(line_no), 0) from fresh)",
        {"after": place.records_after},
    ).fetchall()[0]
    return int(last if taken else place.records_after)


def drop_temporary(connection: duckdb.DuckDBPyConnection) -> None:
    """Forget the working tables: they hold unmasked text."""
    views = connection.execute("select view_name from duckdb_views() where temporary and not internal").fetchall()
    tables = connection.execute("select table_name from duckdb_tables() where temporary").fetchall()
    for (name,) in views:
        connection.execute(f"drop view if exists {name}")
    for (name,) in tables:
        connection.execute(f"drop table if exists {name}")
