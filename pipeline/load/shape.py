"""How the lines of an export become one line a visit or a part: lists, visits and invoice items taken apart.

Each step makes ``incoming`` anew with the same columns and some more; a line that becomes several keeps its number in
the file in table ``source_line`` (line_no, source_line).
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from pipeline.load.layout import LABOUR_ITEMS, OF_A_NOTE, OTHER_ITEMS, Layout, Rule, position
from pipeline.load.mapping import literal, rule_sql
from pipeline.read.incoming import unique_names
from pipeline.store.batches import batches, frame, insert
from pipeline.values import money
from pipeline.values.distinct import plain
from sql.working import drop, make

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import duckdb

    from pipeline.read.incoming import Records
    from pipeline.words import Words

OF_THE_LAST_VISIT = (
    "findings", "cause", "work_done", "parts", "outcome", "minutes", "labour_charge", "parts_cost",
)  # fmt: skip
OF_THE_FIRST_VISIT = ("callback_of",)
NOT_A_CURE = "not fixed"
LABOUR_TOTAL = "labour of all lines"
NO_PART = "item that is no part"


@dataclass(frozen=True)
class Shaped:
    """Lines as they are mapped: their columns, the layout that fits them, and what a person should know."""

    header: tuple[str, ...]
    layout: Layout
    notes: list[str] = field(default_factory=list)


def shape(
    connection: duckdb.DuckDBPyConnection, records: Records, layout: Layout, give_words: Callable[[], Words]
) -> Shaped:
    """Make ``incoming`` hold one line a visit or a part, as the layout's grain says, and notes taken apart."""
    make(connection, "source_line")
    shaped = Shaped(records.header, layout)
    if layout.each is not None:
        shaped = unlist(connection, shaped)
    for column in layout.running_notes:
        shaped = _tell_apart(connection, shaped, column, give_words())
    if layout.grain == "job":
        shaped = _part_visits(connection, shaped)
    if layout.grain == "invoice line":
        shaped = _sort_items(connection, shaped)
    return shaped


def _replace_incoming(connection: duckdb.DuckDBPyConnection, query: str) -> None:
    """Put lines with new numbers in the place of ``incoming``; the query gives source_line and the cells, in order."""
    connection.execute(f"create or replace temp table shaped as {query}")
    drop(connection, "incoming")
    make(connection, "incoming_of_shaped", "source_line_of_shaped")
    connection.execute("drop table shaped")


def unlist(connection: duckdb.DuckDBPyConnection, shaped: Shaped) -> Shaped:
    """Make each object in a column's JSON list a line; what holds none stays as it is."""
    column = str(shaped.layout.each)
    at = position(shaped.header, column)
    if at is None:
        return shaped
    rows = frame(connection, f"select line_no, c{at + 1} as cell from incoming order by line_no")
    found: list[tuple[int, dict[str, Any]]] = []
    names: dict[str, None] = {}
    for line_no, written in zip(rows["line_no"].tolist(), rows["cell"].tolist(), strict=True):
        for one in objects_in(written) or [{}]:
            names.update(dict.fromkeys(one))
            found.append((line_no, one))
    header = unique_names((*shaped.header, *(f"{column}.{name}" for name in names)), len(shaped.header) + len(names))
    cells = {f"e{i}": [_text(one.get(name)) for _, one in found] for i, name in enumerate(names)}
    columns = ", ".join(f"{name} varchar" for name in cells)
    connection.execute(f"create or replace temp table listed (line_no bigint{', ' if columns else ''}{columns})")
    insert(connection, "listed", {"line_no": [n for n, _ in found], **cells})
    old = ", ".join(f"incoming.c{i + 1}" for i in range(len(shaped.header)))
    new = "".join(f", listed.e{i} as c{len(shaped.header) + i + 1}" for i in range(len(names)))
    _replace_incoming(
        connection,
        f"select line_no as source_line, {old}{new} from incoming join listed using (line_no) "
        "order by line_no, listed.rowid",
    )
    note = f"Each of the {len(found):,} entries in {column} was read as a line of its own."
    return replace(shaped, header=header, notes=[*shaped.notes, note])


def objects_in(written: Any) -> list[dict[str, Any]]:
    """Give the objects that a cell lists as JSON, nested ones flattened; none where it is another text.

    Examples
    --------
    >>> objects_in('[{"name": "pump", "cost": {"net": 3}}]')
    [{'name': 'pump', 'cost.net': 3}]
    """
    from pipeline.read.json_parquet import flattened

    if not isinstance(written, str) or not written.lstrip().startswith("[{"):
        return []
    try:
        found = json.loads(written)
    except ValueError:
        return []
    return [flattened(one) for one in found if isinstance(one, dict)]


def _text(value: Any) -> str | None:
    from pipeline.read.json_parquet import as_text

    return as_text(value)


