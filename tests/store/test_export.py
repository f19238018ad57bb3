"""Tables as files: nothing lost, nothing calculated, nothing half-written."""

from __future__ import annotations

import csv
import datetime as dt
import re
import zipfile
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from python_calamine import CalamineWorkbook

import sql
from pipeline.errors import FileUnusable, UsageError
from pipeline.store import export
from pipeline.store.export import export_table, tables
from pipeline.store.sheet_text import from_sheet, safe_in_sheet
from tests.worlds.small_workshop import visit, workshop

HOSTILE = [
    "=1+1",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    " =1",
    "<script>",
    "\x00null\x1b[31m",
    "https://example.org",
    "00123",
]


@pytest.fixture(scope="module")
def database() -> Any:
    """Ten visits; read it, never change it."""
    connection = workshop(
        *(visit(day, serial=f"S{day}", complaint=text, technician=text, symptoms=["leaks", "noisy"],
                cause="loose hose", labour_minutes=12.5)
          for day, text in enumerate(HOSTILE))
    )  # fmt: skip
    return SimpleNamespace(connection=connection, path=None)


def test_csv_holds_every_row_and_no_formula(database: Any, tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    assert export_table(database, "visit", path) == len(HOSTILE)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["visit_id"] for row in rows] == [str(n + 1) for n in range(len(HOSTILE))]
    assert [row["complaint"].removeprefix("'") for row in rows] == HOSTILE
    cells = [cell for row in rows for cell in row.values()]
    assert not [cell for cell in cells if cell.strip(" ")[:1] in "=+@\t\r\n" and cell]
    assert rows[0]["visit_date"] == "2026-01-01"
    assert rows[0]["labour_minutes"] == "12.5"


def test_xlsx_holds_text_as_text_and_numbers_and_days_as_such(database: Any, tmp_path: Path) -> None:
    path = tmp_path / "visits.xlsx"
    assert export_table(database, "visit", path) == len(HOSTILE)
    with zipfile.ZipFile(path) as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
        assert "<f>" not in sheet
        assert "hyperlink" not in sheet
    rows = CalamineWorkbook.from_path(path).get_sheet_by_index(0).to_python()
    place = {name: number for number, name in enumerate(rows[0])}
    assert [row[place["complaint"]] for row in rows[1:4]] == HOSTILE[:3]
    assert rows[10][place["complaint"]] == "00123"
    assert rows[1][place["visit_date"]] == dt.date(2026, 1, 1)
    assert rows[1][place["labour_minutes"]] == 12.5


def test_parquet_holds_the_values_as_they_are(database: Any, tmp_path: Path) -> None:
    path = tmp_path / "examples.parquet"
    export_table(database, "cause_example", path)
    frame = pd.read_parquet(path)
    theirs = database.connection.execute("from cause_example order by episode_id").df()
    assert frame["episode_id"].tolist() == theirs["episode_id"].tolist()
    assert frame["symptoms"][0].tolist() == ["leaks", "noisy"]


def test_lists_are_spelt_out_where_a_cell_holds_one_text(database: Any, tmp_path: Path) -> None:
    export_table(database, "cause_example", tmp_path / "e.csv")
    assert pd.read_csv(tmp_path / "e.csv")["symptoms"][0] == "leaks; noisy"


def test_every_table_can_be_exported(database: Any, tmp_path: Path) -> None:
    for table in tables():
        (count,) = database.connection.execute(f"select count(*) from {table}").fetchall()[0]
        assert export_table(database, table, tmp_path / f"{table}.csv") == count
    assert {path.stem for path in tmp_path.iterdir()} == {file.table for file in sql.table_files()}


@pytest.mark.parametrize("ending", ["parquet", "xlsx"])
def test_every_type_of_column_can_be_exported(database: Any, tmp_path: Path, ending: str) -> None:
    known = ", ".join(f"'{table}'" for table in tables())
    one_of_each = database.connection.execute(
        f"select distinct min(table_name) from duckdb_columns() where table_name in ({known}) group by data_type"
    ).fetchall()
    assert 3 <= len(one_of_each) < 15
    for (table,) in one_of_each:
        (count,) = database.connection.execute(f"select count(*) from {table}").fetchall()[0]
        assert export_table(database, table, tmp_path / f"{table}.{ending}") == count


def test_the_same_table_gives_the_same_file(database: Any, tmp_path: Path) -> None:
    export_table(database, "part_verdict", tmp_path / "a.csv")
    export_table(database, "part_verdict", tmp_path / "b.csv")
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()


def test_wrong_questions_name_the_way_out(database: Any, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="Did you mean part_verdict"):
        export_table(database, "part_verdicts", tmp_path / "a.csv")
    with pytest.raises(UsageError, match="There are: "):
        export_table(database, "x; drop table visit", tmp_path / "a.csv")
    with pytest.raises(UsageError, match=r"\.csv, \.json, \.parquet, \.xlsx"):
        export_table(database, "visit", tmp_path / "a.txt")
    with pytest.raises(FileUnusable, match="no such file or directory"):
        export_table(database, "visit", tmp_path / "no such folder" / "a.csv")
    assert list(tmp_path.iterdir()) == []


def test_more_rows_than_a_sheet_holds_are_refused(
    database: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(export, "SHEET_ROWS", 3)
    with pytest.raises(UsageError, match="a sheet holds 3"):
        export_table(database, "visit", tmp_path / "a.xlsx")


def test_a_failure_leaves_the_old_file(database: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_text("visit_id,old", encoding="utf-8")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setitem(export.WRITERS, ".csv", fail)
    with pytest.raises(FileUnusable, match="disk is full"):
        export_table(database, "visit", path)
    assert path.read_text(encoding="utf-8") == "visit_id,old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.csv"]


@pytest.mark.parametrize("text", [text for text in HOSTILE if text.lstrip(" ")[:1] in "=+-@\t"])
def test_a_formula_gets_an_apostrophe(text: str) -> None:
    assert safe_in_sheet(text) == "'" + text


@given(st.text(max_size=40) | st.text("'= -@\t\r\n+", max_size=6))
def test_a_cell_written_out_reads_back_as_itself(text: str) -> None:
    assert from_sheet(safe_in_sheet(text)) == text
    assert not safe_in_sheet(text).lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_a_spreadsheets_metadata_names_no_program_and_nobody(database: Any, tmp_path: Path) -> None:
    export_table(database, "visit", tmp_path / "visits.xlsx")
    with zipfile.ZipFile(tmp_path / "visits.xlsx") as book:
        about = book.read("docProps/app.xml") + book.read("docProps/core.xml") + book.read("xl/workbook.xml")
    assert not re.search(rb"<(Application|AppVersion|Company|dc:creator|cp:lastModifiedBy)>|<fileVersion", about)
