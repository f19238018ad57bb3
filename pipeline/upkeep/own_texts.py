"""The texts of a customer's own visits: words taken out of them, and what stays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.errors import DatabaseUnusable, shown
from pipeline.store.batches import frame
from pipeline.upkeep.written_name import pattern_of_sql

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb

ERASED = "[erased]"
RAW = ("complaint", "findings", "cause", "work_done", "parts", "outcome", "fault_code", "other_columns")
STAGED = ("complaint", "findings_text", "cause_text", "work_done")
MAY_NAME = r"\p{Ll}[,:]? \p{Lu}\p{Ll}{2,}"  # a capital letter within a sentence
MOST_SHOWN = 5


def erase_words(connection: duckdb.DuckDBPyConnection, lines: Sequence[int], words: Sequence[str]) -> int:
    """Take words out of the texts of some lines, their staged visits and the examples made of them; how many changed.

    Raises
    ------
    DatabaseUnusable
        A word is still there afterwards.
    """
    changed = 0
    for word in words:
        pattern = pattern_of_sql(word)
        for table, columns in (("raw_record", RAW), ("stage_visit", STAGED)):
            for column in columns:
                changed += _erase_word(connection, table, column, lines, pattern)
        if _holding(connection, lines, pattern):
            raise DatabaseUnusable(f"{shown(word)} is still found in the customer's own visits.", "Run this again.")
    return changed


def _erase_word(
    connection: duckdb.DuckDBPyConnection, table: str, column: str, lines: Sequence[int], pattern: str
) -> int:
    asked = {"p": pattern, "e": rf"\1{ERASED}\2", "lines": list(lines)}
    once = "regexp_replace({}, $p, $e, 'g')"
    twice = once.format(once.format(column))  # of two side by side, the second shares what stands between
    found = connection.execute(
        f"select distinct {column}, {twice} from {table} where list_contains($lines, record_id) "
        f"and regexp_matches({column}, $p)",
        asked,
    ).fetchall()
    for before, after in found:
        connection.execute(
            f"update {table} set {column} = $after where {column} = $before and list_contains($lines, record_id)",
            {"before": before, "after": after, "lines": list(lines)},
        )
        connection.execute(
            "update word_use set example = left($after, length(example)) where example <> '' "
            "and starts_with($before, example)",
            {"before": before, "after": after},
        )
    return len(found)


def _holding(connection: duckdb.DuckDBPyConnection, lines: Sequence[int], pattern: str) -> int:
    texts = ", ".join(RAW)
    return int(
        connection.execute(
            f"select count(*) from raw_record where list_contains($lines, record_id) "
            f"and regexp_matches(concat_ws('|', {texts}), $p)",
            {"p": pattern, "lines": list(lines)},
        ).fetchall()[0][0]
    )


def what_stays(connection: duckdb.DuckDBPyConnection, lines: Sequence[int], words: Sequence[str]) -> dict[str, Any]:
    """Say what of the customer's visits is kept, for the history of their appliances, and what may still name them."""
    visits, serials = connection.execute(
        "select count(*), count(serial) from stage_visit where list_contains(?, record_id)", [list(lines)]
    ).fetchall()[0]
    texts = " union ".join(f"select {column} as t from own" for column in RAW[:4])
    named = frame(
        connection,
        f"with own as (select * from raw_record where record_id in ({', '.join(map(str, lines)) or 'null'})), "
        f"every as ({texts} union select unnest(json_extract_string(other_columns, '$.*')) from own) "
        f"select t from every where regexp_matches(t, '{MAY_NAME}') order by t",
    )["t"].tolist()
    return {
        "visits": visits,
        "with_a_serial_number": serials,
        "texts_that_may_name_somebody": len(named),
        "such_as": [shown(text, 120) for text in named[:MOST_SHOWN]],
        "note": "The visits stay, with day, job number, appliance, serial number, branch and notes. A name in a note "
        "that is not told here is not known to the program: erase it with --called NAME.",
    }
