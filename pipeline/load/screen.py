"""Which lines can be taken as visits, personal data hashed and masked at the door; refused lines keep their reasons."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.errors import LIES_AHEAD
from pipeline.load import identity
from pipeline.load.currency import settle_currency
from pipeline.load.layout import FIELDS, Layout, position
from pipeline.load.mapping import cell, literal, map_lines, personal_columns
from pipeline.read.incoming import Records
from pipeline.store.batches import batches, insert
from pipeline.values import dates, durations, money
from pipeline.values.distinct import NOT_KNOWN, plain

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.settings import Settings

MASKED = {  # column: how its cells are looked at for contact details, see `mask_contacts`
    **dict.fromkeys(("complaint", "findings", "cause", "work_done", "other_columns"), "text"),
    **dict.fromkeys(("fault_code", "parts", "outcome", "make", "callback_of", "appliance_kind", "age"), "code"),
    **dict.fromkeys(("technician", "job_no", "model", "serial"), "staff"),
}
NAMES_CUSTOMER = tuple(name for name, level in MASKED.items() if level != "staff")
MONEY = ("labour_charge", "parts_cost")
LONGEST_REASON = 200  # characters of a refused value that are repeated in its reason
MOST_DAYS_AHEAD = 1096  # a planned visit may lie ahead, a mistyped year lies far ahead
SHORTEST_NAME = 4  # characters: a shorter reference stands by chance in other texts
_WORD = re.compile(r"[^\W\d_][^\W_]*(?:['’.-][^\W\d_][^\W_]*)*|[0-9]{5,}")
_DAY_WORD = re.compile(
    r"(?i)(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez|mon|tue|wed|thu|fri|sat|sun|die|mit|don|fre"
    r"|sam|son)[^\W\d_]*|st|nd|rd|th|of|t|z|am|pm|gmt|utc"
)
MOST_REPEATS = 20_000
SHOWN = 1_000  # refused lines of a file held for the report; all are kept in the database
RULES = {
    "visit_date": ("is missing", "Give the day of the visit."),
    "appliance_kind": ("is missing", "Say what kind of appliance it is."),
    "job_no": (
        "is missing, and so are serial and customer_ref",
        "Give one of serial, customer_ref and job_no: without them no later visit can be joined to this one.",
    ),
    "currency": (
        "is in another currency than this workshop's, and the two are never added",
        "Keep it in a database of its own, convert it, or name the currency of all records in the settings file.",
    ),
    "future": (LIES_AHEAD, "Correct the year, or the clock of this computer."),
}


@dataclass
class Screened:
    """What screening found.

    Attributes
    ----------
    lines
        Lines of the file that are not blank.
    how
        How the columns are read: date_order, decimal_mark of each money column, what a duration without a unit is
        (minutes, as the field is called, where the column does not show it), currency.
    rejected
        Lines that were refused.
    reasons
        Count of each (column, rule) among them.
    shown
        The first refused lines: line_no, column, value, rule, remedy.
    """

    lines: int
    how: dict[str, Any]
    rejected: int = 0
    reasons: Counter[tuple[str, str]] = field(default_factory=Counter)
    shown: list[dict[str, Any]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


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
    visit is known by), serial_term. Its texts stand in view ``screened``: line_no, the fields (customer hashed,
    contacts masked), other_columns, and line_hash of them all. refusal: line_no, line_text, reasons, as in
    rejected_record.
    """
    _name_macros(connection)
    _hash_table(connection, "personal_hash", [f"select {cell(header, c)} as w from incoming"
                                              for c in personal_columns(layout, header)], key)  # fmt: skip
    map_lines(connection, layout, header, forms)
    if layout.grain == "part":
        _carry_down(connection)
    _hash_table(connection, "customer_hash", ["select customer_ref as w from line"], key)
    technicians = ["select technician as w from line"] if settings.hash_technicians else []
    _hash_table(connection, "technician_hash", technicians, key)
    settings, notes = settle_currency(connection, layout, settings)
    how = {
        "date_order": _read_days(connection, layout),
        "decimal_mark": _read_marks(connection, layout),
        "bare_durations": durations.decide_unit(_spread(*_counted(connection, "minutes"))) or "minutes",
        "currency": layout.currency,
    }
    masked = _mask(connection) if settings.mask_contacts else set()
    read_serials(connection, "line")
    (lines,) = connection.execute("select count(*) from line").fetchall()[0]
    _candidates(connection, settings, masked)
    screened = Screened(lines + len(records.refused), how, notes=notes)
    connection.execute("create or replace temp table refusal (line_no bigint, line_text varchar, reasons varchar)")
    has_personal = "customer_ref" in layout.columns or bool(personal_columns(layout, header))
    _keep_unreadable(connection, records, screened, settings, has_personal)
    _keep_refused(connection, layout, header, records, screened, settings, key)
    _number_as_in_file(connection, screened)
    return screened


