"""Which cells of a file name or reach a customer, and what stands in their place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import shown
from pipeline.load.mapping import literal
from pipeline.store.batches import batches, insert
from sql.working import make

if TYPE_CHECKING:
    from collections.abc import Collection

    import duckdb
    import pandas as pd

    from pipeline.load.layout import Layout

NUMBERS = ("minutes", "labour_charge", "parts_cost")
MASKED = {  # column: how its cells are looked at for contact details, see `mask_contacts`
    **dict.fromkeys(("complaint", "findings", "cause", "work_done", "other_columns"), "text"),
    **dict.fromkeys(("appliance_kind", "make", "age", "outcome"), "text"),
    **dict.fromkeys(("fault_code", "parts", "callback_of", "photos", *NUMBERS), "code"),
    **dict.fromkeys(("technician", "job_no", "model", "serial", "branch"), "staff"),
}
NAMES_CUSTOMER = tuple(name for name, level in MASKED.items() if level != "staff" and name != "photos")
"""Columns that a customer's own reference is masked in; in the links to photographs it is a folder's name."""
SHORTEST_NAME = 4  # characters: a shorter reference stands by chance in other texts


def mask_cells(connection: duckdb.DuckDBPyConnection) -> set[str]:
    """Make table ``mask`` of the cells that change; returns the columns they stand in."""
    from pipeline.load.personal_data import FIRST_LOOK, mask_contacts

    make(connection, "mask")
    changed: set[str] = set()
    suspect = " union all ".join(_suspect(level, literal(look)) for level, look in FIRST_LOOK.items())
    for rows in batches(connection, suspect):
        for column, written in rows.groupby("c")["w"]:
            masked = mask_contacts(written, level=MASKED[str(column)])
            _keep_masked(connection, written, masked, changed, str(column))
    query = f"select {', '.join(NAMES_CUSTOMER)}, customer_ref from line where length(customer_ref) >= {SHORTEST_NAME}"
    for rows in batches(connection, f"{query} and ({' or '.join(map(_names_customer, NAMES_CUSTOMER))})"):
        for column in NAMES_CUSTOMER:
            held = rows[rows[column].notna()]
            if column in NUMBERS:
                held = held[held["customer_ref"].str.contains("[^\\W\\d_]")]
            masked = mask_contacts(held[column], held["customer_ref"], MASKED[column])
            _keep_masked(connection, held[column], masked, changed, column)
    make(connection, "mask_strictest")
    return changed


def masked_told(connection: duckdb.DuckDBPyConnection, layout: Layout, masked: Collection[str]) -> list[str]:
    """Say in how many cells of each column something is masked, so that one can look. Reads ``line`` and ``mask``."""
    told = []
    for f in (f for f in MASKED if f in masked):
        query = f"select count(*) from line where {f} in (select written from mask where level = ?)"
        cells = connection.execute(query, [MASKED[f]]).fetchall()[0][0]
        rules = layout.columns.get(f, ())
        told.append(f"{shown(rules[0].column) if rules else f.replace('_', ' ')} {cells:,}")
    return [f"Masked (numbers, addresses and names of people), cells by column: {', '.join(told)}."] if told else []


def _suspect(level: str, look: str) -> str:
    """SQL of the cells of all columns of a level that a first look finds, each once, with its column: one scan."""
    columns = [column for column, one in MASKED.items() if one == level]
    cells = f"select unnest([{', '.join(map(literal, columns))}]) as c, unnest([{', '.join(columns)}]) as w from line"
    return f"select distinct c, w from ({cells}) where regexp_matches(w, {look})"


def _names_customer(column: str) -> str:
    """SQL that finds the customer's reference in a text; white space is looked at where the reference holds any."""
    is_there = f"contains(lower({column}), lower(customer_ref))"
    with_one_space = f"contains({_one_space(column)}, {_one_space('customer_ref')})"
    is_no_price = r" and regexp_matches(customer_ref, '\pL')" if column in NUMBERS else ""
    return (
        f"length({column}) >= {SHORTEST_NAME}{is_no_price} and "
        f"case when contains(customer_ref, ' ') then {with_one_space} else {is_there} end"
    )


def _one_space(column: str) -> str:
    return f"lower(replace({column}, '  ', ' '))"


def _keep_masked(
    connection: duckdb.DuckDBPyConnection,
    written: pd.Series[str],
    masked: pd.Series[str],
    changed: set[str],
    column: str,
) -> None:
    differs = masked != written
    if differs.any():
        changed.add(column)
        texts = {"w": written[differs].tolist(), "m": masked[differs].tolist()}
        insert(connection, "mask", texts | {"l": [MASKED[column]] * len(texts["w"])})
