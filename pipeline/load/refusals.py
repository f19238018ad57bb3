"""Lines that are refused: kept whole, with every fault and its remedy, without what names a customer."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.errors import LIES_AHEAD, OTHER_MONEY
from pipeline.load.layout import Layout, position
from pipeline.load.mapping import personal_columns
from pipeline.store.batches import batches, insert
from pipeline.values.missing import none_where_missing
from sql.working import make

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.read.incoming import Records
    from pipeline.settings import Settings

LONGEST_REASON = 200  # characters of a refused value that are repeated in its reason
_WORD = re.compile(r"[^\W\d_][^\W_]*(?:['’.-][^\W\d_][^\W_]*)*|[0-9]{5,}")
_DAY_WORD = re.compile(
    r"(?i)(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez|mon|tue|wed|thu|fri|sat|sun|die|mit|don|fre"
    r"|sam|son)[^\W\d_]*|st|nd|rd|th|of|t|z|am|pm|gmt|utc"
)
SHOWN = 1_000  # refused lines of a file held for the report; all are kept in the database
RULES = {
    "visit_date": ("is missing", "Give the day of the visit."),
    "appliance_kind": ("is missing", "Say what kind of appliance it is."),
    "job_no": (
        "is missing, and so are serial and customer_ref",
        "Give one of serial, customer_ref and job_no: without them no later visit can be joined to this one.",
    ),
    "currency": (
        f"{OTHER_MONEY}, and the two are never added",
        "Say in the settings file what one unit is worth in yours, [rates] USD = 0.92, or name the currency of all "
        "records there, and load the file again; or keep it in a database of its own.",
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


def keep_unreadable(
    connection: duckdb.DuckDBPyConnection,
    layout: Layout,
    records: Records,
    screened: Screened,
    settings: Settings,
    personal: Collection[str],
) -> None:
    """Keep the lines that could not be read into cells; where the file holds customers, without their words.

    A value whose column is known keeps its words unless the column is one of the ``personal`` ones.
    """
    import pandas as pd

    from pipeline.load.personal_data import mask_contacts

    if not records.refused:
        return
    texts = pd.Series([r.line_text for r in records.refused], dtype="str")
    values = pd.Series([r.value[:LONGEST_REASON] for r in records.refused], dtype="str")
    if settings.mask_contacts:
        texts, values = mask_contacts(texts), mask_contacts(values)
    hidden = {rule.column for rule in layout.columns.get("customer_ref", ())} | set(personal)
    if hidden:
        is_open = pd.Series([r.column != "" and r.column not in hidden for r in records.refused], dtype=bool)
        texts, values = texts.map(without_words), values.where(is_open, values.map(without_words))
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


def keep_faulty(
    connection: duckdb.DuckDBPyConnection,
    layout: Layout,
    header: tuple[str, ...],
    screened: Screened,
    settings: Settings,
    key: bytes,
) -> None:
    """Move the bad candidates to ``refusal``, each with all its faults and the whole line."""
    from pipeline.load.personal_data import mask_contacts

    masked = mask_contacts if settings.mask_contacts else _as_written
    make(connection, "faulty")
    has_personal = "customer_ref" in layout.columns or bool(personal_columns(layout, header))
    query = (
        "select faulty.*, coalesce(source_line, line_no) as number from faulty left join source_line using (line_no) "
        "order by line_no"
    )  # in the file, where a line was taken apart into several
    for rows in batches(connection, query, 20_000):
        texts = _line_texts(rows, layout, header, settings, key)
        found = rows.filter(regex="^(?!c[0-9]+$)")  # not the cells themselves
        found = found.assign(shown_date=masked(found["visit_date"]), foreign_money=masked(found["foreign_money"]))
        lines = [
            (number, text, _reasons(row, layout, has_personal))
            for number, row, text in zip(
                rows["number"].tolist(),
                none_where_missing(found).itertuples(),
                texts,
                strict=True,
            )
        ]
        _keep(connection, lines, screened)
    connection.execute("delete from candidate where is_refused")


def _as_written(texts: pd.Series[str]) -> pd.Series[str]:
    return texts


def _line_texts(
    rows: pd.DataFrame, layout: Layout, header: tuple[str, ...], settings: Settings, key: bytes
) -> list[str]:
    from pipeline.load.hashes import hash_customers
    from pipeline.load.personal_data import mask_contacts

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
        columns[name] = none_where_missing(written).tolist()
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
        written = without_words(row.visit_date) if is_name else row.shown_date
        reasons.append(_reason(_column(layout, "visit_date"), written, row.problem, row.remedy))
    elif row.is_ahead:
        reasons.append(_reason(_column(layout, "visit_date"), row.shown_date, *RULES["future"]))
    elif row.day is None:
        reasons.append(_reason(_column(layout, "visit_date"), row.shown_date, *RULES["visit_date"]))
    if row.appliance_kind is None:
        reasons.append(_reason(_column(layout, "appliance_kind"), None, *RULES["appliance_kind"]))
    if row.foreign_field:
        reasons.append(_reason(_column(layout, row.foreign_field), row.foreign_money, *RULES["currency"]))
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
