"""How long the core and the marts of a large made-up history take on local Spark and in DuckDB, and whether they are equal.

Run: python -m tests.benchmarks.speed.spark FOLDER [VISITS]   (100,000 by default; needs the extra spark and Java 17)
FOLDER must not be there yet; it gets the staged tables and the marts as Parquet.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import duckdb

import sql
from pipeline.store.spark import marts_on_spark
from tests.benchmarks.speed.marts import made_history

MEMORY = "10g"


def main(folder: Path, visits: int) -> None:
    """Build both ways, and print the seconds and the rows of each table that only one of them has."""
    from pyspark.sql import SparkSession

    (folder / "staged").mkdir(parents=True)
    connection = made_history(visits)
    for file in sql.table_files():
        if file.folder == sql.RAW and not file.is_view:
            connection.execute(f"copy {file.table} to '{folder}/staged/{file.table}.parquet'")
    began = time.perf_counter()
    sql.rebuild(connection)
    print(f"{visits:,} visits: DuckDB {time.perf_counter() - began:.0f} s", flush=True)
    builder = SparkSession.builder.master("local[2]").config("spark.driver.memory", MEMORY)
    session = builder.config("spark.ui.enabled", "false").getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    began = time.perf_counter()
    rows = marts_on_spark(folder / "staged", folder / "marts", session=session)
    print(f"Spark {time.perf_counter() - began:.0f} s", flush=True)
    session.stop()
    for table, count in rows.items():
        print(f"{table:22} {count:>12,} rows; only in one of the two: {_different(connection, table, folder):,}")


def _different(connection: duckdb.DuckDBPyConnection, table: str, folder: Path) -> int:
    """Count rows that only one side has, each told by its hash; doubles as floats, for sums depend on their order."""
    columns = connection.execute(f"describe {table}").fetchall()
    alike = ", ".join(f"cast({name} as {'float' if kind == 'DOUBLE' else kind})" for name, kind, *_ in columns)
    here = f"(select hash({alike}) from {table})"
    there = f"(select hash({alike}) from read_parquet('{folder}/marts/{table}.parquet/*.parquet'))"
    ((count,),) = connection.execute(
        f"select (select count(*) from ({here} except all {there})) + (select count(*) from ({there} except all {here}))"
    ).fetchall()
    return int(count)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 100_000)