def read_serials(connection: duckdb.DuckDBPyConnection, lines: str) -> None:
    """Make table ``serial_read`` of the serials in a table of lines: written, serial."""
    connection.execute("create or replace temp table serial_read (written varchar, serial varchar)")
    for rows in batches(connection, f"select distinct serial as w from {lines} where serial is not null"):
        insert(connection, "serial_read", rows.assign(s=identity.serial(rows["w"])))


def _hash_table(connection: duckdb.DuckDBPyConnection, name: str, sources: list[str], key: bytes) -> None:
    from pipeline.load.privacy import hash_customers

    connection.execute(f"create or replace temp table {name} (written varchar, hashed varchar)")
    for source in sources:
        for rows in batches(connection, f"select distinct w from ({source}) where w is not null"):
            insert(connection, name, rows.assign(hashed=hash_customers(rows["w"], key)))
    if len(sources) > 1:
        connection.execute(f"create or replace temp table {name} as select distinct * from {name}")


def _carry_down(connection: duckdb.DuckDBPyConnection) -> None:
    """Fill the visit of a line that names none: exports write it once above the lines of its parts."""
    is_bare = "visit_date is null and appliance_kind is null and job_no is null and serial is null"
    if not connection.execute(f"select count(*) from line where {is_bare}").fetchall()[0][0]:
        return
    filled = ", ".join(
        f"case when {is_bare} then last_value({n} ignore nulls) over w else {n} end as {n}"
        for n in ("visit_date", "appliance_kind", "job_no", "serial", "customer_ref", "make", "model")
    )
    connection.execute(
        f"create or replace temp table carried as select * replace ({filled}) from line "
        "window w as (order by line_no rows between unbounded preceding and current row)"
    )
    connection.execute("create or replace temp view line as select * from carried")


def _counted(connection: duckdb.DuckDBPyConnection, column: str) -> tuple[list[str], list[int]]:
    rows = connection.execute(
        f"select {column}, count(*) from line where {column} is not null group by 1 order by 1"
    ).fetchall()
    return [w for w, _ in rows], [n for _, n in rows]


