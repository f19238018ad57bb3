"""Tables a batch at a time, between SQL and frames, so that memory stays flat as files grow."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

BATCH = 100_000


def frame(
    connection: duckdb.DuckDBPyConnection, query: str, parameters: Mapping[str, Any] | None = None
) -> pd.DataFrame:
    """Return the rows of a query; text columns have the dtype ``str``."""
    rows: pd.DataFrame = connection.sql(query, params=parameters).to_arrow_table().combine_chunks().to_pandas()
    return rows


def batches(connection: duckdb.DuckDBPyConnection, query: str, size: int = BATCH) -> Iterator[pd.DataFrame]:
    """Yield the rows of a query in frames of at most ``size`` rows; the connection is free in between."""
    (rows,) = connection.execute(f"create or replace temp table batched as {query}").fetchall()[0]
    if 0 < rows <= size:
        yield frame(connection, "from batched")
    elif rows:
        (first,) = connection.execute("select min(rowid) from batched").fetchall()[0]
        for start in range(first, first + rows, size):  # inside a transaction row numbers do not begin at 0
            yield frame(connection, f"select * from batched where rowid >= {start} and rowid < {start + size}")
    connection.execute("drop table if exists batched")


def slices(connection: duckdb.DuckDBPyConnection, table: str, key: str, size: int = BATCH) -> Iterator[str]:
    """Yield conditions on a whole-number key, each true of at most ``size`` rows, that together hold every row once."""
    first, last = connection.execute(f"select min({key}), max({key}) from {table}").fetchall()[0]
    for start in range(first or 0, (last or -1) + 1, size):
        yield f"{key} between {start} and {start + size - 1}"


def insert(connection: duckdb.DuckDBPyConnection, table: str, rows: pd.DataFrame | Mapping[str, Sequence[Any]]) -> None:
    """Append rows to a table, columns by position.

    They go by way of Arrow: of what is registered under a name, or appended as a frame, some memory is held until the
    transaction ends, and would grow with the file.
    """
    import pandas as pd
    import pyarrow as pa

    held = rows if isinstance(rows, pd.DataFrame) else pd.DataFrame(dict(rows))
    if held.empty:
        return
    connection.from_arrow(pa.Table.from_pandas(held, preserve_index=False)).insert_into(table)
