"""Technicians held by name become keyed hashes, when the settings ask for it after records were loaded."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from pipeline.load.privacy import hash_customers, load_key
from pipeline.values.missing import none_where_missing

if TYPE_CHECKING:
    from pipeline.store.database import Database


def hash_stored(database: Database) -> None:
    """Replace the names in every line held, refused ones included; says how many there were.

    The tables of core and marts, and free blocks of the file, hold the names until they are written again.
    """
    import pandas as pd

    rows = database.connection.execute(
        "select distinct technician from "
        "(select technician from raw_record union all select technician from stage_visit) "
        "where not regexp_full_match(technician, '[0-9a-f]{32}') order by 1"
    ).fetchall()
    names = [name for (name,) in rows]
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
    sys.stderr.write(f"hash_technicians: {len(names)} technicians were held by name and are keyed hashes now.\n")
