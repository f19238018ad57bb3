"""A few jobs as a file, loaded, and what the database then holds."""

from __future__ import annotations

import csv
import io

from pipeline.load.load import load_files
from pipeline.load.load_request import Asked
from pipeline.load.report import COUNTS, LoadReport
from pipeline.load.stage import STAGED
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.words import Words

HEADER = ["visit_date", "appliance_kind", "job_no", "serial", "customer_ref", "complaint", "cause", "parts", "outcome"]
FIRST = [
    ["2025-01-03", "W/M", "J1", "SN1", "C-1", "not draining", "blocked filter", "", "fixed"],
    ["2025-01-04", "dryer", "J2", "SN2", "C-2", "no heat, zibbly noise", "", "element @ 30; belt", "fixed"],
    ["2025-01-05", "frobnicator", "J3", "", "C-3", "not heating", "glorp worn", "glorp", "part needed"],
]


def as_csv(rows: list[list[str]], header: list[str] = HEADER) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([header, *rows])
    return out.getvalue().encode()


def load(database: Database, words: Words, content: bytes, name: str = "jobs.csv", **options: object) -> LoadReport:
    path = database.path.parent / name
    path.write_bytes(content)
    report = load_files(Asked(database, lambda: words, Settings(), **options), [path])
    for f in report.files:
        assert f.read == f.loaded + f.unchanged + f.rejected
        assert f.replaced <= f.loaded
    return report


def counts(report: LoadReport) -> tuple[int, ...]:
    return tuple(report.totals[name] for name in COUNTS)


def rows(database: Database, query: str) -> list[tuple]:
    return database.connection.execute(query).fetchall()


def staged(database: Database) -> dict[str, list[tuple]]:
    """Everything staged, without the numbers that depend on the order of loads."""
    record = "(select visit_key from raw_record where record_id = t.visit_id)"
    found = {
        name: rows(
            database,
            f"select {record}, t.* exclude (visit_id{', record_id' if name == 'stage_visit' else ''}) from {name} as t "
            "order by all",
        )
        for name in STAGED
    }
    found["word_use"] = rows(database, "select list, written, term, uses from word_use order by all")
    found["term"] = rows(database, "select * from term order by all")
    return found


def everything(database: Database) -> dict[str, list[tuple]]:
    tables = rows(database, "select table_name from duckdb_tables() where not temporary order by 1")
    return {name: rows(database, f"select * from {name} order by all") for (name,) in tables}
