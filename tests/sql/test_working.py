"""Every step of a load says what it makes and reads, does so, and is used."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import sqlglot
from sqlglot import exp

import pipeline.load
import sql
from pipeline.load.layout import FIELDS

STEPS = sorted((Path(sql.__file__).parent / "load").glob("*.sql"))
HEADER = re.compile(r"^-- ([a-z]+): +(.*)$", re.MULTILINE)


@pytest.mark.parametrize("path", STEPS, ids=lambda path: path.stem)
def test_a_step_makes_and_reads_what_its_header_says(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    header = dict(HEADER.findall(text))
    assert text.startswith("-- one value: ") or (text.startswith("-- one row ") and header["key"])
    tree = sqlglot.parse_one(text, read="duckdb")
    renamed = tree.find(exp.AlterRename)
    assert renamed or isinstance(tree, exp.Create | exp.Insert)
    made = (renamed or tree).find(exp.Table).name
    assert made == header.get("makes", path.stem)
    own = {cte.alias for cte in tree.find_all(exp.CTE)}
    read = {table.name for table in tree.find_all(exp.Table)} - own
    said = set(re.findall(r"\w+", header.get("reads", "")))
    assert read - {made} == said - {made}


def test_every_step_is_taken_somewhere() -> None:
    code = "".join(path.read_text(encoding="utf-8") for path in Path(pipeline.load.__path__[0]).glob("*.py"))
    assert [path.stem for path in STEPS if f'"{path.stem}"' not in code] == []


def test_a_visit_of_several_lines_keeps_every_field() -> None:
    (path,) = (path for path in STEPS if path.stem == "line_in_force_joined")
    made = {
        select.alias_or_name for select in sqlglot.parse_one(path.read_text(encoding="utf-8"), read="duckdb").selects
    }
    assert made >= set(FIELDS)
