"""How a layout turns a line of an export into the fields of a visit, as SQL over the table ``incoming``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.layout import FIELDS, PART_FIELDS, Layout, Rule, position

if TYPE_CHECKING:
    import duckdb

WHITE = " \t\r\n\v\f\u00a0\u2007\u202f\u2009\u200b\ufeff"


class _Bound:
    """Values of a statement, bound by name so that text from files never becomes SQL."""

    def __init__(self) -> None:
        self.values: dict[str, str] = {}
        self.names: dict[str, str] = {}

    def __call__(self, value: str) -> str:
        if value not in self.names:
            self.names[value] = f"v{len(self.names)}"
            self.values[self.names[value]] = value
        return f"${self.names[value]}"


def map_lines(connection: duckdb.DuckDBPyConnection, layout: Layout, header: tuple[str, ...]) -> None:
    """Make table ``line``: line_no, every field as text (null = not given), and other_columns as a JSON object.

    With separate part columns the field parts is composed in the tool's own notation, "drain pump x2 @ 34.50".
    Columns the layout calls personal must stand hashed in table ``personal_hash`` (written, hashed).
    """
    bind = _Bound()
    sql = {name: _field(layout, header, name, bind) for name in (*FIELDS, *PART_FIELDS)}
    if sql["part"] != "null":
        part = (
            f"replace({sql['part']}, ';', ',') || coalesce(' x' || {sql['part_quantity']}, '')"
            f" || coalesce(' @ ' || {sql['part_unit_cost']}, '')"
        )
        sql["parts"] = f"nullif(concat_ws('; ', {sql['parts']}, {part}), '')"
    selected = ", ".join(f"{sql[name]}::varchar as {name}" for name in FIELDS)
    connection.execute(
        f"create or replace temp table line as "
        f"select line_no, {selected}, {_others(layout, header, bind)}::varchar as other_columns from incoming",
        bind.values,
    )


def cell(header: tuple[str, ...], column: str) -> str | None:
    """SQL of a column's cell without white space around it, blank as null; None where there is no such column."""
    at = position(header, column)
    return None if at is None else f"nullif(trim(c{at + 1}, '{WHITE}'), '')"


def _field(layout: Layout, header: tuple[str, ...], name: str, bind: _Bound) -> str:
    found = [sql for rule in layout.columns.get(name, ()) if (sql := _rule(header, rule, bind))]
    if name in layout.constants:
        found.append(bind(layout.constants[name]))
    if not found:
        return "null"
    sql = found[0] if len(found) == 1 else f"coalesce({', '.join(found)})"
    if mapped := layout.values.get(name):
        cases = " ".join(f"when {bind(written)} then {bind(meant)}" for written, meant in mapped.items())
        sql = f"case lower({sql}) {cases} else {sql} end"
    return sql


def _rule(header: tuple[str, ...], rule: Rule, bind: _Bound) -> str | None:
    sql = cell(header, rule.column)
    if sql is None:
        return None
    if rule.after is not None:
        sql = f"nullif(trim(split_part({sql}, {bind(rule.after)}, -1), '{WHITE}'), '')"
    if rule.ignore:
        sql = f"case when lower({sql}) in ({', '.join(bind(v) for v in rule.ignore)}) then null else {sql} end"
    return sql


def unmapped(layout: Layout, header: tuple[str, ...]) -> list[str]:
    """Columns of the header that give no field."""
    used = {position(header, rule.column) for rules in layout.columns.values() for rule in rules}
    return [name for i, name in enumerate(header) if i not in used]


def personal_columns(layout: Layout, header: tuple[str, ...]) -> list[str]:
    """Columns without a field whose values are kept as keyed hashes only."""
    from pipeline.privacy import is_personal

    named = {position(header, column) for column in layout.personal}
    return [name for name in unmapped(layout, header) if position(header, name) in named or is_personal(name)]


def _others(layout: Layout, header: tuple[str, ...], bind: _Bound) -> str:
    names = unmapped(layout, header)
    if not names:
        return "null"
    personal = set(personal_columns(layout, header))
    pairs = []
    for name in names:
        sql = cell(header, name)
        if name in personal:
            sql = f"(select hashed from personal_hash where written = {sql})"
        pairs.append(f"{bind(name)}, {sql}")
    return f"nullif(json_merge_patch('{{}}', json_object({', '.join(pairs)}))::varchar, '{{}}')"
