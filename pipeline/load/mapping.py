"""How a layout turns a line of an export into the fields of a visit, as SQL over the table ``incoming``."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.load.layout import FIELDS, PART_FIELDS, Layout, Rule, position

if TYPE_CHECKING:
    from collections.abc import Container, Mapping, Sequence

    import duckdb

WHITE = " \t\r\n\v\f\u00a0\u2007\u202f\u2009\u200b\ufeff"
WIDE = 40  # columns without a field
FEW = 20_000  # lines: planning a view, again in each statement that reads it, takes longer than keeping so few


def map_lines(
    connection: duckdb.DuckDBPyConnection,
    layout: Layout,
    header: tuple[str, ...],
    forms: Mapping[str, Sequence[str]] | None = None,
) -> None:
    """Make ``line``, a view or table (see `relation`): line_no, every field as text, and other_columns as JSON object.

    null = not given.

    With separate part columns the field parts is composed in the tool's own notation, "drain pump x2 @ 34.50".
    ``forms`` are the words looked for in texts (see `pipeline.load.shape.forms_to_find`).
    Columns the layout calls personal must stand hashed in table ``personal_hash`` (written, hashed).
    """
    bare = _bare_columns(connection, len(header))
    sql = {name: _field(layout, header, name, bare, (forms or {}).get(name, ())) for name in (*FIELDS, *PART_FIELDS)}
    if sql["part"] != "null":
        part = (
            f"replace({sql['part']}, ';', ',') || coalesce(' x' || {sql['part_quantity']}, '')"
            f" || coalesce(' @ ' || {sql['part_unit_cost']}, '')"
        )
        sql["parts"] = f"nullif(concat_ws('; ', {sql['parts']}, {part}), '')"
    selected = ", ".join(f"({sql[name]})::varchar as {name}" for name in FIELDS)
    is_wide = len(unmapped(layout, header)) > WIDE  # planning a wide view costs seconds, every time
    form = "table" if is_wide else relation(connection)
    connection.execute(
        f"create or replace temp {form} line as select line_no, {selected}, "
        f"({_others(layout, header, bare)})::varchar as other_columns from incoming"
    )


def relation(connection: duckdb.DuckDBPyConnection) -> str:
    """Whether what is said of the lines in ``incoming`` is better a "table" or a "view"."""
    ((lines,),) = connection.execute("select count(*) from incoming").fetchall()
    return "table" if lines <= FEW else "view"


def _bare_columns(connection: duckdb.DuckDBPyConnection, width: int) -> frozenset[int]:
    """Positions of the columns in which every cell begins and ends with a plain character: nothing to trim."""
    tests = ", ".join(f"bool_and({_is_plain(f'c{i + 1}')})" for i in range(width))
    (found,) = connection.execute(f"select {tests} from incoming").fetchall()
    return frozenset(i for i, is_bare in enumerate(found) if is_bare is not False)


def _is_plain(c: str) -> str:
    return f"{c} >= '!' and {c} < chr(127) and {c}[-1] between '!' and '~'"


def literal(text: str) -> str:
    """SQL of a text: DuckDB reads nothing but the doubled quote in it, so text from files never becomes SQL."""
    return "'" + text.replace("'", "''").replace("\0", "' || chr(0) || '") + "'"


def cell(header: tuple[str, ...], column: str, bare: Container[int] = ()) -> str | None:
    """SQL of a column's cell without white space around it, blank as null; None where there is no such column.

    Trimming a set of characters is slow, and hardly any cell needs it: its first and last characters tell, and of the
    ``bare`` columns it is known beforehand.
    """
    at = position(header, column)
    if at is None:
        return None
    c = f"c{at + 1}"
    if at in bare:
        return c
    has_white = f"contains({literal(WHITE)}, left({c}, 1)) or contains({literal(WHITE)}, right({c}, 1))"
    trimmed = f"nullif(trim({c}, {literal(WHITE)}), '')"
    return f"case when {_is_plain(c)} then {c} when {has_white} then {trimmed} else {c} end"


def _field(layout: Layout, header: tuple[str, ...], name: str, bare: Container[int], forms: Sequence[str] = ()) -> str:
    labels = tuple(r.label for rules in layout.columns.values() for r in rules if r.label is not None)
    rules = layout.columns.get(name, ())
    found = [sql for rule in rules if (sql := rule_sql(header, rule, bare, labels, forms))]
    if name in layout.constants:
        found.append(literal(layout.constants[name]))
    if not found:
        return "null"
    sql = found[0] if len(found) == 1 else f"coalesce({', '.join(found)})"
    if mapped := layout.values.get(name):
        cases = " ".join(f"when {literal(written)} then {literal(meant)}" for written, meant in mapped.items())
        sql = f"case lower({sql}) {cases} else {sql} end"
    return sql


def rule_sql(
    header: tuple[str, ...],
    rule: Rule,
    bare: Container[int] = (),
    labels: Sequence[str] = (),
    forms: Sequence[str] = (),
) -> str | None:
    """SQL of what a rule takes from a line; None where its column is not there.

    ``labels`` are all that sections of the column's notes go by; ``forms`` the words that one is looked for among.
    """
    sql = cell(header, rule.column, bare)
    if sql is None:
        return None
    if rule.label is not None:
        sql = _section(sql, rule.label, labels or (rule.label,))
    if rule.split is not None:
        sql = f"nullif(trim(split_part({sql}, {literal(rule.split)}, {int(rule.piece)}), '{WHITE}'), '')"
    if rule.after is not None:
        sql = f"nullif(trim(split_part({sql}, {literal(rule.after)}, -1), '{WHITE}'), '')"
    if rule.find:
        words = "|".join(re.escape(form) for form in forms) or "[^\\s\\S]"
        pattern = rf"(?:^|[^\pL\pN])({words})(?:$|[^\pL\pN])"
        sql = f"nullif(regexp_extract(lower({sql}), {literal(pattern)}, 1), '')"
    if rule.ignore:
        sql = f"case when lower({sql}) in ({', '.join(literal(v) for v in rule.ignore)}) then null else {sql} end"
    return sql


def _section(sql: str, label: str, labels: Sequence[str]) -> str:
    """SQL of the section of a note under a label, up to the next label."""
    names = "|".join(re.escape(name) for name in sorted(labels, key=len, reverse=True))
    start = literal(rf"(?i)(^|[\s.;,|/]+)({names})\s*[:=]\s*")
    marked = f"regexp_replace({sql}, {start}, chr(30) || '\\2' || chr(31), 'g')"
    of_label = f"lambda piece: lower(split_part(piece, chr(31), 1)) = {literal(label.casefold())}"
    found = f"list_filter(string_split({marked}, chr(30)), {of_label})[1]"
    return f"nullif(trim(split_part({found}, chr(31), 2), '{WHITE}'), '')"


def unmapped(layout: Layout, header: tuple[str, ...]) -> list[str]:
    """Columns of the header that give no field."""
    used = {position(header, rule.column) for rules in layout.columns.values() for rule in rules}
    return [name for i, name in enumerate(header) if i not in used]


def personal_columns(layout: Layout, header: tuple[str, ...]) -> list[str]:
    """Columns without a field whose values are kept as keyed hashes only."""
    from pipeline.load.personal_headers import is_personal

    named = {position(header, column) for column in layout.personal}
    return [name for name in unmapped(layout, header) if position(header, name) in named or is_personal(name)]


def _others(layout: Layout, header: tuple[str, ...], bare: Container[int]) -> str:
    names = unmapped(layout, header)
    if not names:
        return "null"
    personal = set(personal_columns(layout, header))
    pairs = []
    for name in names:
        sql = cell(header, name, bare)
        if name in personal:
            sql = f"(select hashed from personal_hash where written = {sql})"
        pairs.append(f"{literal(name)}, {sql}")
    return f"nullif(json_merge_patch('{{}}', json_object({', '.join(pairs)}))::varchar, '{{}}')"
