"""What came in, file by file, and how a file that should not have come in goes out again.

A batch that is taken back stays in the database, uncounted, until the next load drops it: until then it can be undone.
A line that a later file held too stays, and belongs to that file from then on.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from pipeline.errors import UsageError, shown
from pipeline.store.batches import frame
from pipeline.store.own_marts import build_own_marts
from sql.working import make

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words


def list_batches(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """List the files that came in, oldest first.

    Returns
    -------
    DataFrame
        One row a batch: batch, file, loaded_at, layout, read, loaded, unchanged, replaced, rejected (lines), visits
        (whose version in force came with it), first_visit, last_visit (missing = none), taken_back_at (missing = it
        counts).
    """
    return frame(
        connection,
        "with held as (select batch_id, count(*) as visits, min(stage_visit.visit_date) as first_visit, "
        "max(stage_visit.visit_date) as last_visit from stage_visit join raw_record using (record_id) "
        "group by batch_id) "
        "select batch_id as batch, file_name as file, loaded_at, layout, lines_read as read, loaded, unchanged, "
        "replaced, rejected, coalesce(visits, 0) as visits, first_visit, last_visit, taken_back_at "
        "from load_batch left join held using (batch_id) order by batch_id",
    )


def take_back(database: Database, words: Words, settings: Settings, batch: int) -> dict[str, Any]:
    """Take one batch out, with all that rests on it, and build every table again.

    Lines that another file holds word for word stay; visits of which it brought a new version are again as they were
    before; visits that it took out as a whole history count again.

    Returns
    -------
    dict
        batch, file, lines (that no longer count), kept (that another file holds too), refused_lines, visits_before,
        visits, note.

    Raises
    ------
    UsageError
        There is no such batch, or it has already been taken back.
    DatabaseUnusable
        The disk is full, or the database cannot be written.
    """
    from pipeline.load.stage import restage

    with database.transaction() as connection:
        found = _batch(connection, batch)
        before = _visits(connection)
        kept = hand_over(connection, batch)
        (lines,) = connection.execute("select count(*) from counted_record where batch_id = ?", [batch]).fetchall()[0]
        connection.execute(
            "update load_batch set taken_back_at = ? where batch_id = ?",
            [dt.datetime.now().replace(microsecond=0), batch],
        )
        restage(database, words, settings)
        after = _visits(connection)
    build_own_marts(database)
    return {
        "batch": batch,
        "file": found["file"],
        "lines": lines,
        "kept": kept,
        "refused_lines": found["rejected"],
        "visits_before": before,
        "visits": after,
        "note": "Until the next load it can be undone: priorjobs take-back --undo. "
        "Models learned before still know these jobs: priorjobs train",
    }


def undo_take_back(database: Database, words: Words, settings: Settings) -> dict[str, Any]:
    """Bring back the batch that was taken back last.

    Returns
    -------
    dict
        batch, file, visits_before, visits.

    Raises
    ------
    UsageError
        Nothing was taken back since the last load.
    """
    from pipeline.load.stage import restage

    with database.transaction() as connection:
        rows = connection.execute(
            "select batch_id, file_name from load_batch where taken_back_at is not null "
            "order by taken_back_at desc, batch_id limit 1"
        ).fetchall()
        if not rows:
            raise UsageError(
                "No batch has been taken back since the last load.", "Load the file again to bring its records back."
            )
        batch, name = rows[0]
        before = _visits(connection)
        connection.execute("update load_batch set taken_back_at = null where batch_id = ?", [batch])
        make(connection, "lent", batch=batch)
        connection.execute(
            f"update raw_record set batch_id = {int(batch)}, line_no = lent.line_no from lent "
            "where lent.record_id = raw_record.record_id"
        )
        connection.execute(
            "delete from seen_again where batch_id = ? and record_id in (select record_id from lent)", [batch]
        )
        restage(database, words, settings)
        after = _visits(connection)
    build_own_marts(database)
    return {"batch": batch, "file": name, "visits_before": before, "visits": after}


def hand_over(connection: duckdb.DuckDBPyConnection, batch: int) -> int:
    """Give each line of a batch that another file holds word for word to the first such file; returns how many."""
    make(connection, "handed", "seen_again_handed", batch=batch)
    connection.execute(
        "update raw_record set batch_id = handed.batch_id, line_no = handed.line_no from handed "
        "where handed.record_id = raw_record.record_id"
    )
    return int(connection.execute("select count(*) from handed").fetchall()[0][0])


def drop_taken_back(connection: duckdb.DuckDBPyConnection) -> None:
    """Drop for good what was taken back: called by the next load."""
    for (batch,) in connection.execute("select batch_id from load_batch where taken_back_at is not null").fetchall():
        drop(connection, batch)


def drop(connection: duckdb.DuckDBPyConnection, batch: int) -> None:
    """Drop every trace of a batch."""
    connection.execute("update raw_record set withdrawn_by = null where withdrawn_by = ?", [batch])
    for table in ("raw_record", "rejected_record", "seen_again", "load_batch"):
        connection.execute(f"delete from {table} where batch_id = ?", [batch])


def _batch(connection: duckdb.DuckDBPyConnection, batch: int) -> dict[str, Any]:
    rows = connection.execute(
        "select file_name, rejected, taken_back_at from load_batch where batch_id = ?", [batch]
    ).fetchall()
    if not rows:
        raise UsageError(f"There is no batch {batch}.", "See what came in: priorjobs batches")
    if rows[0][2] is not None:
        raise UsageError(
            f"Batch {batch} ({shown(rows[0][0])}) has already been taken back.",
            "Undo it with: priorjobs take-back --undo",
        )
    return {"file": rows[0][0], "rejected": rows[0][1]}


def _visits(connection: duckdb.DuckDBPyConnection) -> int:
    return int(connection.execute("select count(*) from stage_visit").fetchall()[0][0])
