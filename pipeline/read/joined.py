"""The lines of a second table, a sheet or a file, added to those of the first that hold the same value in a column."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import UsageError, shown
from pipeline.read.incoming import Records, Refused, plain_name, unique_names
from sql.working import drop

if TYPE_CHECKING:
    import duckdb


def join_tables(
    connection: duckdb.DuckDBPyConnection, records: Records, first: str, second: Records, name: str, by: str
) -> None:
    """Make ``incoming`` of ``first_table`` and ``second_table``, dropping both; what fits no line is refused.

    Parameters
    ----------
    records, second
        Of the first and the second table; the first gets the columns of both, and what fits none.
    first, name
        What the two are called: "sheet 'Jobs'", "parts.csv".
    by
        The column that both have.

    Raises
    ------
    UsageError
        One of them has no such column.
    """
    by = plain_name(by)
    here = [i for i, column in enumerate(records.header) if plain_name(column) == by]
    there = [i for i, column in enumerate(second.header) if plain_name(column) == by]
    if not here or not there:
        raise UsageError(
            f"{first} and {name} have no common column {shown(by)}.",
            "Name in the layout's [join] the column that both have.",
        )
    width = len(records.header)
    added = [i for i in range(len(second.header)) if i != there[0]]
    old = ", ".join(f"first_table.c{i + 1}" for i in range(width))
    new = "".join(f", second_table.c{i + 1} as c{width + n + 1}" for n, i in enumerate(added))
    key = [f"lower(trim({table}_table.c{at + 1}))" for table, at in (("first", here[0]), ("second", there[0]))]
    connection.execute(
        f"create or replace temp table joined as with last as (select {key[0]} as key, max(line_no) as line_no "
        "from first_table group by 1), added as (select last.line_no as first_line, second_table.* from second_table "
        f"join last on last.key = {key[1]}) select first_table.line_no as source_line, {old}{new} from first_table "
        "left join added as second_table on second_table.first_line = first_table.line_no "
        "order by first_table.line_no, second_table.line_no"
    )
    drop(connection, "incoming")
    numbered = "rowid - (select min(rowid) from joined) + 1 as line_no"
    connection.execute(f"create temp table incoming as select {numbered}, * exclude (source_line) from joined")
    connection.execute(f"create or replace temp table source_line as select {numbered}, source_line from joined")
    records.header = unique_names((*records.header, *(second.header[i] for i in added)), width + len(added))
    strays = connection.execute(
        f"select line_no, concat_ws('; ', {', '.join(f'c{i + 1}' for i in range(len(second.header)))}), "
        f"c{there[0] + 1} from second_table where not exists (from first_table where {key[0]} = {key[1]}) order by 1"
    ).fetchall()
    for line_no, text, value in strays:
        rule = f"({name}) stands on no line of {first}"
        remedy = f"Add its job there, or correct the number in {name}."
        records.refused.append(Refused(line_no, text, second.header[there[0]], value or "", rule, remedy))
    for table in ("first_table", "second_table", "joined"):
        connection.execute(f"drop table {table}")
