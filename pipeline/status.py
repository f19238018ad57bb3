"""What is loaded, how well it is understood, which words are most worth reviewing, and whether the model is fresh."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

    from pipeline.database import Database

MOST_WORDS = 10
# In force: what was written, against what came of it. A make has no list to be understood by.
COLUMNS = {
    "appliance kind": ("true", "known.term is not null"),
    "make": ("raw.make is not null", "visit.make is not null"),
    "model": ("raw.model is not null", "visit.model is not null"),
    "serial": ("raw.serial is not null", "visit.serial is not null"),
    "age": ("raw.age is not null", "visit.age_years is not null"),
    "complaint": ("raw.complaint is not null", "said.visit_id is not null"),
    "fault code": ("raw.fault_code is not null", "coded.visit_id is not null"),
    "findings": ("raw.findings is not null", "seen.visit_id is not null"),
    "cause": ("raw.cause is not null", "cause_known.term is not null"),
    "outcome": ("raw.outcome is not null", "visit.outcome <> 'unknown'"),
    "minutes": ("raw.minutes is not null", "visit.labour_minutes is not null"),
    "labour charge": ("raw.labour_charge is not null", "visit.labour_charge is not null"),
    "parts cost": ("raw.parts_cost is not null", "visit.parts_cost is not null"),
}


def status(database: Database) -> dict[str, Any]:
    """Say at a glance what the workshop's database holds.

    Returns
    -------
    dict
        database; loaded (files, lines, visits, appliances, refused lines, first and last visit); columns (for each how
        many visits give it, how many of those are understood, the share); words_to_review (the ten most used that no
        list knows); model (name, or that there is none; whether jobs came in since); last_files.
    """
    connection = database.connection
    return {
        "database": database.path.name,
        "loaded": _loaded(connection),
        "last_files": _last_files(connection),
        "columns": columns_understood(connection),
        "words_to_review": words_to_review(connection),
        "model": _model(database),
    }


def _rows(connection: duckdb.DuckDBPyConnection, query: str) -> list[dict[str, Any]]:
    names = [column[0] for column in connection.execute(query).description or ()]
    return [dict(zip(names, row, strict=True)) for row in connection.fetchall()]


def _loaded(connection: duckdb.DuckDBPyConnection) -> dict[str, Any]:
    (found,) = _rows(
        connection,
        "select (select count(*) from load_batch) as files, (select count(*) from raw_record) as lines, "
        "count(*) as visits, (select count(*) from appliance) as appliances, "
        "(select count(*) from rejected_record) as refused_lines, "
        "min(visit_date)::varchar as first_visit, max(visit_date)::varchar as last_visit from stage_visit",
    )
    return found


def _last_files(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    return _rows(
        connection,
        "select file_name as file, layout, loaded_at::varchar as loaded_at, lines_read as read, loaded, unchanged, "
        "replaced, rejected from load_batch order by batch_id desc limit 5",
    )


def columns_understood(connection: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Count for each column of the visits in force how often it is given and understood.

    Returns
    -------
    list of dict
        column, given, understood (visits), share (None where it is never given). Parts are counted by part lines.
    """
    counts = ", ".join(
        f"count(*) filter ({given}), count(*) filter (({given}) and ({understood}))"
        for given, understood in COLUMNS.values()
    )
    (row,) = connection.execute(
        f"select {counts} from stage_visit as visit join raw_record as raw using (record_id) "
        "left join word_use as known on known.list = 'kind' and known.written = raw.appliance_kind "
        "left join word_use as cause_known on cause_known.list = 'cause' and cause_known.written = raw.cause "
        "left join (select distinct visit_id from stage_symptom where source = 'complaint') as said "
        "on said.visit_id = visit.visit_id "
        "left join (select distinct visit_id from stage_symptom where source = 'code') as coded "
        "on coded.visit_id = visit.visit_id "
        "left join (select distinct visit_id from stage_finding where finding not in "
        "(select written from word_use where list = 'finding')) as seen on seen.visit_id = visit.visit_id"
    ).fetchall()
    found = [
        {"column": name, "given": row[2 * i], "understood": row[2 * i + 1], "share": _share(row[2 * i + 1], row[2 * i])}
        for i, name in enumerate(COLUMNS)
    ]
    ((given, understood),) = connection.execute(
        "select coalesce(sum(uses), 0)::bigint, coalesce(sum(uses) filter (term is not null), 0)::bigint "
        "from word_use where list = 'part'"
    ).fetchall()
    return [*found, {"column": "parts", "given": given, "understood": understood, "share": _share(understood, given)}]


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
    pointer = database.folder_of_models / "in_use.json"
    try:
        name = json.loads(pointer.read_text(encoding="utf-8"))["model"]
        card = json.loads((database.folder_of_models / name / "card.json").read_text(encoding="utf-8"))
        learned = int(card["episodes"])
    except (OSError, ValueError, KeyError, TypeError):
        return {"name": None, "note": "No model is trained: priorjobs train"}
    (now,) = database.connection.execute("select count(*) from cause_example").fetchall()[0]
    note = "up to date" if now <= learned else f"{now - learned:,} cured jobs came in since: priorjobs train"
    return {"name": name, "cured_jobs_learned": learned, "cured_jobs_now": now, "note": note}
