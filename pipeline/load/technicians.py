"""Technicians held by name become keyed hashes at the next load, when the settings come to ask for it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import sql
from pipeline.values.missing import none_where_missing

if TYPE_CHECKING:
    import duckdb

    from pipeline.store.database import Database


def held_by_name(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Give the technicians whose names are held."""
    rows = connection.execute(
        "select distinct technician from "
        "(select technician from raw_record union all select technician from stage_visit) "
        "where not regexp_full_match(technician, '[0-9a-f]{32}') order by 1"
    ).fetchall()
    return [name for (name,) in rows]


def hash_held(database: Database) -> str | None:
    """Replace the names in every line held, refused ones included, for good; says how many there were, None = none.

    The file is written anew: free blocks of the old one would hold the names.
    """
    import pandas as pd

    from pipeline.load.hashes import hash_customers, load_key

    names = held_by_name(database.connection)
    if not names:
        return None
    hashes = hash_customers(pd.Series(names, dtype="str"), load_key(database.key_file))
    with database.transaction() as connection:
        for name, hashed in zip(names, none_where_missing(hashes), strict=True):
            for table in ("raw_record", "stage_visit"):
                connection.execute(
                    f"update {table} set technician = $h where technician = $n", {"h": hashed, "n": name}
                )
            connection.execute(
                "update rejected_record set line_text = replace(line_text, $n, $h) where contains(line_text, $n)",
                {"n": json.dumps(name, ensure_ascii=False), "h": json.dumps(hashed)},
            )
        sql.rebuild(connection)
    database.compact()
    return f"hash_technicians: {len(names)} technicians were held by name and are keyed hashes now, for good."
