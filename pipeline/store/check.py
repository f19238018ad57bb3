"""What must hold of the tables: run on a database, an offence names table, rows and remedy."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sql

if TYPE_CHECKING:
    import duckdb

SHOWN_ROWS = 3
_OF_RECORDS = "Restore the last backup (priorjobs restore), or load the files again into a new database."
_OF_BUILT = (
    "This table is built from the records, which are untouched: the next load builds it again. "
    "If it appears again, it is a bug in priorjobs: report this line."
)


def broken(connection: duckdb.DuckDBPyConnection, *, with_figures: bool = True) -> list[dict[str, Any]]:
    """Run the queries under *must hold*, with or without those of views of the marts, which no record can break alone.

    Returns
    -------
    list of dict
        One an offence: table, must_hold (the rule), rows (how many break it), first (some of them, column → value),
        remedy. Empty = all holds.
    """
    found = []
    for file in sql.table_files():
        if file.is_figure and not with_figures:
            continue
        for rule, query in file.must_hold.items():
            result = connection.execute(f"select *, count(*) over () from (\n{query}\n) limit {SHOWN_ROWS}")
            names = [column[0] for column in result.description or ()][:-1]
            if rows := result.fetchall():
                found.append(
                    {
                        "table": file.table,
                        "must_hold": rule,
                        "rows": rows[0][-1],
                        "first": [dict(zip(names, row[:-1], strict=True)) for row in rows],
                        "remedy": _OF_RECORDS if file.folder == "10_raw" else _OF_BUILT,
                    }
                )
    return found


def said(offence: dict[str, Any]) -> str:
    """One offence in a sentence."""
    first = "; ".join(", ".join(f"{name} {value}" for name, value in row.items()) for row in offence["first"])
    return (
        f'Table {offence["table"]} breaks the rule "{offence["must_hold"]}" in {offence["rows"]:,} rows, '
        f"first: {first}. {offence['remedy']}"
    )
