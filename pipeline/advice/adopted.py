"""Advice taken up: which row, since when, and whether it helped."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from typing import TYPE_CHECKING, Any

from pipeline.advice.find import advice, did_it_help
from pipeline.errors import UsageError, shown
from pipeline.words.appliance import ALWAYS

if TYPE_CHECKING:
    from collections.abc import Mapping

    import duckdb
    import pandas as pd

    from pipeline.store.database import Database
    from pipeline.words import Words

TOLD = (
    "number", "says", "part", "kind", "make", "complaint", "code", "finding", "kinds", "count", "of", "share", "low",
    "usual", "p_adjusted", "trend", "recent_count", "recent_of", "lost", "money", "usually", "usually_count",
    "suspects", "look_first", "most_by_one", "jobs", "cautions",
)  # fmt: skip
PATTERN = ("part", "kind", "make", "complaint", "code", "finding", "look_first")


def list_advice(database: Database, words: Words, currency: str, found: pd.DataFrame | None = None) -> dict[str, Any]:
    """List the advice of all verdicts so far, and what was taken up, with the wrong parts before and since.

    Parameters
    ----------
    database, words, currency
        Of the workshop.
    found
        The rows of `pipeline.advice.find.advice`, where they have been searched for already.

    Returns
    -------
    rows
        number, says, part, kind, make, complaint, code, finding, kinds, count, of, share, low, usual, p_adjusted,
        trend, recent_count, recent_of, first_date, last_date, lost, money, usually, usually_count, suspects,
        look_first, most_by_one, jobs, cautions (full texts), adopted_on (None = not taken up); as
        `models.advice.find.find_advice`, worth most first, ended ones last.
    adopted
        advice_id, says, adopted_on, the fields of `models.advice.adopted.BeforeAndAfter`, and cautions; a row that
        no longer stands out stays here.
    cautions
        All of them, and that local rules come first.
    currency
        Of all money.
    """
    found = advice(database.connection, words) if found is None else found
    listed = found.to_dict("records")
    taken = _taken(database.connection)
    since = {json.dumps(pattern): on for _, pattern, on in taken}
    rows = [
        {
            **{name: row[name] for name in TOLD},
            "first_date": f"{row['first_date']:%Y-%m-%d}",
            "last_date": f"{row['last_date']:%Y-%m-%d}",
            "adopted_on": since.get(json.dumps(_pattern(row))),
        }
        for row in listed
    ]
    cautions = {json.dumps(_pattern(row)): row["cautions"] for row in listed}
    adopted = [
        {**row, "cautions": cautions.get(json.dumps(pattern)) or _cautions(words, pattern)}
        for row, (_, pattern, _) in zip(taken_up(database.connection), taken, strict=True)
    ]
    every = [text for row in [*rows, *adopted] for text in row["cautions"]]
    local = [text for name, text in words.cautions()[["caution", "text"]].itertuples(index=False) if name == ALWAYS]
    return {
        "rows": rows,
        "adopted": [_plain(row) for row in adopted],
        "cautions": list(dict.fromkeys([*every, *local])),
        "currency": currency,
    }


def taken_up(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """List the advice taken up, with the wrong parts before and since.

    Returns
    -------
    list of dict
        advice_id, says, adopted_on, the conditions (part, kind, make, complaint, code, finding, look_first), and
        the fields of `models.advice.adopted.BeforeAndAfter`.
    """
    return [
        {
            "advice_id": advice_id,
            "says": _says(pattern),
            "adopted_on": on,
            **pattern,
            **dataclasses.asdict(did_it_help(connection, pattern, dt.date.fromisoformat(on))),
        }
        for advice_id, pattern, on in _taken(connection)
    ]


def adopt(database: Database, words: Words, number: int, on: dt.date) -> dict[str, Any]:
    """Write down that the advice with this number is followed from a day on.

    Raises
    ------
    UsageError
        There is no such row, or it was taken up already.
    """
    found = advice(database.connection, words).to_dict("records")
    if not 1 <= number <= len(found):
        raise UsageError(
            f"There is no advice number {number}.",
            "Their numbers: priorjobs advice." if found else "No part stands out as often not the cause.",
        )
    pattern = _pattern(found[number - 1])
    if pattern in (known for _, known, _ in _taken(database.connection)):
        raise UsageError(
            f"Advice {number} has already been taken up.",
            "To change the day, undo it first: priorjobs advice names its number.",
        )
    with database.transaction() as changing:
        ((last,),) = changing.execute("select coalesce(max(advice_id), 0) from advice_taken").fetchall()
        changing.execute(
            f"insert into advice_taken (advice_id, decided_at, adopted_on, {', '.join(PATTERN)}) "
            f"values (?, now()::timestamp, ?, {', '.join('?' * len(PATTERN))})",
            [last + 1, on, *pattern.values()],
        )
    return {"advice_id": last + 1, "says": _says(pattern), "adopted_on": on.isoformat(), **pattern}


def undo(database: Database, advice_id: int) -> dict[str, Any]:
    """Take back advice that was taken up; its row is kept.

    Raises
    ------
    UsageError
        None in force has this number.
    """
    pattern = next((pattern for number, pattern, _ in _taken(database.connection) if number == advice_id), None)
    if pattern is None:
        raise UsageError(f"No advice taken up has the number {advice_id}.", "Their numbers: priorjobs advice.")
    with database.transaction() as changing:
        changing.execute("update advice_taken set undone_at = now()::timestamp where advice_id = ?", [advice_id])
    return {"undone": advice_id, "says": _says(pattern), **pattern}


def day(written: str | None) -> dt.date:
    """Read the day given with ``--on``; today when none is.

    Raises
    ------
    UsageError
        It is no day as YYYY-MM-DD.
    """
    if written is None:
        return dt.date.today()
    try:
        return dt.date.fromisoformat(written)
    except ValueError as fault:
        raise UsageError(f"{shown(written)} is not a valid date.", "Write it like 2026-09-01.") from fault


def _pattern(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {name: None if row[name] is None or row[name] != row[name] else str(row[name]) for name in PATTERN}


def _taken(connection: duckdb.DuckDBPyConnection) -> list[tuple[int, dict[str, Any], str]]:
    """Advice in force: its number, its pattern, the day it was taken up."""
    rows = connection.execute(
        f"select advice_id, adopted_on, {', '.join(PATTERN)} from advice_taken "
        "where undone_at is null order by advice_id"
    ).fetchall()
    return [(number, dict(zip(PATTERN, pattern, strict=True)), on.isoformat()) for number, on, *pattern in rows]


def _says(pattern: Mapping[str, Any]) -> str:
    """The advice without its numbers, which change as jobs come in."""
    where = [str(pattern[name]) for name in ("kind", "complaint", "make", "code", "finding") if pattern[name]]
    return f"{', '.join(where)}: " * bool(where) + f"{pattern['look_first']} before fitting {pattern['part']}"


def _cautions(words: Words, pattern: Mapping[str, Any]) -> list[str]:
    """Cautions of a check whose row no longer stands out: those of every kind that knows it."""
    checks, texts = words.checks(), dict(words.cautions()[["caution", "text"]].itertuples(index=False, name=None))
    named = checks.loc[checks["check"] == pattern["look_first"], "cautions"]
    names = [name for cell in named for name in (cell if isinstance(cell, list) else str(cell).split(";"))]
    return [texts[name.strip()] for name in dict.fromkeys(names) if name.strip() in texts]


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    return {name: None if isinstance(value, float) and value != value else value for name, value in row.items()}
