"""Core and marts after a load: the units touched are built anew, all others stand.

``affected/touched.sql`` finds the visits of those units, ``affected/neighbour.sql`` those that say by what they are
known. From these alone the very files that build everything build a small workshop beside the large one, whose rows
take the place of those of the same visits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import sql

if TYPE_CHECKING:
    import duckdb

FEWEST = 5_000  # visits: so few are built anew sooner than the units touched are found
LARGEST_SHARE = 0.2  # of all visits: so many are built anew as a whole
_FOLDER = Path(__file__).parent / "affected"
_STAGED = ("stage_symptom", "stage_finding", "stage_part")


@contextmanager
def refreshed(
    connection: duckdb.DuckDBPyConnection,
    built: Callable[[int, int], None] = lambda _done, _of: None,
    *,
    fewest: int = FEWEST,
    largest_share: float = LARGEST_SHARE,
) -> Iterator[None]:
    """Bring core and marts up to date with what was staged; inside, the tables seen are what was built.

    Inside, the tables of stage, core and marts hold the units touched alone, so that what must hold of them is asked of
    what changed. The tables come out as `sql.rebuild` would make them, which is done where little is held or much has
    changed.

    Parameters
    ----------
    connection
        With working table ``changed_visit``; the caller holds the transaction.
    built
        Told after every table how many are built, and of how many.
    fewest, largest_share
        Everything is built anew where fewer visits are held, or a larger share of them is touched.
    """

    def is_small_part(table: str) -> bool:
        ((held, some),) = connection.execute(
            f"select (select count(*) from stage_visit), (select count(distinct visit_id) from {table})"
        ).fetchall()
        return bool(held >= fewest and some <= held * largest_share)

    if not (is_small_part("changed_visit") and _found(connection) and is_small_part("touched")):
        sql.rebuild(connection, built)
        yield
        return
    small = [
        file
        for file in sql.table_files()
        if file.folder != sql.RAW and (file.is_view or file.changes_by) and not file.is_figure
    ]
    _build_beside(connection, small, built)
    _replace(connection, [file for file in small if file.changes_by])
    yield
    for file in reversed(small):  # what fails before is rolled back, these tables too
        what = "view" if file.is_view and file.table != "visit_identity" else "table"
        connection.execute(f"drop {what} temp.{file.table}")
    for table in ("stage_visit", *_STAGED, "touched", "neighbour", "renamed_visit"):
        connection.execute(f"drop table temp.{table}")


def _found(connection: duckdb.DuckDBPyConnection) -> bool:
    """Find the visits touched; False: the settings are others, which touches all."""
    main = _main(connection)
    whole = [file for file in sql.built_tables() if not file.changes_by]
    for file in whole:
        connection.execute(f"create or replace temp table {file.table} as\n{file.query}")
    settings_changed = connection.execute(
        f"select * exclude (as_of) from temp.follow_up except select * exclude (as_of) from {main}.follow_up"
    ).fetchall()
    connection.execute(
        "create or replace temp table renamed_visit as select stage_visit.visit_id from stage_visit "
        f"inner join {main}.branch_name as before on before.written = stage_visit.branch "
        "inner join temp.branch_name as now on now.written = stage_visit.branch where before.name <> now.name"
    )
    for file in whole:
        connection.execute(f"truncate {main}.{file.table}")
        connection.execute(f"insert into {main}.{file.table} from temp.{file.table}")
        connection.execute(f"drop table temp.{file.table}")
    connection.execute(_step("touched"))
    return not settings_changed


def _build_beside(
    connection: duckdb.DuckDBPyConnection, files: list[sql.TableFile], built: Callable[[int, int], None]
) -> None:
    """Build core and marts of the visits touched as temporary tables, which stand before those of the same names."""
    connection.execute(_step("neighbour"))
    for table in _STAGED:
        connection.execute(
            f"create or replace temp table {table} as "
            f"select * from {_main(connection)}.{table} where visit_id in (select visit_id from touched)"
        )
    connection.execute(
        f"create or replace temp table stage_visit as select * from {_main(connection)}.stage_visit "
        "where visit_id in (select visit_id from touched union all select visit_id from neighbour)"
    )
    for done, file in enumerate(files, start=1):
        if file.table == "visit_identity":
            _identify(connection, file)
        else:
            connection.execute(file.create.replace("\ncreate or replace ", "\ncreate or replace temp ", 1))
        built(done, len(files))


def _identify(connection: duckdb.DuckDBPyConnection, file: sql.TableFile) -> None:
    """Say by what the visits touched are known; neighbours have said what they can then, and go."""
    connection.execute(file.create.replace("\ncreate or replace view ", "\ncreate or replace temp table ", 1))
    for table in ("visit_identity", "stage_visit"):
        connection.execute(f"delete from temp.{table} where visit_id in (select visit_id from neighbour)")


def _replace(connection: duckdb.DuckDBPyConnection, files: list[sql.TableFile]) -> None:
    main = _main(connection)
    for file in files:
        connection.execute(f"delete from {main}.{file.table} where {file.changes_by} in (select visit_id from touched)")
        connection.execute(f"insert into {main}.{file.table} from temp.{file.table}")


def _main(connection: duckdb.DuckDBPyConnection) -> str:
    (name,) = connection.execute("select current_database()").fetchall()[0]
    return '"{}".main'.format(str(name).replace('"', '""'))


@cache
def _step(name: str) -> str:
    return (_FOLDER / f"{name}.sql").read_text(encoding="utf-8")