def _tell_apart(connection: duckdb.DuckDBPyConnection, shaped: Shaped, column: str, words: Words) -> Shaped:
    """Add a column for what the clauses of a column's running notes say of each field that is taken from them."""
    from pipeline.words.running_note import tell_apart

    at = position(shaped.header, column)
    if at is None:
        return shaped
    fields = shaped.layout.running(column)
    kind = _kind_sql(connection, shaped, words)
    connection.execute(
        "create or replace temp table note_told "
        f"(written varchar, kind varchar, {', '.join(f'{f} varchar' for f in fields)})"
    )
    query = f"select distinct c{at + 1} as w, {kind} as k from incoming where c{at + 1} is not null"
    for rows in batches(connection, query):
        told = tell_apart(words, rows["w"], words.match("kind", rows["k"])["term"])
        insert(connection, "note_told", rows.assign(**{f: told[OF_A_NOTE[f]].array for f in fields}))
    width = len(shaped.header)
    new = ", ".join(f"note_told.{f} as c{width + i + 1}" for i, f in enumerate(fields))
    connection.execute(
        f"create or replace temp table told as select incoming.*, {new} from incoming "
        f"left join note_told on note_told.written = c{at + 1} and note_told.kind is not distinct from {kind} "
        "order by line_no"
    )
    drop(connection, "incoming")
    connection.execute("alter table told rename to incoming")
    counts = ", ".join(f"count(c{width + i + 1})" for i in range(len(fields)))
    notes, *found = connection.execute(f"select count(c{at + 1}), {counts} from incoming").fetchall()[0]
    header = unique_names((*shaped.header, *(f"{f} of {column}" for f in fields)), width + len(fields))
    columns = {
        f: tuple(
            Rule(header[width + fields.index(f)], ignore=r.ignore) if r.running and r.column == column else r
            for r in rules
        )
        for f, rules in shaped.layout.columns.items()
    }
    said = ", ".join(f"{f} in {n:,}" for f, n in zip(fields, found, strict=True))
    note = f"Of {notes:,} running notes in {column} the words told: {said}. The whole notes stay in other_columns."
    return Shaped(header, replace(shaped.layout, columns=columns), [*shaped.notes, note])


def _kind_sql(connection: duckdb.DuckDBPyConnection, shaped: Shaped, words: Words) -> str:
    """SQL of the kind of appliance as a line writes it."""
    forms = forms_to_find(connection, shaped.layout, words) if shaped.layout.finds_words else {}
    rules = shaped.layout.columns.get("appliance_kind", ())
    found = [rule_sql(shaped.header, rule, forms=forms.get("appliance_kind", ())) for rule in rules]
    return f"coalesce({', '.join(sql for sql in found if sql)}, null::varchar)" if any(found) else "null::varchar"


def _part_visits(connection: duckdb.DuckDBPyConnection, shaped: Shaped) -> Shaped:
    """Make each visit of a job a line; what the job turned out to be belongs to its last visit."""
    layout, header = shaped.layout, shaped.header
    dates = [_field_sql(header, visit["visit_date"]) for visit in layout.visits]
    width = len(header)
    own = list(dict.fromkeys(f for visit in layout.visits for f in visit))
    last = {
        at for f in OF_THE_LAST_VISIT for rule in layout.columns.get(f, ())
        if (at := position(header, rule.column)) is not None
    }  # fmt: skip
    first = {
        at for f in OF_THE_FIRST_VISIT for rule in layout.columns.get(f, ())
        if (at := position(header, rule.column)) is not None
    }  # fmt: skip
    shared = {
        at for f, rules in layout.columns.items() if f not in (*OF_THE_LAST_VISIT, *OF_THE_FIRST_VISIT)
        for rule in rules if (at := position(header, rule.column)) is not None
    }  # fmt: skip
    selects = []
    for n, visit in enumerate(layout.visits):
        is_last = " and ".join([f"{d} is null" for d in dates[n + 1 :]]) or "true"
        is_first = " and ".join([f"{d} is null" for d in dates[:n]]) or "true"
        cells = []
        for i in range(width):
            sql = f"c{i + 1}"
            if i in last - shared:
                sql = f"case when {is_last} then {sql} end"
            elif i in first - shared:
                sql = f"case when {is_first} then {sql} end"
            cells.append(f"{sql} as c{i + 1}")
        cells += [f"{_field_sql(header, visit.get(f, ()))} as c{width + i + 1}" for i, f in enumerate(own)]
        cells.append(f"case when not ({is_last}) then '{NOT_A_CURE}' end as c{width + len(own) + 1}")
        is_there = f"{dates[n]} is not null" + (
            f" or ({' and '.join(f'{d} is null' for d in dates)})" if n == 0 else ""
        )
        selects.append(
            f"select line_no as source_line, {n} as visit_no, {', '.join(cells)} from incoming where {is_there}"
        )
    _replace_incoming(
        connection,
        f"select * exclude (visit_no) from ({' union all '.join(selects)}) order by source_line, visit_no",
    )
    (visits, jobs) = connection.execute("select count(*), count(distinct source_line) from source_line").fetchall()[0]
    names = unique_names((*header, *(f"{f} of the visit" for f in own), "before the last visit"), width + len(own) + 1)
    columns = dict(layout.columns)
    for i, f in enumerate(own):
        columns[f] = (Rule(names[width + i]), *columns.get(f, ()))
    columns["outcome"] = (*columns.get("outcome", ()), Rule(names[-1]))
    note = f"{jobs:,} lines of jobs hold {visits:,} visits; a visit that another followed counts as not a cure."
    return Shaped(names, replace(layout, columns=columns), [*shaped.notes, note])


