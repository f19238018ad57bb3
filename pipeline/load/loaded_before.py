"""Whether the very bytes of a file were loaded before: then nothing changes."""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING

from pipeline.errors import LIES_AHEAD, OTHER_MONEY
from pipeline.load.layout import Layout
from pipeline.load.layout_file import parse_layout
from pipeline.load.report import FileReport
from pipeline.settings import money_in_force, with_currency_held
from sql.working import make

if TYPE_CHECKING:
    import duckdb

    from pipeline.load.load_request import Asked
    from pipeline.read.sources import Source


def loaded_before(asked: Asked, source: Source, layout: Layout | None) -> FileReport | None:
    """Report on the very bytes loaded before with the same layout: nothing changes.

    Not where lines were refused as lying far ahead by another clock, or for money that has got a rate since.
    """
    connection = asked.database.connection
    make(
        connection,
        "batch_of_bytes",
        sha=source.sha256,
        label=layout.label if layout else "",
        any=layout is None,
        ahead=LIES_AHEAD,
        foreign=OTHER_MONEY,
        money=money_in_force(with_currency_held(asked.settings, connection)),
    )
    rows = connection.execute("from batch_of_bytes").fetchall()
    if not rows or _was_refused_by_a_wrong_clock(connection, rows[0][0]):
        return None
    batch, label, loaded_at, lines, rejected, mapping = rows[0]
    if asked.whole_history:
        from pipeline.load.whole_history import present

        asked.present.append(present(connection, batch))
    asked.batches.append(batch)
    notes = [f"This file was already loaded on {loaded_at:%Y-%m-%d %H:%M} as batch {batch}; no line of it is new."]
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
    from pipeline.load.screen import MOST_DAYS_AHEAD

    refused = connection.execute(
        "select reading, reasons from rejected_record join load_batch using (batch_id) "
        "where batch_id = ? and contains(reasons, ?) limit 1000",
        [batch_id, LIES_AHEAD],
    ).fetchall()
    if not refused:
        return False
    import numpy as np

    from pipeline.values import dates

    written = [str(reason["value"]) for _, reasons in refused for reason in json.loads(reasons)]
    days, *_ = dates.read_values(written, [1] * len(written), json.loads(refused[0][0]).get("date_order"))
    last = np.datetime64(dt.date.today() + dt.timedelta(MOST_DAYS_AHEAD), "s")
    return any(bool(day <= last) for day in days)
