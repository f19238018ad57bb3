"""Core and marts on another engine: the same .sql files, transpiled, run on local Spark over the demo's staged tables.

Needs the extra ``spark`` (``pip install -e '.[test,spark]'``) and Java 17 or newer; it is skipped where one is missing.
"""

from __future__ import annotations

import math
import os
import shutil
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import sql
from pipeline import Workshop

sqlglot = pytest.importorskip("sqlglot", reason="sqlglot is not installed (extra 'spark')")
pyspark_sql = pytest.importorskip("pyspark.sql", reason="pyspark is not installed (extra 'spark')")
exp = sqlglot.exp

pytestmark = pytest.mark.filterwarnings("ignore")  # the engine's own, none of ours

LONGEST_CHAIN = 512  # visits of one unit that may follow each other: see sql/20_core/episode_visit.sql
ALIKE = 1e-9  # sums of doubles depend on the order of adding
DERIVED = [file for file in sql.table_files() if file.folder != "10_raw"]
STAGED = [file.table for file in sql.table_files() if file.folder == "10_raw"]


def exact_percentile(node: Any) -> Any:
    """Turn ``percentile_cont(p) within group (order by x)`` into Spark's exact ``percentile(x, p)``.

    sqlglot writes ``percentile_approx``, which returns a value that occurs instead of interpolating.
    """
    if isinstance(node, exp.WithinGroup) and isinstance(node.this, exp.PercentileCont):
        ordered = node.expression.expressions[0].this
        return exp.Anonymous(this="PERCENTILE", expressions=[ordered, node.this.this])
    return node


def steps(file: sql.TableFile) -> list[tuple[str, str]]:
    """Return the queries that make a table in Spark's SQL, each with its name, the table itself last.

    Anything sqlglot cannot carry over raises. A recursive statement comes in steps: Spark works out what a recursion
    reads anew at each level, so the named queries before the recursion become tables.
    """
    query = sqlglot.parse_one(file.create, read="duckdb").expression.transform(exact_percentile)
    named = query.args.get("with_") or query.args.get("with")
    before = [named.expressions.pop(0) for _ in named.expressions[:-1]] if named and named.recursive else []
    taken = {each.alias for each in before} & {*STAGED, *(other.table for other in DERIVED)}
    assert not taken, f"named queries of {file.table} are named like tables: {taken}"
    queries = [(each.alias, each.this) for each in before] + [(file.table, query)]
    return [
        (name, each.sql(dialect="spark", comments=False, unsupported_level=sqlglot.ErrorLevel.RAISE))
        for name, each in queries
    ]


@pytest.fixture(scope="module")
def spark(tmp_path_factory: pytest.TempPathFactory):
    """A Spark of two threads in this process."""
    if not (shutil.which("java") or os.environ.get("JAVA_HOME")):
        pytest.skip("java is not installed")
    settings = {
        "spark.ui.enabled": "false",
        "spark.driver.bindAddress": "127.0.0.1",
        "spark.driver.host": "127.0.0.1",
        "spark.sql.session.timeZone": "UTC",
        "spark.sql.shuffle.partitions": "2",
        "spark.sql.warehouse.dir": str(tmp_path_factory.mktemp("warehouse")),
        "spark.sql.cteRecursionLevelLimit": str(LONGEST_CHAIN),
        "spark.sql.cteRecursionRowLimit": "-1",
    }
    builder = pyspark_sql.SparkSession.builder.master("local[2]").appName("marts")
    for name, value in settings.items():
        builder = builder.config(name, value)
    session = builder.getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    yield session
    session.stop()


@pytest.fixture(scope="module")
def built(spark: Any, demo: Any, tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[pa.Table, pa.Table]]:
    """Every derived table twice: as DuckDB built it, and as Spark did from the same staged tables."""
    folder = tmp_path_factory.mktemp("staged")
    with Workshop.open(demo.db, read_only=True) as workshop:
        here = {
            table: workshop.database.connection.execute(f"from {table}").to_arrow_table()
            for table in [*STAGED, *(file.table for file in DERIVED)]
        }
    for table in STAGED:
        pq.write_table(here[table], folder / f"{table}.parquet")
        spark.read.parquet(str(folder / f"{table}.parquet")).createOrReplaceTempView(table)
    there = {}
    for file in DERIVED:
        for name, query in steps(file):
            spark.sql(query).write.parquet(str(folder / name))
            made = spark.read.parquet(str(folder / name))
            made.createOrReplaceTempView(name)
        there[file.table] = made.toArrow()
    return {file.table: (here[file.table], there[file.table]) for file in DERIVED}


def in_order(rows: pa.Table, key: tuple[str, ...]) -> list[dict[str, Any]]:
    """Rows sorted by their key, nulls last."""
    return sorted(rows.to_pylist(), key=lambda row: [(row[name] is None, str(row[name])) for name in key])


def is_same(one: Any, other: Any) -> bool:
    """Equal; doubles but for the rounding of sums; lists in their order."""
    if isinstance(one, float) and other is not None:
        return math.isclose(one, other, rel_tol=ALIKE, abs_tol=ALIKE)
    return bool(one == other)


@pytest.mark.parametrize("file", DERIVED, ids=lambda file: file.table)
def test_another_engine_builds_the_same_table(file: sql.TableFile, built: dict[str, tuple[pa.Table, pa.Table]]):
    here, there = built[file.table]
    assert here.column_names == there.column_names
    assert here.num_rows == there.num_rows
    assert here.num_rows > 0 or file.table == "cure_to_review"  # the demo leaves no cure open
    different = [
        (name, one, other)
        for one, other in zip(in_order(here, file.key), in_order(there, file.key), strict=True)
        for name in here.column_names
        if not is_same(one[name], other[name])
    ]
    assert not different, different[:5]
