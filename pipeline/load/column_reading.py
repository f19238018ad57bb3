"""How a column of days, money or minutes is written: decided once for the whole column."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.store.batches import insert
from pipeline.values import dates, durations, money
from pipeline.values.distinct import plain
from sql.working import make

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.load.layout import Layout

MONEY = ("labour_charge", "parts_cost")
MOST_REPEATS = 20_000


def counted(connection: duckdb.DuckDBPyConnection, column: str) -> tuple[list[str], list[int]]:
    """Different values of a column of ``line``, and how often each stands there."""
    rows = connection.execute(
        f"select {column}, count(*) from line where {column} is not null group by 1 order by 1"
    ).fetchall()
    return [w for w, _ in rows], [n for _, n in rows]


def spread(written: list[str], counts: list[int]) -> pd.Series[str]:
    """Repeat each value as often as it stands in the column, scaled down in long columns: shares decide."""
    import pandas as pd

    scale = max(1, sum(counts) // MOST_REPEATS)
    return pd.Series(written, dtype="str").repeat([-(-n // scale) for n in counts])


def read_days(connection: duckdb.DuckDBPyConnection, layout: Layout) -> str | None:
    """Make table ``day_read``; returns the order of day and month."""
    written, counts = counted(connection, "visit_date")
    order = layout.date_format or dates.decide_order(spread(written, counts))
    days, problems, remedies = dates.read_values([plain(w) for w in written], counts, order)
    make(connection, "day_read")
    insert(connection, "day_read", {"w": written, "d": days, "p": problems, "r": remedies})
    return order


def read_marks(connection: duckdb.DuckDBPyConnection, layout: Layout) -> dict[str, str | None]:
    """Decimal mark of each column of money; None = its amounts do not show it."""
    marks = {c: layout.decimal_mark or money.decide_mark(spread(*counted(connection, c))) for c in MONEY}
    shown = {mark for mark in marks.values() if mark}
    agreed = shown.pop() if len(shown) == 1 else None  # one program wrote both columns
    return {column: mark or agreed for column, mark in marks.items()}


def bare_durations(connection: duckdb.DuckDBPyConnection) -> str:
    """Say what a duration without a unit is: minutes, as the field is called, where the column does not show it."""
    return durations.decide_unit(spread(*counted(connection, "minutes"))) or "minutes"
