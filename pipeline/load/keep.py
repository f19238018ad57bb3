"""What is written of a batch: its own row, its lines, the lines found again, the lines refused."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import shown
from pipeline.load.batches import drop, hand_over
from pipeline.load.layout_file import as_toml
from sql.working import make

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

    from pipeline.load.layout import Layout
    from pipeline.load.refusals import Screened
    from pipeline.load.versions import Versions
    from pipeline.read.incoming import Records
    from pipeline.read.sources import Source


def as_json(header: tuple[str, ...]) -> str:
    """Header of a file, as load_batch keeps it."""
    return json.dumps(header, ensure_ascii=False)


@dataclass(frozen=True)
class Place:
    """Where a batch goes: its number, and the record_id its lines count on from (None = the last one held).

    It takes the place of an older one when the same file was read before, with another layout.
    """

    batch: int
    records_after: int | None
    replaces: bool


def make_place(
    connection: duckdb.DuckDBPyConnection,
    source: Source,
    records: Records,
    layout: Layout,
    notes: list[str],
    may_replace: Callable[[str], None] | None,
) -> Place:
    """Take out what the same bytes (of a workbook: the same sheet) brought before, and give its place away again.

    See `load_files` for who is asked whether another layout's reading may go.
    """
    before = connection.execute(
        "select batch_id, layout, loaded, records_after from load_batch where sha256 = ? "
        "and coalesce(reading->>'$.sheet', '') = ? order by batch_id",
        [source.sha256, records.how.get("sheet", "")],
    ).fetchall()
    others = [(batch, loaded) for batch, label, loaded, _ in before if label != layout.label]
    if others and may_replace is not None:
        batch, loaded = others[-1]
        may_replace(
            f"{shown(source.name)} was loaded as batch {batch} with other columns ({loaded:,} lines). "
            "Put this reading in its place?"
        )
    for batch, label, loaded, _ in before:
        hand_over(connection, batch)
        drop(connection, batch)
        notes.append(f"The same file was read before (layout {shown(label)}): its {loaded:,} lines were replaced.")
    if before:
        return Place(before[0][0], before[0][3], replaces=True)
    (batch,) = connection.execute("select coalesce(max(batch_id), 0) + 1 from load_batch").fetchall()[0]
    return Place(batch, None, replaces=False)


def keep_batch(
    connection: duckdb.DuckDBPyConnection,
    source: Source,
    layout: Layout,
    screened: Screened,
    versions: Versions,
    records: Records,
    columns_of_file: tuple[str, ...],
    place: Place,
) -> None:
    """Write load_batch, raw_record, seen_again and rejected_record."""
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
        "header": as_json(columns_of_file),
        "records_after": last_record,
    }
    connection.execute(
        f"insert into load_batch ({', '.join(kept)}) values ({', '.join('?' * len(kept))})", list(kept.values())
    )
    make(connection, "raw_record_kept", last=last_record, batch=place.batch)
    make(connection, "seen_again_kept", "rejected_record_kept", batch=place.batch)


def _records_after(connection: duckdb.DuckDBPyConnection, place: Place) -> int:
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
