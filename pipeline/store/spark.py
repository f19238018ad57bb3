"""Core and marts on Spark, for more records than one machine holds; and back into a workshop that reports on them.

The statements are those of ``sql/20_core`` and ``sql/30_marts``, carried over by sqlglot. Needs the extra ``spark`` and
Java 17.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import sql
from pipeline.errors import UsageError, shown
from pipeline.store.database import Database

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

LONGEST_CHAIN = 512  # visits of one unit that may follow each other: see sql/20_core/episode_visit.sql
BETWEEN = "_between"  # what a recursion reads, in the folder of the marts
NEEDED = {
    "spark.sql.cteRecursionLevelLimit": str(LONGEST_CHAIN),
    "spark.sql.cteRecursionRowLimit": "-1",
    "spark.sql.session.timeZone": "UTC",
}


def marts_on_spark(
    staged: Path | str, marts: Path | str, *, into: Path | str | None = None, session: SparkSession | None = None
) -> dict[str, int]:
    """Build the core and the marts from staged Parquet with Spark, and put them into a workshop of their own.

    Parameters
    ----------
    staged
        Folder, or an address that Spark reads, with one ``TABLE.parquet`` (a file, or a folder of parts) for each table
        of ``sql/10_raw``, as ``export`` writes them. ``setting`` holds one row: the day the marts are of, the windows.
    marts
        Folder, or an address that Spark writes, for one ``TABLE.parquet`` a table, and under ``_between`` what the
        recursion over visits reads. Nothing there is overwritten.
    into
        A workshop database that is not there yet; it gets what both folders hold, for reports. Both must be local then.
    session
        The Spark to use; left out, one on this machine's cores. Its time zone becomes UTC and its limits on recursion
        are raised.

    Returns
    -------
    dict
        Table of the core or the marts -> its rows.

    Raises
    ------
    UsageError
        A staged table or an extra is missing, a target is there already, ``setting`` does not hold one row.
    """
    targets = [Path(marts)] if into is None else [Path(marts), Path(into)]
    for target in targets:
        if target.exists() and not (target.is_dir() and not any(target.iterdir())):
            raise UsageError(f"{shown(target, 200)} is there already.", "Name another place: nothing is overwritten.")
    here = session or _on_this_machine()
    for name, value in NEEDED.items():
        here.conf.set(name, value)
    for table in _staged_tables():
        _read(here, staged, table)
    settings = here.table("setting").count()
    if settings != 1:
        raise UsageError(
            f"The staged table setting holds {settings} rows; it must hold one.",
            "Export setting from one workshop: it says which day the marts are of.",
        )
    rows = {file.table: _build(here, file, marts) for file in sql.table_files() if file.folder != sql.RAW}
    if into is not None:
        _take_into(Path(into), Path(staged), Path(marts))
    return rows


def _staged_tables() -> list[str]:
    return [file.table for file in sql.table_files() if file.folder == sql.RAW and not file.is_view]


def _on_this_machine() -> SparkSession:
    try:
        from pyspark.errors import PySparkRuntimeError
        from pyspark.sql import SparkSession
    except ImportError as fault:
        raise UsageError("pyspark is not installed.", "pip install 'priorjobs[spark]'") from fault
    builder = SparkSession.builder.master("local[*]").appName("priorjobs").config("spark.ui.enabled", "false")
    builder = builder.config("spark.driver.bindAddress", "127.0.0.1").config("spark.driver.host", "127.0.0.1")
    try:
        return builder.getOrCreate()
    except PySparkRuntimeError as fault:
        raise UsageError("Spark does not start: Java is missing.", "Install Java 17 or newer.") from fault


def _read(session: SparkSession, staged: Path | str, table: str) -> None:
    from pyspark.errors import AnalysisException

    try:
        session.read.parquet(f"{staged}/{table}.parquet").createOrReplaceTempView(table)
    except AnalysisException as fault:
        raise UsageError(
            f"{shown(str(staged), 200)} holds no {table}.parquet that can be read.",
            f"Write it there: priorjobs export {table} {table}.parquet",
        ) from fault


def _build(session: SparkSession, file: sql.TableFile, marts: Path | str) -> int:
    """Write one table, and before it what a recursion in it reads: each can be queried by its name from then on."""
    rows = 0
    for name, query in _steps(file):
        folder = marts if name == file.table else f"{marts}/{BETWEEN}"
        session.sql(query).write.parquet(f"{folder}/{name}.parquet")
        made = session.read.parquet(f"{folder}/{name}.parquet")
        made.createOrReplaceTempView(name)
        rows = made.count()
    return rows


def _steps(file: sql.TableFile) -> list[tuple[str, str]]:
    """Return the queries that make a table in Spark's SQL, each with its name, the table itself last.

    Anything sqlglot cannot carry over raises. A recursive statement comes in steps: Spark works out what a recursion
    reads anew at each level, so the named queries before the recursion become tables.
    """
    import sqlglot

    query: Any = sqlglot.parse_one(file.create, read="duckdb").expression.transform(_as_spark_says)
    named = query.args.get("with_") or query.args.get("with")
    before = [named.expressions.pop(0) for _ in named.expressions[:-1]] if named and named.recursive else []
    queries = [(each.alias, each.this) for each in before] + [(file.table, query)]
    return [
        (name, each.sql(dialect="spark", comments=False, unsupported_level=sqlglot.ErrorLevel.RAISE))
        for name, each in queries
    ]


def _as_spark_says(node: Any) -> Any:
    """Turn ``percentile_cont(p) within group (order by x)`` into Spark's exact ``percentile(x, p)``.

    sqlglot writes ``percentile_approx``, which returns a value that occurs instead of interpolating.
    """
    from sqlglot import exp

    if isinstance(node, exp.WithinGroup) and isinstance(node.this, exp.PercentileCont):
        return exp.Anonymous(this="PERCENTILE", expressions=[node.expression.expressions[0].this, node.this.this])
    return node


def _take_into(db: Path, staged: Path, marts: Path) -> None:
    """Fill a new workshop's tables; its views are made by their own SQL."""
    import pyarrow.dataset as ds

    places = dict.fromkeys(_staged_tables(), staged)
    places |= {file.table: marts for file in sql.table_files() if file.folder != sql.RAW and not file.is_view}
    with Database.open(db) as database, database.transaction() as connection:
        for table, folder in places.items():
            connection.register("made_elsewhere", ds.dataset(folder / f"{table}.parquet").scanner().to_reader())
            connection.execute(f"insert into {table} by name from made_elsewhere")
            connection.unregister("made_elsewhere")
