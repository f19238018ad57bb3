"""What is loaded, how well it is understood, which words are most worth reviewing, and whether the model is fresh."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.errors import ModelError
from pipeline.load.technicians import held_by_name
from pipeline.store.check import broken
from pipeline.words.list_version import is_outdated

if TYPE_CHECKING:
    import duckdb

    from pipeline.settings import Settings
    from pipeline.store.database import Database

MOST_WORDS = 10
COLUMNS = (
    "appliance kind", "make", "model", "serial", "age", "complaint", "fault code", "findings", "cause", "outcome",
    "minutes", "labour charge", "parts cost", "parts",
)  # fmt: skip


def status(database: Database, settings: Settings, *, check: bool = False) -> dict[str, Any]:
    """Say at a glance what the workshop's database holds.

    Parameters
    ----------
    check
        Also run everything that must hold of the tables, and compare the jobs cured since the training with those
        learned.

    Returns
    -------
    dict
        database; loaded (files, lines, visits, appliances, refused lines, first and last visit); columns (for each how
        many visits give it, how many of those are understood, the share); words_to_review (the ten most used that no
        list knows); word_lists_changed (since the visits were read); technicians_to_hash (held by name though the
        settings ask for hashes, until the next load); model (name, or that there is none; whether jobs
        came in since); last_files. With ``check`` also broken (see `pipeline.store.check.broken`) and
        drift (see `pipeline.train.drift.drift`).
    """
    connection = database.connection
    told: dict[str, Any] = {
        "database": database.path.name,
        "loaded": _loaded(connection),
        "last_files": _last_files(connection),
        "columns": columns_understood(connection),
        "words_to_review": words_to_review(connection),
        "word_lists_changed": is_outdated(connection, settings),
        "technicians_to_hash": len(held_by_name(connection)) if settings.hash_technicians else 0,
        "model": _model(database),
    }
    if not check:
        return told
    from pipeline.train.drift import drift

    return told | {"broken": broken(connection), "drift": drift(database)}


def _rows(connection: duckdb.DuckDBPyConnection, query: str) -> list[dict[str, Any]]:
    names = [column[0] for column in connection.execute(query).description or ()]
    return [dict(zip(names, row, strict=True)) for row in connection.fetchall()]


def _loaded(connection: duckdb.DuckDBPyConnection) -> dict[str, Any]:
    (found,) = _rows(
        connection,
        "select (select count(*) from load_batch where taken_back_at is null) as files, "
        "(select count(*) from counted_record) as lines, "
        "count(*) as visits, (select count(*) from visit_on_appliance where visit_no_on_appliance = 1) as appliances, "
        "(select count(*) from rejected_record join load_batch using (batch_id) where taken_back_at is null) "
        "as refused_lines, "
        "min(visit_date)::varchar as first_visit, max(visit_date)::varchar as last_visit from stage_visit",
    )
    return found


def _last_files(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    return _rows(
        connection,
        "select file_name as file, layout, loaded_at::varchar as loaded_at, lines_read as read, loaded, unchanged, "
        "replaced, rejected from load_batch where taken_back_at is null order by batch_id desc limit 5",
    )


def columns_understood(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Give for each column of the visits in force how often it is filled and understood.

    Returns
    -------
    list of dict
        column, given, understood (visits), share (None where it is never given). Parts are counted by part lines.
    """
    counted = connection.execute("select column_name, given, understood from column_understood").fetchall()
    found = {name: (given, understood) for name, given, understood in counted}
    return [
        {"column": name, "given": given, "understood": understood, "share": _share(understood, given)}
        for name in COLUMNS
        for given, understood in [found.get(name, (0, 0))]
    ]


def _share(part: int, whole: int) -> float | None:
    return round(part / whole, 4) if whole else None


def words_to_review(connection: duckdb.DuckDBPyConnection, most: int = MOST_WORDS) -> list[dict[str, Any]]:
    """Give the most used words and cells that no list knows: list, written, uses, example."""
    return _rows(
        connection,
        "select list, written, uses, example from word_use where term is null and list <> 'make' "
        f"order by uses desc, list, written limit {int(most)}",
    )


def _model(database: Database) -> dict[str, Any]:
    from pipeline.train.versions import current_model, name_in_use

    try:
        model = current_model(database)
    except ModelError as fault:
        return {"name": None, "note": f"{fault.what} {fault.remedy}"}
    if model is None:
        return {"name": None, "note": "No model is trained: priorjobs train"}
    name, learned = name_in_use(database), int(model.card["episodes"])
    (now,) = database.connection.execute("select count(*) from cause_example").fetchall()[0]
    note = "up to date" if now <= learned else f"{now - learned:,} cured jobs came in since: priorjobs train"
    return {"name": name, "cured_jobs_learned": learned, "cured_jobs_now": now, "note": note}
