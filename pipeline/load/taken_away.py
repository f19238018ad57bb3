"""What new versions take away from the visits held, and what of them stays because the file has no such column."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.store.batches import frame
from sql.working import make

if TYPE_CHECKING:
    from collections.abc import Collection, Hashable, Mapping

    import duckdb

NOUNS = {"parts": "part lines", "findings": "findings"}


def remember_held(connection: duckdb.DuckDBPyConnection) -> None:
    """Make table ``held_before`` of the visits that are about to be replaced. Reads ``fresh``."""
    make(connection, "held_before")


def taken_away(connection: duckdb.DuckDBPyConnection, lacks: Collection[str], batch: int) -> list[str]:
    """Say what the visits replaced have no longer, counted, and what stays of the fields that the file ``lacks``.

    Reads ``held_before`` and the staged tables as they are now.
    """
    make(connection, "taken_away")
    rows = frame(connection, "from taken_away order by field").to_dict("records")
    gone = [row for row in rows if row["gone"]]
    stays = [row for row in rows if row["kept"] and row["field"] in lacks]
    told = []
    if gone:
        told.append(
            f"The new versions take away from visits held: {'; '.join(_gone(row) for row in gone)}. "
            f"If that is not meant: priorjobs take-back {batch}"
        )
    if stays:
        told.append(
            "The file has no column for these, so what was held stays in the new versions: "
            f"{'; '.join(_kept(row) for row in stays)}."
        )
    return told


def _gone(row: Mapping[Hashable, Any]) -> str:
    money = f", {row['money_gone']:,.2f} in all" if row["money_gone"] > 0 else ""
    return f"{_things(row, 'gone')} ({row['visits_gone']:,} visits{money})"


def _kept(row: Mapping[Hashable, Any]) -> str:
    return f"{_things(row, 'kept')} ({row['visits_kept']:,} visits)"


def _things(row: Mapping[Hashable, Any], count: str) -> str:
    name = str(row["field"])
    return f"{row[count]:,} {NOUNS.get(name, name.replace('_', ' '))}"
