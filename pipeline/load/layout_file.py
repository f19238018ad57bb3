"""A layout as a TOML file: opened, read with every fault named at once, and written."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from pipeline.errors import LayoutError, shown
from pipeline.load.layout import (
    FIELDS,
    GRAINS,
    OF_A_NOTE,
    PART_FIELDS,
    Join,
    Layout,
    Rule,
)
from pipeline.small_text import small_text


def shipped() -> tuple[str, ...]:
    """Names of the layouts that come with the tool."""
    folder = files(__package__) / "layouts"
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


def open_layout(which: Path | str) -> Layout:
    """Open a shipped layout by its name, or a layout file by its path.

    Raises
    ------
    LayoutError
        No such layout, not TOML, or it says something impossible; every fault is named.
    """
    if str(which) in shipped():
        return parse_layout((files(__package__) / "layouts" / f"{which}.toml").read_text(encoding="utf-8"), str(which))
    path = Path(which)
    try:
        text = small_text(path)
    except (OSError, UnicodeDecodeError) as fault:
        raise LayoutError(
            f"{shown(which)} is neither a layout file that can be read nor a shipped layout.",
            f"Shipped are {', '.join(shipped())}; a layout file is TOML in UTF-8.",
        ) from fault
    return parse_layout(text, path.stem)


def parse_layout(text: str, name: str) -> Layout:
    """Make a layout of TOML text; all its faults are told at once.

    Raises
    ------
    LayoutError
        See above.

    Examples
    --------
    >>> text = '[columns]' + chr(10) + 'visit_date = "Day"' + chr(10) + 'appliance_kind = ["Kind", "Group"]'
    >>> [rule.column for rule in parse_layout(text, "office").columns["appliance_kind"]]
    ['Kind', 'Group']
    """
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise LayoutError(f"The layout {shown(name)} is not TOML: {fault}", "Fix that line.") from fault
    settings = {key: value for key, value in given.items() if key not in TABLES}
    faults = [told for key, value in settings.items() if (told := _setting_fault(key, value))]
    columns = {f: _rules(f, rule, faults) for f, rule in _table(given, "columns", faults).items()}
    constants = _table(given, "constants", faults)
    values = _table(given, "values", faults)
    visits = _visits(given, faults)
    if (given.get("grain") == "job") != bool(visits):
        faults.append('grain = "job" and [[visits]], one a visit, go together')
    join, items = _table(given, "join", faults), _table(given, "items", faults)
    faults += _join_faults(join, items)
    named = (("columns", columns), ("constants", constants), ("values", values), *(("[visits]", v) for v in visits))
    faults += [told for section, content in named for told in _unknown_fields(section, content)]
    faults += _text_faults(constants, values)
    if not columns:
        faults.append("[columns] is missing or empty")
    if faults:
        raise LayoutError(f"The layout {shown(name)} cannot be used: {'; '.join(faults)}.", "Fix these and load again.")
    return Layout(
        columns=columns,
        constants=constants,
        values={f: {k.strip().casefold(): v for k, v in m.items()} for f, m in values.items()},
        visits=tuple(visits),
        join=Join(**join) if join else None,
        labour_items=_lowered(items.get("labour", ())),
        other_items=_lowered(items.get("other", ())),
        **({"name": name} | settings | {key: tuple(settings.get(key, ())) for key in ("personal", "sheets")}),
    )


TABLES = ("columns", "constants", "values", "visits", "join", "items")


def _join_faults(join: dict[str, Any], items: dict[str, Any]) -> list[str]:
    faults = []
    if join and not (set(join) == {"sheet", "by"} and all(isinstance(v, str) for v in join.values())):
        faults.append("[join] holds sheet, the name of the second sheet, and by, the column that both have")
    if set(items) - {"labour", "other"} or not all(_are_texts(v) for v in items.values()):
        faults.append('[items] holds labour and other, lists of words: labour = ["call out"]')
    return faults


def _unknown_fields(section: str, content: Iterable[str]) -> list[str]:
    allowed = (*FIELDS, *PART_FIELDS)
    return [
        f"[{section}] names {shown(field)}, which is not a field (fields: {', '.join(allowed)})"
        for field in content
        if field not in allowed
    ]


def _text_faults(constants: dict[str, Any], values: dict[str, Any]) -> list[str]:
    faults = []
    if not all(isinstance(v, str) for v in constants.values()):
        faults.append("[constants] holds text only")
    if not all(isinstance(m, dict) and all(isinstance(v, str) for v in m.values()) for m in values.values()):
        faults.append('[values.FIELD] holds lines such as "Done" = "fixed"')
    return faults


def _are_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(v, str) and v for v in value)


def _lowered(words: list[str] | tuple[str, ...]) -> tuple[str, ...]:
    return tuple(word.strip().casefold() for word in words)


def _visits(given: dict[str, Any], faults: list[str]) -> list[dict[str, tuple[Rule, ...]]]:
    found = given.get("visits", [])
    if not isinstance(found, list) or not all(isinstance(one, dict) and "visit_date" in one for one in found):
        faults.append('[[visits]] is written once a visit, and names at least its visit_date = "First visit"')
        return []
    return [{f: _rules(f, rule, faults) for f, rule in one.items()} for one in found]


def _table(given: dict[str, Any], section: str, faults: list[str]) -> dict[str, Any]:
    found = given.get(section, {})
    if isinstance(found, dict):
        return found
    faults.append(f"[{section}] must be a TOML table")
    return {}


_TEXT_SETTINGS = (
    "name", "grain", "date_format", "decimal_mark", "currency", "encoding", "delimiter", "quote", "sheet", "each",
)  # fmt: skip


def _setting_fault(key: str, value: Any) -> str | None:
    known = (*_TEXT_SETTINGS, "header_line", "personal", "sheets")
    if key not in known:
        return f"{shown(key)} is an unknown setting (settings: {', '.join(known)})"
    if key in ("personal", "sheets"):
        return None if _are_texts(value) else f"{key} is a list of names"
    if key == "header_line":
        is_good = isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 400
        return None if is_good else "header_line is a line number from 1 to 400, or 0 for none"
    if not isinstance(value, str) or not value:
        return f"{key} is text"
    if key == "grain" and value not in GRAINS:
        return f"grain is {', '.join(GRAINS)}, not {shown(value)}"
    if key == "decimal_mark" and value not in (".", ","):
        return f'decimal_mark is "." or ",", not {shown(value)}'
    if key in ("delimiter", "quote") and (len(value) != 1 or value in "\r\n\0" or len(value.encode()) > 1):
        return f"{key} is one character, not {shown(value)}"
    return None


def _rules(f: str, given: Any, faults: list[str]) -> tuple[Rule, ...]:
    rules: list[Rule] = []
    for one in given if isinstance(given, list) else [given]:
        if isinstance(one, str) and one:
            rules.append(Rule(one))
            continue
        if isinstance(one, dict) and isinstance(one.get("column"), str) and _is_rule(one):
            ignore = tuple(v.strip().casefold() for v in one.get("ignore", ()))
            rules.append(Rule(**(one | {"ignore": ignore})))
        else:
            faults.append(
                f'{f} is a column name, or {{column = "…", ignore = ["…"], after = "…", split = "…", piece = 2, '
                'label = "…", find = true, running = true}, or a list of these'
            )
    if any(rule.running for rule in rules) and f not in OF_A_NOTE:
        faults.append(f"running = true is for {', '.join(OF_A_NOTE)}, not for {f}")
    return tuple(rules)


def _is_rule(one: dict[str, Any]) -> bool:
    kinds = {"column": str, "ignore": list, "after": str, "split": str, "piece": int, "label": str}
    kinds |= {"find": bool, "running": bool}
    is_known = all(name in kinds and isinstance(value, kinds[name]) for name, value in one.items())
    return is_known and all(isinstance(v, str) for v in one.get("ignore", [])) and one.get("piece", 1) != 0


def as_toml(layout: Layout) -> str:
    """Write a layout as TOML that `parse_layout` reads back to the same layout."""
    lines = [f"name = {_quoted(layout.name)}", f"grain = {_quoted(layout.grain)}"]
    for key in _TEXT_SETTINGS[2:]:
        if (value := getattr(layout, key)) is not None:
            lines.append(f"{key} = {_quoted(value)}")
    if layout.header_line is not None:
        lines.append(f"header_line = {layout.header_line}")
    for key in ("sheets", "personal"):
        if getattr(layout, key):
            lines.append(f"{key} = {_listed(getattr(layout, key))}")
    lines += ["", "[columns]", *_columns_toml(layout.columns)]
    if layout.constants:
        lines += ["", "[constants]", *(f"{f} = {_quoted(v)}" for f, v in layout.constants.items())]
    for f, mapped in layout.values.items():
        lines += ["", f"[values.{f}]", *(f"{_quoted(k)} = {_quoted(v)}" for k, v in mapped.items())]
    if layout.join:
        lines += ["", "[join]", f"sheet = {_quoted(layout.join.sheet)}", f"by = {_quoted(layout.join.by)}"]
    if layout.labour_items or layout.other_items:
        lines += ["", "[items]"]
        lines += [f"labour = {_listed(layout.labour_items)}"] if layout.labour_items else []
        lines += [f"other = {_listed(layout.other_items)}"] if layout.other_items else []
    for one in layout.visits:
        lines += ["", "[[visits]]", *_columns_toml(one)]
    return "\n".join(lines) + "\n"


def _columns_toml(columns: Mapping[str, tuple[Rule, ...]]) -> list[str]:
    written = {f: [_rule_toml(rule) for rule in rules] for f, rules in columns.items()}
    return [f"{f} = {r[0] if len(r) == 1 else '[' + ', '.join(r) + ']'}" for f, r in written.items()]


def _listed(texts: tuple[str, ...]) -> str:
    return f"[{', '.join(_quoted(t) for t in texts)}]"


def _rule_toml(rule: Rule) -> str:
    if rule == Rule(rule.column):
        return _quoted(rule.column)
    parts = [f"column = {_quoted(rule.column)}"]
    if rule.ignore:
        parts.append(f"ignore = {_listed(rule.ignore)}")
    for key in ("after", "split", "label"):
        if (value := getattr(rule, key)) is not None:
            parts.append(f"{key} = {_quoted(value)}")
    if rule.split is not None:
        parts.append(f"piece = {rule.piece}")
    for key in ("find", "running"):
        if getattr(rule, key):
            parts.append(f"{key} = true")
    return "{" + ", ".join(parts) + "}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
