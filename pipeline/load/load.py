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
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

import sql
from pipeline.errors import DatabaseUnusable, LayoutError, shown
from pipeline.load.layout import FIELDS, Layout, open_layout, parse_layout
from pipeline.load.report import FileReport, LoadReport
from pipeline.read.incoming import Reading, Records
from pipeline.read.small_text import small_text
from pipeline.read.sources import Source, links_out, open_sources
from pipeline.store.check import broken, said
from pipeline.terminal.progress import bar
from pipeline.words.edition import is_outdated

if TYPE_CHECKING:
    from pipeline.load.screen import Screened
    from pipeline.load.versions import Versions
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

Told = Callable[[str], None]
MEMORY_LIMIT = "1100MB"  # of DuckDB while it loads; what is beyond goes to disk


class _NothingKept(Exception):
    """Leaves a transaction without keeping what was done in it."""


@dataclass(frozen=True)
class _Asked:
    """What the caller asked of a load."""

    database: Database
    give_words: Callable[[], Words]
    settings: Settings
    layout: Layout | None
    sheet: str | None
    strict: bool
    dry_run: bool
    tell: Told

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
    progress: Told | None = None,
) -> LoadReport:
    """Load every file the paths name; each is one transaction.

    Where the word lists have changed since, what is held is read again with them first.

    Parameters
    ----------
    database, words, settings
        The workshop; words may be what opens them, for a file that was loaded before needs none.
    paths
        Files, folders, archives; "-" is standard input.
    layout
        A layout, the path of one, or the name of a shipped one. None: a layout of the same stem beside the file, a
        shipped one that fits, else one guessed from headers and values.
    sheet
        Sheet of a spreadsheet.
    strict
        Take nothing of a file when one of its lines is refused.
    dry_run
        Do everything, keep nothing.
    progress
        Told what is being done, in sentences.

    Returns
    -------
    LoadReport
        Counts, refused lines and the mapping used, file by file.

    Raises
    ------
    UsageError, FileUnreadable, LayoutError
        A file that cannot be read at all: nothing of it is taken; files before it stay loaded.
    DatabaseUnusable
        The disk is full, or the database cannot be written.
    """
    given = layout if isinstance(layout, Layout) or layout is None else open_layout(layout)
    give_words: Callable[[], Words] = words if callable(words) else lambda: words
    asked = _Asked(database, give_words, settings, given, sheet, strict, dry_run, progress or (lambda _: None))
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
        report.files.append(_load_one(asked, source))
    return report


def _load_one(asked: _Asked, source: Source) -> FileReport:
    layout = asked.layout or _layout_beside(source)
    if layout is not None and asked.sheet:
        layout = dataclasses.replace(layout, sheet=asked.sheet)
    same = _loaded_before(asked.database.connection, source, layout, asked.sheet)
    return same or _read_in_bounds(asked, source, layout)


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


def _loaded_before(
    connection: duckdb.DuckDBPyConnection, source: Source, layout: Layout | None, sheet: str | None
) -> FileReport | None:
    """Report on the very bytes loaded before with the same layout: nothing changes."""
    if layout is None and sheet:
        return None
    rows = connection.execute(
        "select batch_id, layout, loaded_at, lines_read, rejected from load_batch "
        "where sha256 = ? and (layout = ? or ?) order by batch_id desc limit 1",
        [source.sha256, layout.label if layout else "", layout is None],
    ).fetchall()
    if not rows or _was_refused_by_a_wrong_clock(connection, rows[0][0]):
        return None
    _, label, loaded_at, lines, rejected = rows[0]
    return FileReport(
        source.name,
        source.sha256,
        label,
        lines,
        unchanged=lines - rejected,
        rejected=rejected,
        notes=[f"This file was already loaded on {loaded_at:%Y-%m-%d %H:%M}; nothing changed."],
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
    from pipeline.load.guess import choose_layout
    from pipeline.load.privacy import load_key
    from pipeline.load.screen import screen
    from pipeline.load.stage import stage_batch
    from pipeline.load.versions import compare

    connection = asked.database.connection
    proposal = None
    if layout is None:
        layout, proposal = choose_layout(connection, asked.words, records.header, Path(source.name).stem)
        if asked.sheet:
            layout = dataclasses.replace(layout, sheet=asked.sheet)
    if lacking := layout.missing(records.header):
        raise _without_columns(source, layout, records, lacking)
    screened = screen(connection, layout, records, asked.settings, load_key(asked.database.key_file))
    versions = compare(connection, layout.grain)
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
        notes=[*records.notes, *_later_than_today(connection)],
        proposal=proposal,
        layout_used=layout,
    )
    if asked.strict and screened.rejected:
        report.is_refused_whole = True
        report.loaded = report.unchanged = report.replaced = 0
        report.rejected = report.read
        return report
    batch_id, last_record = _keep_batch(connection, source, layout, screened, versions, records)
    if versions.loaded:
        asked.tell(f"Reading the words of {versions.loaded:,} lines …")
        stage_batch(connection, asked.words, asked.settings, batch_id, last_record)
        asked.tell("Building the tables …")
        sql.rebuild(connection, lambda done, of: asked.tell(bar(done, of, "tables")))
        report.notes += [said(offence) for offence in broken(connection)]
    return report


