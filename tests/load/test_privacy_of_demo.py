"""No customer of the demo can be read in any byte the workshop keeps or hands out."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

import demo_data
from pipeline import Workshop

PHONE = re.compile(r"(?<![\w.])(?:\+?44|0)[0-9 ]{8,12}[0-9]\b")
EMAIL = re.compile(r"[\w.+-]+@[\w-]+\.[\w.]+[a-z]")


@pytest.fixture(scope="module")
def secrets() -> list[str]:
    """Customer references, phone numbers and addresses of mail that stand in the demo's exports."""
    jobs = pd.read_csv(demo_data.FILES["jobs"], dtype=str, keep_default_na=False)
    header, *lines = CalamineWorkbook.from_path(demo_data.FILES["office"]).get_sheet_by_index(0).to_python()
    at = next(i for i, line in enumerate([header, *lines]) if "Account" in line)
    named = [header, *lines][at]
    office = pd.DataFrame([header, *lines][at + 1 :], columns=named).astype(str)
    texts = "\n".join(" | ".join(line) for frame in (jobs, office) for line in frame.to_numpy().astype(str))
    references = {*jobs["customer_ref"], *office["Account"]} - {"", "nan"}
    phones = {found.strip() for found in PHONE.findall(texts)}
    assert len(references) > 500
    assert len(phones) > 20
    return sorted(word for word in references | phones | set(EMAIL.findall(texts)) if len(word) >= 5)


def held(content: bytes, secrets: list[str]) -> list[str]:
    """The secrets that stand in some bytes as words of their own: a serial may hold the same digits."""
    shapes = {re.sub(rb"\d", rb"\\d", re.escape(word.encode())) for word in secrets}  # few shapes, many secrets
    known = {word.encode() for word in secrets}
    found = {
        word
        for shape in shapes
        for word in re.findall(rb"(?<![A-Za-z0-9])" + shape + rb"(?![A-Za-z0-9])", content)
        if word in known
    }
    return sorted(word.decode("utf-8", "replace") for word in found)


def test_the_search_would_find_a_customer(secrets: list[str]) -> None:
    assert held(Path(demo_data.FILES["jobs"]).read_bytes(), secrets)


def test_no_file_of_the_demo_workshop_names_a_customer(demo: Any, secrets: list[str]) -> None:
    files = [path for path in demo.folder.rglob("*") if path.is_file() and path.suffix != ".key"]
    assert {path.suffix for path in files} >= {".duckdb", ".html", ".json", ".npz"}
    told = {path.name: names for path in files if (names := held(path.read_bytes(), secrets))}
    assert not told


def test_no_table_of_the_demo_workshop_names_a_customer(demo_workshop: Workshop, secrets: list[str]) -> None:
    # the database packs its blocks, so its tables are searched as text too
    connection = demo_workshop.database.connection
    tables = connection.execute("select table_name from duckdb_tables() where not temporary").fetchall()
    told = {}
    for (table,) in tables:
        rows = connection.execute(f'select * from "{table}"').df()
        text = rows.to_csv(index=False)
        if names := held(text.encode(), secrets):
            told[table] = names[:5]
    assert not told


def test_no_export_of_the_demo_workshop_names_a_customer(
    demo_workshop: Workshop, secrets: list[str], tmp_path: Path
) -> None:
    for table in ("visit", "appliance", "episode", "part_verdict", "cause_example"):
        for ending in ("csv", "parquet"):
            demo_workshop.export(table, tmp_path / f"{table}.{ending}")
    told = {path.name: names for path in tmp_path.iterdir() if (names := held(path.read_bytes(), secrets))}
    assert not told
