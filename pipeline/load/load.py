"""Job records into the database: each file is read, screened, compared with what is held, and taken as a whole.

What reads and stages lines is imported where the first new line comes: a file that was loaded before needs none of it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import DatabaseUnusable, PriorjobsError, shown
from pipeline.load.batches import drop_taken_back
from pipeline.load.choose_layout import choose_layout, layout_beside, second_files, without_columns
from pipeline.load.keep import Place, keep_batch, make_place
from pipeline.load.layout import Layout
from pipeline.load.load_request import Asked
from pipeline.load.loaded_before import loaded_before
from pipeline.load.report import FileReport, LoadReport
from pipeline.read.incoming import Reading, Records
from pipeline.read.sources import Source, Unopened, links_out, open_sources
from pipeline.settings import with_currency_held
from pipeline.store.check import broken, said
from pipeline.store.own_marts import build_own_marts
from pipeline.terminal.progress import bar
from pipeline.words.list_version import is_outdated
from sql.refresh import refreshed
from sql.working import drop_temporary, make

if TYPE_CHECKING:
    from pipeline.load.refusals import Screened
    from pipeline.load.versions import Versions
    from pipeline.load.whole_history import Gone

MEMORY = 850 << 20  # bytes DuckDB may keep while it loads a file, or ...
MEMORY_OF_FILE = 2  # ... so many a byte of the file, if that is more; what is beyond goes to disk
LARGE = 2 << 20  # bytes of a file that all cores are to read, whatever the size of the database (see `connect.SMALL`)


class _NothingKept(Exception):
    """Leaves a transaction without keeping what was done in it."""


def load_files(asked: Asked, paths: Sequence[Path | str]) -> LoadReport:
    """Load every file the paths name; each is one transaction, and one that cannot be read stops no other.

    Where the word lists or rates have changed since, what is held is read again with them first.

    Parameters
    ----------
    asked
        Of which workshop, and how.
    paths
        Files, folders, archives; "-" is standard input.

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
    report = LoadReport(dry_run=asked.dry_run, strict=asked.strict)
    report.notes = [] if asked.dry_run else _bring_up_to_date(asked)
    report.notes += [
        f"{shown(link, 200)} is a link that leads out of the folder; it was not read. Name it itself to load it."
        for path in paths
        for link in links_out(Path(path))
    ]
    seconds = second_files(asked.layout, paths)
    for source in open_sources([p for p in paths if Path(p) not in seconds.values()], asked.database.scratch):
        if isinstance(source, Source) and (second := seconds.get(source.path)) and source.form != "sheet":
            source = _with_second(asked, source, second)
        report.files.append(_load_or_tell(asked, source))
    if len(report.files) == 1 and (fault := report.files[0].fault):
        raise fault
    if asked.whole_history:
        report.gone = _take_out_gone(asked, report)
    if not asked.dry_run:
        report.notes += build_own_marts(asked.database)
    return report


def _with_second(asked: Asked, source: Source, second: Path) -> Source | Unopened:
    """Give a file together with the one whose lines are added to it."""
    for opened in open_sources([second], asked.database.scratch):
        return opened if isinstance(opened, Unopened) else source.with_second(opened)
    return source


def _bring_up_to_date(asked: Asked) -> list[str]:
    """Bring what is held to the settings in force: names become hashes, changed lists and rates read it again."""
    notes: list[str] = []
    if asked.settings.hash_technicians:
        from pipeline.load.technicians import hash_held

        notes += [hashed] if (hashed := hash_held(asked.database)) else []
    if is_outdated(asked.database.connection, asked.settings):
        from pipeline.load.stage import restage

        asked.tell("The word lists or rates have changed: reading the visits held again …")
        restage(asked.database, asked.words, asked.settings)
    return notes