def _spread(written: list[str], counts: list[int]) -> pd.Series[str]:
    """Repeat each value as often as it stands in the column, scaled down in long columns: shares decide."""
    import pandas as pd

    scale = max(1, sum(counts) // MOST_REPEATS)
    return pd.Series(written, dtype="str").repeat([-(-n // scale) for n in counts])


def _read_days(connection: duckdb.DuckDBPyConnection, layout: Layout) -> str | None:
    written, counts = _counted(connection, "visit_date")
    order = layout.date_format or dates.decide_order(_spread(written, counts))
    days, problems, remedies = dates.read_values([plain(w) for w in written], counts, order)
    connection.execute(
        "create or replace temp table day_read (written varchar, day date, problem varchar, remedy varchar)"
    )
    insert(connection, "day_read", {"w": written, "d": days, "p": problems, "r": remedies})
    return order


def _read_marks(connection: duckdb.DuckDBPyConnection, layout: Layout) -> dict[str, str | None]:
    marks = {c: layout.decimal_mark or money.decide_mark(_spread(*_counted(connection, c))) for c in MONEY}
    shown = {mark for mark in marks.values() if mark}
    agreed = shown.pop() if len(shown) == 1 else None  # one program wrote both columns
    return {column: mark or agreed for column, mark in marks.items()}


def _mask(connection: duckdb.DuckDBPyConnection) -> set[str]:
    """Make table ``mask`` (written, masked, level) of the cells that change; returns the columns they stand in."""
    from pipeline.load.privacy import FIRST_LOOK, mask_contacts

    connection.execute("create or replace temp table mask (written varchar, masked varchar, level varchar)")
    changed: set[str] = set()
    for column, level in MASKED.items():
        suspect = literal(FIRST_LOOK[level])
        query = f"select distinct {column} as w from line where regexp_matches({column}, {suspect})"
        for rows in batches(connection, query):
            _keep_masked(connection, rows["w"], mask_contacts(rows["w"], level=level), changed, column)
    query = f"select {', '.join(NAMES_CUSTOMER)}, customer_ref from line where length(customer_ref) >= {SHORTEST_NAME}"
    for rows in batches(connection, f"{query} and ({' or '.join(map(_names_customer, NAMES_CUSTOMER))})"):
        for column in NAMES_CUSTOMER:
            held = rows[rows[column].notna()]
            masked = mask_contacts(held[column], held["customer_ref"], MASKED[column])
            _keep_masked(connection, held[column], masked, changed, column)
    connection.execute(
        "create or replace temp table mask as select distinct on (written, level) * from mask "
        "order by written, level, length(masked)"
    )
    return changed


def _names_customer(column: str) -> str:
    """SQL that finds the customer's reference in a text; white space is looked at where the reference holds any."""
    is_there = f"contains(lower({column}), lower(customer_ref))"
    with_one_space = f"contains({_one_space(column)}, {_one_space('customer_ref')})"
    return f"case when contains(customer_ref, ' ') then {with_one_space} else {is_there} end"


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


def _candidates(connection: duckdb.DuckDBPyConnection, settings: Settings, masked: set[str]) -> None:
    clean = {
        "customer_ref": "customer_hash.hashed",
        "appliance_kind": r"case when regexp_matches(line.appliance_kind, '[\p{L}\p{N}]') then line.appliance_kind end",
    }
    joins = "left join customer_hash on customer_hash.written = line.customer_ref"
    if settings.hash_technicians:
        clean["technician"] = "technician_hash.hashed"
        joins += " left join technician_hash on technician_hash.written = line.technician"
    cleaned = ", ".join(f"{sql} as {name}" for name, sql in clean.items())
    connection.execute(f"create or replace temp view hashed as select line.* replace ({cleaned}) from line {joins}")
    columns, masks = [], []
    for name in (*FIELDS, "other_columns"):
        if name in masked:
            masks.append(
                f"left join mask as mask_{name} on mask_{name}.written = hashed.{name} "
                f"and mask_{name}.level = '{MASKED[name]}'"
            )
            columns.append(f"coalesce(mask_{name}.masked, hashed.{name}) as {name}")
        else:
            columns.append(f"hashed.{name}")
    content = ", ".join(f"coalesce({name}, chr(31))" for name in (*FIELDS, "other_columns"))
    connection.execute(
        f"create or replace temp view screened as select *, md5(concat_ws(chr(30), {content})) as line_hash from "
        f"(select hashed.line_no, {', '.join(columns)} from hashed {' '.join(masks)})"
    )
    connection.execute(
        "create or replace temp table candidate as select line_no, day, is_ahead, serial_term, "
        f"{_base_key()} as base_key, job_key is null and serial_term is null and customer_ref is null as has_no_unit, "
        "is_foreign, day is null or is_ahead or appliance_kind is null or has_no_unit "
        "or is_foreign as is_refused from ("
        "select *, plain_name(job_no) as job_key, "
        f"day_read.day, coalesce(day_read.day > current_date + {MOST_DAYS_AHEAD}, false) as is_ahead, "
        "serial_read.serial as serial_term, "
        "foreign_labour.written is not null or foreign_parts.written is not null as is_foreign from hashed "
        "left join foreign_money as foreign_labour on foreign_labour.written = hashed.labour_charge "
        "left join foreign_money as foreign_parts on foreign_parts.written = hashed.parts_cost "
        "left join serial_read on serial_read.written = hashed.serial "
        "left join day_read on day_read.written = hashed.visit_date)"
    )


def _base_key() -> str:
    """SQL of what a visit is known by: job number and day, else appliance and day; null where it names no unit."""
    machine = " || '/' || ".join(f"coalesce(plain_name({name}), '')" for name in ("appliance_kind", "make", "model"))
    unit = f"'unit:' || customer_ref || '/' || {machine}"
    return f"coalesce('job:' || job_key, 'serial:' || serial_term, {unit}) || '|' || day"


def _name_macros(connection: duckdb.DuckDBPyConnection) -> None:
    """Make macros ``plain_name`` (see `plain_sql`) and ``unit_of``: the appliance within a job, its serial or kind."""
    connection.execute(f"create or replace temp macro plain_name(written) as {plain_sql('written')}")
    connection.execute(
        "create or replace temp macro unit_of(serial, kind) as coalesce('serial:' || serial, 'unit:' || kind, '')"
    )


def plain_sql(column: str) -> str:
    """SQL of a name made comparable: small letters, no white space, null where it says nothing."""
    blanks = ", ".join(f"'{word}'" for word in sorted(NOT_KNOWN))
    plain_name = f"lower(regexp_replace({column}, '[\\s|]+', '', 'g'))"
    return f"case when {plain_name} in ({blanks}) then null else {plain_name} end"


def _keep_unreadable(
    connection: duckdb.DuckDBPyConnection, records: Records, screened: Screened, settings: Settings, has_personal: bool
) -> None:
    import pandas as pd

    from pipeline.load.privacy import mask_contacts

    if not records.refused:
        return
    texts = pd.Series([r.line_text for r in records.refused], dtype="str")
    values = pd.Series([r.value[:LONGEST_REASON] for r in records.refused], dtype="str")
    if settings.mask_contacts:
        texts, values = mask_contacts(texts), mask_contacts(values)
    if has_personal:
        texts, values = texts.map(without_words), values.map(without_words)
    lines = [
        (r.line_no, json.dumps({"line": text}, ensure_ascii=False), [_reason(r.column, value, r.rule, r.remedy)])
        for r, text, value in zip(records.refused, texts, values, strict=True)
    ]
    _keep(connection, lines, screened)


def without_words(text: str) -> str:
    """Leave signs and short numbers of a line whose cells are in no known column: any word may be a name.

    Examples
    --------
    >>> without_words('2025-01-02,"Ann Example,07700900123')
    '2025-01-02,"… …,…'
    """
    return _WORD.sub("…", text)


def _keep_refused(
    connection: duckdb.DuckDBPyConnection,
    layout: Layout,
    header: tuple[str, ...],
    records: Records,
    screened: Screened,
    settings: Settings,
    key: bytes,
) -> None:
    """Move the bad candidates to ``refusal``, each with all its faults and the whole line."""
    cells = ", ".join(f"incoming.c{i + 1}" for i in range(len(header)))
    query = (
        "select candidate.line_no, day_read.problem, day_read.remedy, candidate.day, candidate.is_ahead, "
        f"screened.visit_date, screened.appliance_kind, candidate.has_no_unit, "
        f"case when candidate.is_foreign then coalesce(screened.labour_charge, '') || ' ' || "
        f"coalesce(screened.parts_cost, '') end as foreign_money, {cells} from candidate "
        "join screened on screened.line_no = candidate.line_no "
        "join incoming on incoming.line_no = candidate.line_no "
        "left join day_read on day_read.written = screened.visit_date "
        "where candidate.is_refused order by candidate.line_no"
    )
    has_personal = "customer_ref" in layout.columns or bool(personal_columns(layout, header))
    for rows in batches(connection, query, 20_000):
        texts = _line_texts(rows, layout, header, settings, key)
        found = rows[["line_no", "problem", "remedy", "day", "is_ahead", "visit_date", "appliance_kind", "has_no_unit",
                      "foreign_money"]]  # fmt: skip
        lines = [
            (line_no, text, _reasons(row, layout, has_personal))
            for line_no, row, text in zip(
                rows["line_no"].tolist(),
                found.astype(object).where(found.notna(), None).itertuples(),
                texts,
                strict=True,
            )
        ]
        _keep(connection, lines, screened)
    if screened.rejected > len(records.refused):
        connection.execute("delete from candidate where is_refused")


def _number_as_in_file(connection: duckdb.DuckDBPyConnection, screened: Screened) -> None:
    """Give refused lines their number in the file, where a line was taken apart into several."""
    there = dict(
        connection.execute("select line_no, source_line from source_line").fetchall() if screened.shown else []
    )
    for line in screened.shown:
        line["line_no"] = there.get(line["line_no"], line["line_no"])
    connection.execute(
        "update refusal set line_no = source_line.source_line from source_line "
        "where source_line.line_no = refusal.line_no"
    )


def _line_texts(
    rows: pd.DataFrame, layout: Layout, header: tuple[str, ...], settings: Settings, key: bytes
) -> list[str]:
    from pipeline.load.privacy import hash_customers, mask_contacts

    customer = {position(header, rule.column) for rule in layout.columns.get("customer_ref", ())}
    hidden = customer | {position(header, name) for name in personal_columns(layout, header)}
    columns = {}
    references = [rows[f"c{i + 1}"] for i in sorted(at for at in customer if at is not None)]
    staff = {position(header, rule.column) for rule in layout.columns.get("technician", ())}
    if settings.hash_technicians:
        hidden |= staff
    is_shifted = rows["visit_date"].map(is_no_date).astype(bool) if hidden else None
    for i, name in enumerate(header):
        written = rows[f"c{i + 1}"]
        if is_shifted is not None and is_shifted.any():
            written = written.where(~is_shifted, written.map(without_words, na_action="ignore"))
        if i in hidden:
            written = hash_customers(written, key)
        elif settings.mask_contacts:
            written = mask_contacts(written)
            for reference in references:
                written = mask_contacts(written, reference)
        columns[name] = written.astype(object).where(written.notna(), None).tolist()
    return [
        json.dumps({n: v for n, v in zip(columns, values, strict=True) if v is not None}, ensure_ascii=False)
        for values in zip(*columns.values(), strict=True)
    ]


def is_no_date(written: object) -> bool:
    """Whether a cell for a day holds other words than a day's: the line's cells stand in other columns than they say.

    Examples
    --------
    >>> is_no_date("Ann Example"), is_no_date("3rd of Mai 2025"), is_no_date("32/13/2025"), is_no_date(None)
    (True, False, False, False)
    """
    words = re.findall(r"[^\W\d_]{2,}", written) if isinstance(written, str) else []
    return any(_DAY_WORD.fullmatch(word) is None for word in words)


def _reason(column: str, value: str | None, rule: str, remedy: str) -> dict[str, str]:
    return {"column": column, "value": (value or "")[:LONGEST_REASON], "rule": rule, "remedy": remedy}


def _reasons(row: Any, layout: Layout, has_personal: bool) -> list[dict[str, str]]:
    reasons = []
    if row.problem:
        is_name = has_personal and is_no_date(row.visit_date)
        written = without_words(row.visit_date) if is_name else row.visit_date
        reasons.append(_reason(_column(layout, "visit_date"), written, row.problem, row.remedy))
    elif row.is_ahead:
        reasons.append(_reason(_column(layout, "visit_date"), row.visit_date, *RULES["future"]))
    elif row.day is None:
        reasons.append(_reason(_column(layout, "visit_date"), row.visit_date, *RULES["visit_date"]))
    if row.appliance_kind is None:
        reasons.append(_reason(_column(layout, "appliance_kind"), None, *RULES["appliance_kind"]))
    if row.foreign_money:
        reasons.append(_reason(_column(layout, "labour_charge"), row.foreign_money.strip(), *RULES["currency"]))
    if row.has_no_unit:
        reasons.append(_reason(_column(layout, "job_no"), None, *RULES["job_no"]))
    return reasons


def _column(layout: Layout, name: str) -> str:
    """Name a field as the user's file does."""
    rules = layout.columns.get(name, ())
    return rules[0].column if rules else name


def _keep(
    connection: duckdb.DuckDBPyConnection, lines: Iterable[tuple[int, str, list[dict[str, str]]]], screened: Screened
) -> None:
    kept = list(lines)
    insert(
        connection,
        "refusal",
        {
            "line_no": [line_no for line_no, _, _ in kept],
            "line_text": [text for _, text, _ in kept],
            "reasons": [json.dumps(reasons, ensure_ascii=False) for _, _, reasons in kept],
        },
    )
    screened.rejected += len(kept)
    for line_no, _, reasons in kept:
        screened.reasons.update((r["column"], r["rule"]) for r in reasons)
        if len(screened.shown) < SHOWN:
            screened.shown += [{"line_no": line_no, **reason} for reason in reasons]