def _later_than_today(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Say how many visits lie ahead: the last visit ends every follow-up, so a mistyped year would close them all."""
    lines, last = connection.execute("select count(*), max(day) from candidate where day > current_date").fetchall()[0]
    if not lines:
        return []
    return [
        f"Visits later than today: {lines:,}, the last on {last}. Follow-up is counted to the last visit: "
        "if these are planned calls or mistyped years, set as_of in the settings file."
    ]


def _without_columns(source: Source, layout: Layout, records: Records, lacking: list[str]) -> LayoutError:
    wanted = []
    for name in lacking:
        columns = [rule.column for rule in layout.columns.get(name, ())]
        wanted.append(name + (f" (column {' or '.join(shown(c) for c in columns)})" if columns else ""))
    header = ", ".join(shown(h, 30) for h in records.header[:30])
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
) -> tuple[int, int]:
    """Write load_batch, raw_record and rejected_record; returns the batch's number and the last record_id before it."""
    batch_id, last_record = connection.execute(
        "select (select coalesce(max(batch_id), 0) + 1 from load_batch), "
        "(select coalesce(max(record_id), 0) from raw_record)"
    ).fetchall()[0]
    names = "batch_id, file_name, sha256, bytes, layout, reading, loaded_at, lines_read"
    names += ", loaded, unchanged, replaced, rejected"
    connection.execute(
        f"insert into load_batch ({names}) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            batch_id, source.name, source.sha256, source.size, layout.label,
            json.dumps(screened.how | records.how, ensure_ascii=False), dt.datetime.now().replace(microsecond=0),
            screened.lines, versions.loaded, versions.unchanged, versions.replaced, screened.rejected,
        ],
    )  # fmt: skip
    fields = ", ".join(FIELDS)
    connection.execute(
        f"insert into raw_record (record_id, batch_id, line_no, visit_key, line_in_visit, content_hash, {fields}, "
        f"other_columns) select $last + line_no, $batch, line_no, visit_key, line_in_visit, "
        f"coalesce(content_hash, line_hash), {fields}, other_columns from screened join fresh using (line_no)",
        {"last": last_record, "batch": batch_id},
    )
    connection.execute(
        "insert into rejected_record (batch_id, line_no, line_text, reasons) "
        "select $batch, line_no, line_text, reasons from refusal order by line_no",
        {"batch": batch_id},
    )
    return int(batch_id), int(last_record)


def drop_temporary(connection: duckdb.DuckDBPyConnection) -> None:
    """Forget the working tables: they hold unmasked text."""
    views = connection.execute("select view_name from duckdb_views() where temporary and not internal").fetchall()
    tables = connection.execute("select table_name from duckdb_tables() where temporary").fetchall()
    for (name,) in views:
        connection.execute(f"drop view if exists {name}")
    for (name,) in tables:
        connection.execute(f"drop table if exists {name}")