def _load_or_tell(asked: Asked, source: Source | Unopened) -> FileReport:
    if isinstance(source, Unopened):
        return FileReport(source.name, "", "", 0, fault=source.fault)
    try:
        return _load_one(asked, source)
    except DatabaseUnusable:
        raise
    except PriorjobsError as fault:
        return FileReport(source.name, source.sha256, "", 0, fault=fault)


def _load_one(asked: Asked, source: Source) -> FileReport:
    layout = asked.layout or layout_beside(source)
    if layout is not None and asked.sheet:
        layout = dataclasses.replace(layout, sheet=asked.sheet)
    same = None if layout is None and asked.sheet else loaded_before(asked, source, layout)
    return same or _read_in_bounds(asked, source, layout)


def _take_out_gone(asked: Asked, report: LoadReport) -> Gone | None:
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
def _bounded_memory(connection: duckdb.DuckDBPyConnection, bound: int) -> Iterator[None]:
    before = _memory_limit(connection)
    connection.execute("set memory_limit = ?", [f"{bound >> 20}MiB"])
    try:
        yield
    finally:
        connection.execute("set memory_limit = ?", [before])


def _memory_limit(connection: duckdb.DuckDBPyConnection) -> str:
    (limit,) = connection.execute("select current_setting('memory_limit')").fetchall()[0]
    return str(limit)


def _bytes(size: str) -> float:
    """Give "18.8 GiB" in bytes."""
    number, unit = size.split()
    return float(number) * float(1024 ** "bKMGT".index(unit[0]))


def _read_in_bounds(asked: Asked, source: Source, layout: Layout | None) -> FileReport:
    if source.size > LARGE:
        asked.database.connection.execute("reset threads")
    bound = max(MEMORY, MEMORY_OF_FILE * source.size)
    if bound < _bytes(_memory_limit(asked.database.connection)):
        try:
            with _bounded_memory(asked.database.connection, bound):
                return _read_one(asked, source, layout)
        except duckdb.OutOfMemoryException:
            asked.tell(f"{source.name} needs more than {bound >> 20:,} MB of memory here; again with more …")
    try:
        return _read_one(asked, source, layout)
    except duckdb.OutOfMemoryException as fault:
        raise DatabaseUnusable(
            f"{shown(source.name)} needs more memory than this machine has free.",
            "Load it in smaller files, one after the other; nothing of it was kept.",
        ) from fault


def _read_one(asked: Asked, source: Source, layout: Layout | None) -> FileReport:
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


def _take(asked: Asked, source: Source, records: Records, layout: Layout | None) -> FileReport:
    from pipeline.load.hashes import load_key
    from pipeline.load.hints import another_language, blank_lines, of_batch, without_causes
    from pipeline.load.screen import screen
    from pipeline.load.shape import forms_to_find, shape
    from pipeline.load.taken_away import remember_held, taken_away
    from pipeline.load.versions import compare

    connection = asked.database.connection
    proposal = None
    columns_of_file = records.header
    notes = blank_lines(connection)
    if layout is None:
        layout, proposal = choose_layout(asked, source, records, notes)
        if asked.sheet:
            layout = dataclasses.replace(layout, sheet=asked.sheet)
        if same := loaded_before(asked, source, layout):
            return same
    shaped = shape(connection, records, layout, lambda: asked.words)
    if lacking := shaped.layout.missing(shaped.header):
        raise without_columns(source, layout, shaped.header, lacking)
    notes += shaped.notes
    drop_taken_back(connection)
    place = make_place(connection, source, records, layout, notes, None if asked.dry_run else asked.may_replace)
    settings = with_currency_held(asked.settings, connection)
    forms = forms_to_find(connection, layout, asked.words) if layout.finds_words else {}
    key = load_key(asked.database.key_file)
    screened = screen(connection, shaped.layout, shaped.header, records, settings, key, forms)
    notes += screened.notes
    versions = compare(connection, shaped.layout.grain)
    notes = [*_without_lines(screened.lines), *records.notes, *notes]
    notes += [*_later_than_today(connection), *_told_twice(connection, shaped.layout, versions)]
    report = _report(source, layout, screened, versions, notes)
    report.proposal, report.batch = proposal, place.batch
    if versions.loaded:
        report.notes += without_causes(connection, asked.words, shaped.layout, shaped.header)
        report.notes += another_language(connection, asked.words, asked.settings)
    if asked.strict and screened.rejected:
        report.refuse_whole()
        return report
    _compare_with_history(asked, source, report)
    asked.batches.append(place.batch)
    keep_batch(connection, source, layout, screened, versions, records, columns_of_file, place)
    if place.replaces or versions.loaded:
        if versions.replaced:
            remember_held(connection)
        offences = _build(asked, place)
        if versions.replaced:
            report.notes += taken_away(connection, screened.how["lacks"], place.batch)
        report.notes += of_batch(connection, place.batch)
        report.notes += [said(offence) for offence in offences]
    return report


