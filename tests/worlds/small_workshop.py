"""Tiny workshops for the tests of the tables: a list of visits, each a few words, everything else plain."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import duckdb

import sql
from tests.worlds import empty

CURES = (
    ("washing machine", "drain pump seized", "drain pump"),
    ("washing machine", "blocked filter", None),
    ("washing machine", "level sensor fault", "level sensor"),
    ("washing machine", "door seal torn", "door seal"),
    ("washing machine", "loose hose", None),
    ("microwave oven", "fuse blown by door switches", "door switch set"),
    ("microwave oven", "fuse blown by door switches", "fuse"),
    ("tumble dryer", "cut-out tripped", "cut-out kit"),
    ("tumble dryer", "lint blockage", None),
)
JOINT = ("tumble dryer", "lint blockage", "cut-out kit")
GROUPS = (
    ("does not drain", "water out"),
    ("stops before spin", "water out"),
    ("leaks", "leaking"),
    ("noisy", "noise"),
    ("lamps or code shown", "display"),
)
DAY_ONE = dt.date(2026, 1, 1)


def visit(day: int, outcome: str = "fixed", **more: Any) -> dict[str, Any]:
    """One visit, ``day`` days after 1 January 2026.

    symptoms, codes, findings and parts are lists; is_back: the complaint only says that the fault is back; the rest are
    columns.
    """
    return {"visit_date": DAY_ONE + dt.timedelta(days=day), "outcome": outcome, **more}


def separate(histories: Sequence[Sequence[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Visits of several histories for one workshop: a unit and job numbers for each."""
    return [
        {
            **visit,
            "serial": f"{place}-{visit.get('serial', 'S1')}",
            "job_no": f"{place}-{visit.get('job_no', f'J{number}')}",
            "callback_of": f"{place}-{visit['callback_of']}" if visit.get("callback_of") else None,
        }
        for place, history in enumerate(histories)
        for number, visit in enumerate(history, start=1)
    ]


def workshop(*visits: dict[str, Any], until: int | None = 365, **settings: Any) -> duckdb.DuckDBPyConnection:
    """Stage the visits in their order (visit_id 1, 2 …) and rebuild, followed to day ``until`` (None: last visit)."""
    connection = duckdb.connect(config={"threads": 1})
    connection.execute(f"attach '{empty.made() / empty.NAME}' as made (read_only)")
    connection.execute("copy from database made to memory")  # a tenth of what `sql.create` takes
    connection.execute("detach made")
    connection.execute("delete from setting")
    as_of = None if until is None else DAY_ONE + dt.timedelta(days=until)
    chosen = {"window_days": 30, "waiting_days": 120, "hour_rate": 48.0, "trip_cost": 22.0, "trip_minutes": 35.0}
    chosen |= {"currency": "GBP", "as_of": as_of} | settings
    connection.execute(
        f"insert into setting ({', '.join(chosen)}) values ({', '.join('?' * len(chosen))})", list(chosen.values())
    )
    connection.executemany("insert into cure values (?, ?, ?, 'shipped')", [list(row) for row in CURES])
    connection.execute("insert into cure values (?, ?, ?, 'joint')", list(JOINT))
    connection.executemany("insert into symptom_group values (?, ?)", [list(row) for row in GROUPS])
    for number, given in enumerate(visits, start=1):
        _insert(connection, number, given)
    sql.rebuild(connection)
    return connection


def _insert(connection: duckdb.DuckDBPyConnection, number: int, given: dict[str, Any]) -> None:
    row = {"visit_id": number, "record_id": number, "kind": "washing machine", "serial": "S1", "job_no": f"J{number}"}
    row |= {"cause_is_confirmed": True if given.get("cause") else None}
    lists = {name: given.get(name, []) for name in ("symptoms", "codes", "findings", "parts")}
    row |= {name: value for name, value in given.items() if name not in lists}
    is_back = row.pop("is_back", False)
    connection.execute(
        f"insert into stage_visit ({', '.join(row)}) values ({', '.join('?' * len(row))})", list(row.values())
    )
    for text in lists["symptoms"]:
        term = text.lstrip("-?")
        told = [number, term, text.startswith("-"), text.startswith("?")]
        connection.execute("insert into stage_symptom values (?, ?, 'complaint', ?, ?)", told)
    if is_back:
        connection.execute("insert into stage_symptom values (?, 'as before', 'again', false, false)", [number])
    for code in lists["codes"]:
        connection.execute("insert into stage_symptom values (?, ?, 'code', false, false)", [number, code])
    for text in lists["findings"]:
        finding, value = text.lstrip("?").split("=")
        connection.execute(
            "insert into stage_finding values (?, ?, ?, ?)", [number, finding, value, text.startswith("?")]
        )
    for place, part in enumerate(lists["parts"], start=1):
        name, cost = part if isinstance(part, tuple) else (part, 30.0)
        connection.execute("insert into stage_part values (?, ?, ?, 1, ?, ?)", [number, place, name, cost, name])


def column(connection: duckdb.DuckDBPyConnection, query: str) -> list[Any]:
    """First column of a query, as a list."""
    return [row[0] for row in connection.execute(query).fetchall()]


def broken(connection: duckdb.DuckDBPyConnection) -> dict[str, list[tuple[Any, ...]]]:
    """Return what must hold and does not."""
    return {name: rows for name, rows in sql.offenders(connection).items() if rows}
