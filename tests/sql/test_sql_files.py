"""Every .sql file makes the table of its name, reads what its header says, describes every column, and can move."""

from __future__ import annotations

import re

import duckdb
import pytest
import sqlglot
from sqlglot import exp

import sql
from tests.worlds.small_workshop import broken, visit, workshop

FILES = sql.table_files()
BUILT = [file for file in FILES if file.folder != "10_raw"]


@pytest.fixture(scope="module")
def built() -> duckdb.DuckDBPyConnection:
    return workshop(
        visit(
            0,
            symptoms=["does not drain"],
            codes=["K07"],
            findings=["water left=no"],
            parts=["drain pump"],
            cause="drain pump seized",
        ),
        visit(9, symptoms=["does not drain"], cause="level sensor fault", parts=["level sensor"], technician="Ada"),
        visit(90, serial=None, customer_hash="c1", make=None, job_no=None, outcome="no access"),
        visit(91, serial=None, job_no=None, outcome="unknown"),
    )


@pytest.mark.parametrize("file", BUILT, ids=lambda file: file.table)
def test_a_file_makes_the_table_of_its_name_from_the_tables_its_header_names(file: sql.TableFile) -> None:
    tree = sqlglot.parse_one(file.create, read="duckdb")
    assert isinstance(tree, exp.Create)
    assert tree.this.name == file.table
    own = {cte.alias for cte in tree.find_all(exp.CTE)}
    read = {table.name for table in tree.find_all(exp.Table)} - own - {file.table}
    assert read == set(file.reads)


@pytest.mark.parametrize("file", BUILT, ids=lambda file: file.table)
def test_a_file_transpiles_to_a_distributed_engine(file: sql.TableFile) -> None:
    (made,) = sqlglot.transpile(file.create, read="duckdb", write="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
    assert sqlglot.parse_one(made, read="spark").find(exp.Select) is not None


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.table)
def test_a_file_states_grain_and_key_and_keeps_to_one_table(file: sql.TableFile) -> None:
    assert file.grain.startswith("one row")
    assert file.create.count("create ") == 1
    assert all(check.count(";") == 0 for check in file.must_hold.values())


def test_layers_read_only_what_stands_before_them() -> None:
    place = {file.table: number for number, file in enumerate(FILES)}
    assert all(place[source] < place[file.table] for file in FILES for source in file.reads)
    layer = {file.table: file.folder for file in FILES}
    assert all(layer[source] <= file.folder for file in FILES for source in file.reads)


def test_the_key_of_every_table_is_unique(built: duckdb.DuckDBPyConnection) -> None:
    for file in FILES:
        if file.key:
            doubles = built.execute(
                f"select {', '.join(file.key)} from {file.table} group by all having count(*) > 1"
            ).fetchall()
            assert doubles == [], file.table


def test_every_column_is_described_and_every_description_has_its_column(built: duckdb.DuckDBPyConnection) -> None:
    words = sql.data_dictionary(built)
    assert set(words["table"]) == {file.table for file in FILES}
    assert words[words["meaning"].isna()][["table", "column"]].values.tolist() == []
    assert words["meaning"].str.len().min() > 2
    there = set(zip(words["table"], words["column"], strict=True))
    described = {(file.table, column) for file in FILES for column in file.comments}
    assert described - there == set()


def test_a_meaning_is_stated_once() -> None:
    for file in FILES:
        for column, text in file.comments.items():
            inherited = [sql.meaning(source, column) for source in file.reads]
            assert text not in inherited, f"{file.table}.{column} repeats what {file.reads} says"


def test_tables_carry_their_grain_as_comment(built: duckdb.DuckDBPyConnection) -> None:
    comments = dict(
        built.execute(
            "select table_name, comment from duckdb_tables() where not internal "
            "union all select view_name, comment from duckdb_views() where not internal"
        ).fetchall()
    )
    assert comments["part_verdict"] == "one row a part line: was the part the cure"
    assert all(comments[file.table] == file.grain for file in FILES)


def test_what_must_hold_holds_and_is_able_to_fail(built: duckdb.DuckDBPyConnection) -> None:
    assert broken(built) == {}
    copy = built.cursor()
    copy.execute("begin")
    copy.execute("update stage_visit set outcome = 'mended' where visit_id = 1")
    copy.execute("update first_visit_end set visit_date = date '2030-01-01' where episode_id = 1")
    copy.execute("delete from part_trace where visit_id = 2")
    found = set(broken(copy))
    copy.execute("rollback")
    assert "visit: an outcome is one of the accepted words" in found
    assert "month_summary: months add up to all visits, and episodes to those judged" in found
    assert "part_verdict: every part line has one verdict, spelt as agreed, with its evidence" in found


def test_an_empty_workshop_has_all_tables_and_nothing_in_them() -> None:
    connection = duckdb.connect()
    sql.create(connection)
    sql.rebuild(connection)
    assert broken(connection) == {}
    for file in BUILT:
        assert connection.execute(f"select count(*) from {file.table}").fetchall() == [(0,)]


def test_visits_without_settings_are_refused() -> None:
    connection = workshop(visit(0))
    connection.execute("delete from setting")
    with pytest.raises(ValueError, match="setting holds 0 rows"):
        sql.rebuild(connection)


def test_rebuilding_changes_nothing(built: duckdb.DuckDBPyConnection) -> None:
    def contents() -> dict[str, list[tuple]]:
        return {file.table: sorted(map(str, built.execute(f"from {file.table}").fetchall())) for file in BUILT}

    before = contents()
    sql.rebuild(built)
    assert contents() == before


def test_a_table_changes_by_visits_or_is_made_as_a_whole_and_counts_over_units_are_views() -> None:
    changing = {file.table for file in FILES if file.changes_by}
    whole = {"follow_up", "branch_name", "symptom_order"}
    for file in sql.built_tables():
        assert (file.table in whole) != (file.table in changing), file.table
        assert file.changes_by is None or file.changes_by in ("visit_id", "episode_id")
    assert {file.table for file in FILES if file.is_view} & changing == set()


def test_statements_are_lower_case_and_plain() -> None:
    exotic = re.compile(r"\b(qualify|pivot|unnest|asof|struct_pack|list_transform|regexp_\w+|columns\()", re.IGNORECASE)
    for file in FILES:
        code = "\n".join(line for line in file.create.splitlines() if not line.lstrip().startswith("--"))
        assert not exotic.search(code), file.table
        assert not re.search(r"\b(SELECT|FROM|WHERE|JOIN|GROUP BY)\b", code), file.table