def _report(source: Source, layout: Layout, screened: Screened, versions: Versions, notes: list[str]) -> FileReport:
    return FileReport(
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
        notes=notes,
        layout_used=layout,
    )


def _compare_with_history(asked: Asked, source: Source, report: FileReport) -> None:
    """Keep what is in a whole history; of any other file say which visits an earlier one of its name held beyond it."""
    from pipeline.load.whole_history import missed, present_in_file

    connection = asked.database.connection
    if asked.whole_history:
        asked.present.append(present_in_file(connection))
    elif lacking := missed(connection, source.name):
        report.notes.append(
            f"{lacking:,} visits of this period that an earlier file of this name held are not in it. "
            "They stay. If it holds all jobs of its period, load with --whole-history."
        )


def _without_lines(lines: int) -> list[str]:
    return [] if lines else ["It holds the names of columns and no line."]


def _build(asked: Asked, place: Place) -> list[dict[str, Any]]:
    """Read the new lines into values and terms and build the tables; where lines went out, read all that are held.

    Returns what must hold of what was built and does not, as `broken` does.
    """
    from pipeline.load.stage import restage, stage_batch

    connection = asked.database.connection
    if place.replaces:
        asked.tell("Reading all visits again without the lines that were replaced …")
        restage(asked.database, asked.words, with_currency_held(asked.settings, connection))
        return broken(connection, with_figures=False)
    asked.tell("Reading the words of the new lines …")
    settings = with_currency_held(asked.settings, connection)
    stage_batch(connection, asked.words, settings, place.batch)
    asked.tell("Building the tables …")
    with refreshed(connection, lambda done, of: asked.tell(bar(done, of, "tables"))):
        return broken(connection, with_figures=False)


def _later_than_today(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Say how many visits lie ahead: the last visit ends every follow-up, so a mistyped year would close them all."""
    lines, last = connection.execute("select count(*), max(day) from candidate where day > current_date").fetchall()[0]
    if not lines:
        return []
    return [
        f"Visits later than today: {lines:,}, the last on {last}. Follow-up is counted to the last visit: "
        "if these are planned calls or mistyped years, set as_of in the settings file."
    ]


def _told_twice(connection: duckdb.DuckDBPyConnection, layout: Layout, versions: Versions) -> list[str]:
    """Say how many visits stand on several lines where a line should be a visit: each would count as a return."""
    if layout.grain != "visit" or versions.keys_differ:
        return []
    make(connection, "doubled_visit")
    visits, job, day = connection.execute(
        "select count(*), arg_min(job_no, day), min(day) from doubled_visit"
    ).fetchall()[0]
    if not visits:
        return []
    return [
        f"{visits:,} visits stand on more than one line of the same job, day and appliance, first job {shown(job)} on "
        f"{day}. Each line counts as a visit of its own, so the later ones look like returns. If a line is a part, "
        'load the file again with grain = "part" in its layout (--save-layout writes one).'
    ]
