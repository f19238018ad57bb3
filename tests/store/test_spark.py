"""Staged Parquet to the marts on local Spark, and back into a workshop: the same tables and the same report as here.

Needs the extra ``spark`` (``pip install -e '.[test,spark]'``) and Java 17 or newer; it is skipped where one is missing.
"""

from __future__ import annotations

import math
import os
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

import sql
from pipeline import Workshop
from pipeline.errors import UsageError

pytest.importorskip("sqlglot", reason="sqlglot is not installed (extra 'spark')")
pyspark_sql = pytest.importorskip("pyspark.sql", reason="pyspark is not installed (extra 'spark')")
if not (shutil.which("java") or os.environ.get("JAVA_HOME")):
    pytest.skip("java is not installed", allow_module_level=True)

from pipeline.store.spark import marts_on_spark  # noqa: E402

pytestmark = pytest.mark.filterwarnings("ignore")  # the engine's own, none of ours

ALIKE = 1e-9  # sums of doubles depend on the order of adding
DERIVED = [file for file in sql.table_files() if file.folder != sql.RAW]
EMPTY = {"cure_to_review", "branch_name"}  # the demo leaves no cure open, and has one branch
STAGED = [file.table for file in sql.table_files() if file.folder == sql.RAW and not file.is_view]


@dataclass
class Elsewhere:
    session: Any
    staged: Path
    marts: Path
    db: Path
    rows: dict[str, int]


@pytest.fixture(scope="module")
def elsewhere(demo: Any, tmp_path_factory: pytest.TempPathFactory):
    """The demo's staged tables exported, built by Spark and brought into a workshop of their own."""
    folder = tmp_path_factory.mktemp("elsewhere")
    (folder / "staged").mkdir()
    with Workshop.open(demo.db, read_only=True) as workshop:
        for table in STAGED:
            workshop.export(table, folder / "staged" / f"{table}.parquet")
    builder = pyspark_sql.SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false")
    builder = builder.config("spark.driver.bindAddress", "127.0.0.1").config("spark.driver.host", "127.0.0.1")
    session = builder.config("spark.sql.shuffle.partitions", "2").getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    db = folder / "whole.duckdb"
    rows = marts_on_spark(folder / "staged", folder / "marts", into=db, session=session)
    yield Elsewhere(session, folder / "staged", folder / "marts", db, rows)
    session.stop()


def in_order(rows: list[dict[str, Any]], key: tuple[str, ...]) -> list[dict[str, Any]]:
    """Rows sorted by their key, nulls last."""
    return sorted(rows, key=lambda row: [(row[name] is None, str(row[name])) for name in key])


def is_same(one: Any, other: Any) -> bool:
    """Equal; doubles but for the rounding of sums; lists and objects part by part."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(is_same(one[name], other[name]) for name in one)
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(is_same, one, other))
    if isinstance(one, float) and other is not None:
        return math.isclose(one, other, rel_tol=ALIKE, abs_tol=ALIKE)
    return bool(one == other)


@pytest.mark.parametrize("file", DERIVED, ids=lambda file: file.table)
def test_spark_builds_the_same_table(file: sql.TableFile, demo: Any, elsewhere: Elsewhere):
    with Workshop.open(demo.db, read_only=True) as workshop:
        here = workshop.database.connection.execute(f"from {file.table}").to_arrow_table()
    there = pq.read_table(elsewhere.marts / f"{file.table}.parquet")
    assert here.column_names == there.column_names
    assert here.num_rows == there.num_rows == elsewhere.rows[file.table]
    assert here.num_rows > 0 or file.table in EMPTY
    different = [
        (one, other)
        for one, other in zip(in_order(here.to_pylist(), file.key), in_order(there.to_pylist(), file.key), strict=True)
        if not is_same(one, other)
    ]
    assert not different, different[:5]


def test_the_report_is_that_of_the_same_workshop_here(demo: Any, elsewhere: Elsewhere, tmp_path: Path):
    said = []
    for db in (demo.db, elsewhere.db):
        with Workshop.open(db, read_only=True) as workshop:
            told = workshop.report("2026-06", out=tmp_path / f"{len(said)}.html").as_json()
            said.append(told | {"files": len(told["files"])})
    assert is_same(*said)


def test_what_was_brought_back_holds_what_must_hold(elsewhere: Elsewhere):
    with Workshop.open(elsewhere.db, read_only=True) as workshop:
        assert not {name: rows for name, rows in sql.offenders(workshop.database.connection).items() if rows}


def test_nothing_is_overwritten(elsewhere: Elsewhere, tmp_path: Path):
    for marts, into in ((elsewhere.marts, tmp_path / "new.duckdb"), (tmp_path / "new", elsewhere.db)):
        with pytest.raises(UsageError, match="is there already"):
            marts_on_spark(elsewhere.staged, marts, into=into, session=elsewhere.session)


def test_a_missing_staged_table_is_named(elsewhere: Elsewhere, tmp_path: Path):
    with pytest.raises(UsageError, match=r"holds no advice_taken\.parquet") as told:
        marts_on_spark(tmp_path, tmp_path / "marts", session=elsewhere.session)
    assert "priorjobs export advice_taken" in str(told.value.remedy)
