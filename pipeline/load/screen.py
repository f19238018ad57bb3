"""Which lines can be taken as visits, personal data hashed and masked at the door; refused lines keep their reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.load import identity
from pipeline.load.column_reading import bare_durations, read_days, read_marks
from pipeline.load.currency import currency_of, settle_currency
from pipeline.load.layout import FIELDS, Layout
from pipeline.load.mapping import cell, map_lines, personal_columns, relation
from pipeline.load.masked_cells import MASKED, mask_cells, masked_told
from pipeline.load.refusals import Screened, keep_faulty, keep_unreadable
from pipeline.settings import money_in_force
from pipeline.store.batches import batches, insert
from pipeline.values.distinct import NOT_KNOWN
from sql.working import drop, make

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import duckdb

    from pipeline.read.incoming import Records
    from pipeline.settings import Settings

HASHED_LAST = {"branch": "branch", "photos": "'photos: ' || photos"}
"""Newer fields as SQL of what is hashed: a line that does not name one has the hash it had before there was one."""
OF_KEY = ("appliance_kind", "job_no", "make", "model", "serial")
"""Columns that a visit is known by: masked before its key is made of them."""
MOST_DAYS_AHEAD = 1096  # a planned visit may lie ahead, a mistyped year lies far ahead


def screen(
    connection: duckdb.DuckDBPyConnection,
    layout: Layout,
    header: tuple[str, ...],
    records: Records,
    settings: Settings,
    key: bytes,
    forms: Mapping[str, Sequence[str]] | None = None,
) -> Screened:
    """Make table ``candidate`` of the lines that can be taken and ``refusal`` of those that cannot.

    Reads ``incoming``, whose columns are ``header``, and ``source_line``. candidate: line_no, day, base_key (what the
    visit is known by), serial_term. Its texts stand in ``screened``: line_no, the fields (customer hashed,
    contacts masked), other_columns, and line_hash of them all. refusal: line_no, line_text, reasons, as in
    rejected_record.
    """
    name_macros(connection)
    make(connection, "personal_hash", "customer_hash", "technician_hash", "refusal")
    personal = [f"select {cell(header, column)} as w from incoming" for column in personal_columns(layout, header)]
    if personal:
        _hash(connection, "personal_hash", " union all ".join(personal), key)
    map_lines(connection, layout, header, forms)
    if layout.grain == "part":
        _carry_down(connection)
    _hash(connection, "customer_hash", "select customer_ref as w from line", key)
    if settings.hash_technicians:
        _hash(connection, "technician_hash", "select technician as w from line", key)
    settings, notes = settle_currency(connection, layout, settings)
    how = {
        "date_order": read_days(connection, layout),
        "decimal_mark": read_marks(connection, layout),
        "bare_durations": bare_durations(connection),
        "currency": currency_of(layout),
        "money": money_in_force(settings),
        "lacks": [field for field in FIELDS if field not in layout.given(header)],
    }
    masked = mask_cells(connection) if settings.mask_contacts else set()
    read_serials(connection, "line")
    (lines,) = connection.execute("select count(*) from line").fetchall()[0]
    _candidates(connection, settings, masked)
    notes += masked_told(connection, layout, masked)
    screened = Screened(lines + len(records.refused), how, notes=notes)
    keep_unreadable(connection, layout, records, screened, settings, personal_columns(layout, header))
    keep_faulty(connection, layout, header, screened, settings, key)
    return screened


def read_serials(connection: duckdb.DuckDBPyConnection, lines: str) -> None:
    """Make table ``serial_read`` of the serials in a table of lines."""
    make(connection, "serial_read")
    for rows in batches(connection, f"select distinct serial as w from {lines} where serial is not null"):
        insert(connection, "serial_read", rows.assign(s=identity.serial(rows["w"])))


def _hash(connection: duckdb.DuckDBPyConnection, table: str, written: str, key: bytes) -> None:
    """Fill one of the tables of hashes with what a query gives as ``w``."""
    from pipeline.load.hashes import hash_customers

    for rows in batches(connection, f"select distinct w from ({written}) where w is not null"):
        insert(connection, table, rows.assign(hashed=hash_customers(rows["w"], key)))


def _carry_down(connection: duckdb.DuckDBPyConnection) -> None:
    """Fill the visit of a line that names none: exports write it once above the lines of its parts."""
    is_bare = "visit_date is null and appliance_kind is null and job_no is null and serial is null"
    if not connection.execute(f"select count(*) from line where {is_bare}").fetchall()[0][0]:
        return
    make(connection, "carried")
    drop(connection, "line")
    make(connection, "line_carried")


def _candidates(connection: duckdb.DuckDBPyConnection, settings: Settings, masked: set[str]) -> None:
    """Make ``hashed``, ``screened`` (see `relation`), ``candidate``; which columns hold masks differs by file."""
    form = relation(connection)
    clean = {
        "customer_ref": "customer_hash.hashed",
        "appliance_kind": r"case when regexp_matches(line.appliance_kind, '[\p{L}\p{N}]') then line.appliance_kind end",
    }
    joins = "left join customer_hash on customer_hash.written = line.customer_ref"
    if settings.hash_technicians:
        clean["technician"] = "technician_hash.hashed"
        joins += " left join technician_hash on technician_hash.written = line.technician"
    of_key = masked.intersection(OF_KEY)
    clean |= {name: f"coalesce(mask_{name}.masked, {clean.get(name, f'line.{name}')})" for name in of_key}
    joins += "".join(_join_mask(name, "line") for name in sorted(of_key))
    cleaned = ", ".join(f"{sql} as {name}" for name, sql in clean.items())
    connection.execute(f"create or replace temp {form} hashed as select line.* replace ({cleaned}) from line {joins}")
    others = masked - of_key
    columns = [
        f"coalesce(mask_{name}.masked, hashed.{name}) as {name}" if name in others else f"hashed.{name}"
        for name in (*FIELDS, "other_columns")
    ]
    masks = "".join(_join_mask(name, "hashed") for name in sorted(others))
    first = [name for name in (*FIELDS, "other_columns") if name not in HASHED_LAST]
    content = ", ".join([*(f"coalesce({name}, chr(31))" for name in first), *HASHED_LAST.values()])
    connection.execute(
        f"create or replace temp {form} screened as select *, md5(concat_ws(chr(30), {content})) as line_hash from "
        f"(select hashed.line_no, {', '.join(columns)} from hashed {masks})"
    )
    make(connection, "candidate", days_ahead=MOST_DAYS_AHEAD)


def _join_mask(name: str, source: str) -> str:
    return (
        f" left join mask as mask_{name} on mask_{name}.written = {source}.{name} "
        f"and mask_{name}.level = '{MASKED[name]}'"
    )


def name_macros(connection: duckdb.DuckDBPyConnection) -> None:
    """Make macros ``unit_of``, ``day_of`` and ``plain_name``: small letters, no white space, null = says nothing."""
    make(connection, "unit_of", "day_of")
    blanks = ", ".join(f"'{word}'" for word in sorted(NOT_KNOWN))
    plain = r"lower(regexp_replace(written, '[\s|]+', '', 'g'))"
    connection.execute(
        "create or replace temp macro plain_name(written) as "
        f"case when {plain} in ({blanks}) then null else {plain} end"
    )