def _field_sql(header: tuple[str, ...], rules: Sequence[Rule]) -> str:
    found = [sql for rule in rules if (sql := rule_sql(header, rule)) is not None]
    return f"coalesce({', '.join(found)})" if found else "null::varchar"


def _sort_items(connection: duckdb.DuckDBPyConnection, shaped: Shaped) -> Shaped:
    """Tell parts from labour, carriage and tax among the lines of invoices; labour is added up over a visit."""
    layout, header = shaped.layout, shaped.header
    item = _field_sql(header, layout.columns.get("part", ()))
    labour = is_worded(item, layout.labour_items or LABOUR_ITEMS)
    other = is_worded(item, layout.other_items or OTHER_ITEMS)
    amount = _amounts(connection, layout, header)
    visit = ", ".join(
        _field_sql(header, layout.columns.get(f, ())) for f in ("job_no", "visit_date", "serial", "customer_ref")
    )
    mark = layout.decimal_mark or "."
    total = (
        f"replace(printf('%.2f', sum(case when {labour} and not {other} then {amount} end) over (partition by {visit}))"
    )
    width = len(header)
    cells = []
    at_item = {position(header, rule.column) for rule in layout.columns.get("part", ())}
    for i in range(width):
        sql = f"case when {labour} or {other} then null else c{i + 1} end" if i in at_item else f"c{i + 1}"
        cells.append(f"{sql} as c{i + 1}")
    (parts, labours, others) = connection.execute(
        f"select count(*) filter (not ({labour}) and not ({other}) and {item} is not null), "
        f"count(*) filter ({labour} and not ({other})), count(*) filter ({other}) from incoming"
    ).fetchall()[0]
    connection.execute(
        f"create or replace temp table sorted as select line_no, {', '.join(cells)}, "
        f"{total}, '.', {literal(mark)}) as c{width + 1}, "
        f"case when {labour} or {other} then {item} end as c{width + 2} from incoming order by line_no"
    )
    drop(connection, "incoming")
    connection.execute("create or replace temp table incoming as select * from sorted")
    names = unique_names((*header, LABOUR_TOTAL, NO_PART), width + 2)
    columns = dict(layout.columns)
    if "labour_charge" not in columns:
        columns["labour_charge"] = (Rule(names[width]),)
    note = f"Of the invoice lines {parts:,} are parts, {labours:,} labour, {others:,} carriage, tax and the like."
    return Shaped(names, replace(layout, columns=columns, grain="part"), [*shaped.notes, note])


def is_worded(item: str, words: Sequence[str]) -> str:
    """SQL: whether an item's text holds one of the words."""
    forms = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    pattern = literal(rf"(^|[^\pL\pN])({forms})($|[^\pL\pN])")
    return f"coalesce(regexp_matches(lower({item}), {pattern}), false)"


def _amounts(connection: duckdb.DuckDBPyConnection, layout: Layout, header: tuple[str, ...]) -> str:
    """SQL of quantity times unit price of a line; makes table ``amount_read``."""
    make(connection, "amount_read")
    sqls = [_field_sql(header, layout.columns.get(f, ())) for f in ("part_quantity", "part_unit_cost")]
    for sql in sqls:
        rows = connection.execute(
            f"select {sql} as w, count(*) from incoming where {sql} is not null group by 1 order by 1"
        ).fetchall()
        written = [w for w, _ in rows]
        amounts, _, _ = money.read_values([plain(w) for w in written], [n for _, n in rows], layout.decimal_mark)
        insert(connection, "amount_read", {"w": written, "a": amounts})
    make(connection, "amount_read_once")
    quantity, cost = (f"(select amount from amount_read where written = {sql})" for sql in sqls)
    return f"coalesce({quantity}, 1) * {cost}"


def forms_to_find(connection: duckdb.DuckDBPyConnection, layout: Layout, words: Any) -> Mapping[str, Sequence[str]]:
    """Give for each field whose word is looked for in a text the words that it may be, the longest first."""
    lists = {"appliance_kind": "kind", "make": "make", "outcome": "outcome", "cause": "cause", "part": "part"}
    found: dict[str, list[str]] = {}
    for f, rules in layout.columns.items():
        if any(rule.find for rule in rules) and f in lists:
            forms = {written.casefold() for written, _ in words.written_forms(lists[f])}
            forms |= {term.casefold() for _, term in words.written_forms(lists[f])}
            if f == "make":
                rows = connection.execute(
                    "select distinct lower(make) from stage_visit where make is not null"
                ).fetchall()
                forms |= {make for (make,) in rows}
            found[f] = sorted(forms, key=lambda form: (-len(form), form))
    return found
