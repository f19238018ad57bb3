"""After any change, core and marts brought up to date for the units touched are what building all of them anew makes."""

from __future__ import annotations

import datetime as dt
import random
from collections import Counter
from typing import Any

import duckdb
import pytest

import sql
from pipeline.store.check import broken
from sql.refresh import refreshed
from tests.worlds.shared import times
from tests.worlds.small_workshop import workshop

STAGED = ("stage_visit", "stage_symptom", "stage_finding", "stage_part")
MADE = [file.table for file in sql.built_tables()]
SYMPTOMS = ("does not drain", "stops before spin", "leaks", "noisy", "lamps or code shown")
CAUSES = ("drain pump seized", "blocked filter", "level sensor fault", "something of their own", None)
PARTS = ("drain pump", "level sensor", "door seal", "strange part")
OUTCOMES = ("fixed", "fixed", "fixed", "not fixed", "part needed", "no access", "no fault found", "declined", "unknown")


@pytest.fixture(scope="module")
def empty() -> duckdb.DuckDBPyConnection:
    """One database for all histories: they are rolled back."""
    connection = workshop(until=None)
    connection.execute("insert into term values ('kind', 'gubbins', 'own')")
    return connection


def stage(connection: duckdb.DuckDBPyConnection, chance: random.Random, visit_id: int, days: int) -> None:
    """Stage a visit of few units: numbers, names and jobs are shared by many, and often missing."""

    def one_of(*values: Any, missing: float = 0.4) -> Any:
        return None if chance.random() < missing else chance.choice(values)

    cause = chance.choice(CAUSES)
    row = {
        "visit_id": visit_id,
        "record_id": visit_id,
        "visit_date": dt.date(2024, 1, 1) + dt.timedelta(days=chance.randrange(days)),
        "kind": chance.choice(("washing machine", "microwave oven", "washing machine", "microwave oven", "gubbins")),
        "serial": one_of("S1", "S2", "S3", missing=0.6),
        "customer_hash": one_of("c1", "c2", "c3"),
        "make": one_of("Arvel", "Nusk"),
        "model": one_of("A1", "A2"),
        "job_no": one_of(*"123456", missing=0.2),
        "callback_of": one_of(*"123456", missing=0.8),
        "age_years": one_of(1.0, 5.0),
        "outcome": chance.choice(OUTCOMES),
        "cause": cause,
        "cause_is_confirmed": None if cause is None else chance.random() < 0.8,
        "technician": one_of("Ada", "Ben"),
        "branch": one_of("North", "north", "No rth", "South"),
        "labour_minutes": one_of(30.0, 60.0),
        "parts_cost": one_of(90.0, 20.0),
    }
    connection.execute(
        f"insert into stage_visit ({', '.join(row)}) values ({', '.join('?' * len(row))})", list(row.values())
    )
    for symptom in chance.sample(SYMPTOMS, chance.randrange(3)):
        told = [visit_id, symptom, chance.random() < 0.1]
        connection.execute("insert into stage_symptom values (?, ?, 'complaint', ?, false)", told)
    if chance.random() < 0.1:
        connection.execute("insert into stage_symptom values (?, 'as before', 'again', false, false)", [visit_id])
    if chance.random() < 0.3:
        connection.execute("insert into stage_symptom values (?, 'K07', 'code', false, false)", [visit_id])
    if chance.random() < 0.5:
        connection.execute(
            "insert into stage_finding values (?, 'water left', ?, false)", [visit_id, one_of("no") or "yes"]
        )
    for number, part in enumerate(chance.sample(PARTS, chance.choice((0, 0, 1, 1, 2))), start=1):
        connection.execute("insert into stage_part values (?, ?, ?, 1, 30, ?)", [visit_id, number, part, part])


def note(connection: duckdb.DuckDBPyConnection, visits: list[int]) -> None:
    connection.execute(
        "insert into changed_visit select visit_id, kind, serial, customer_hash, job_no from stage_visit "
        "where list_contains(?, visit_id)",
        [visits],
    )


def contents(connection: duckdb.DuckDBPyConnection) -> dict[str, Counter[str]]:
    """Rows of all tables and views, and how often each is there."""
    return {table: Counter(map(str, connection.execute(f"from {table}").fetchall())) for table in MADE}


@pytest.mark.parametrize("seed", range(times(2)))
def test_what_is_brought_up_to_date_is_what_building_all_anew_makes(
    empty: duckdb.DuckDBPyConnection, seed: int
) -> None:
    chance = random.Random(seed)
    held, days = chance.choice((15, 40)), chance.choice((60, 400, 2000))
    empty.execute("begin")
    if chance.random() < 0.3:
        empty.execute("update setting set as_of = date '2024-01-01' + ?::integer", [days // 2])
    for visit_id in range(1, held + 1):
        stage(empty, chance, visit_id, days)
    sql.rebuild(empty)
    touched_few = 0
    for _ in range(2):
        empty.execute(
            "create or replace temp table changed_visit as select visit_id, kind, serial, customer_hash, job_no from stage_visit limit 0"
        )
        changed = chance.sample(range(1, held + 1), chance.choice((1, 2)))
        note(empty, changed)
        for table in STAGED:
            empty.execute(f"delete from {table} where list_contains(?, visit_id)", [changed])
        corrected = [visit for visit in changed if chance.random() < 0.7]
        new = [held + 1] if chance.random() < 0.7 else []
        held += len(new)
        for visit in corrected + new:
            stage(empty, chance, visit, days)
        note(empty, corrected + new)
        with refreshed(empty, fewest=0, largest_share=1.0):
            (seen,) = empty.execute("select count(*) from stage_visit").fetchall()[0]
            assert broken(empty, with_figures=False) == []
        (all_held,) = empty.execute("select count(*) from stage_visit").fetchall()[0]
        touched_few += seen < all_held
        refreshed_to = contents(empty)
        sql.rebuild(empty)
        rebuilt = contents(empty)
        assert {
            table: (refreshed_to[table] - rows, rows - refreshed_to[table])
            for table, rows in rebuilt.items()
            if refreshed_to[table] != rows
        } == {}
    empty.execute("rollback")
    assert touched_few or held < 20
