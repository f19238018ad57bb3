"""What a corrected file takes away from the visits it replaces, and what it has no column for."""

from __future__ import annotations

from pipeline.load.batches import take_back, undo_take_back
from pipeline.load.layout_file import parse_layout
from pipeline.load.report import LoadReport
from pipeline.load.stage import restage
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.words import Words
from tests.worlds.few_jobs import FIRST, HEADER, as_csv, load, rows, staged

MONEY = [*HEADER, "minutes", "labour_charge"]
PARTS = "select part, quantity, unit_cost from stage_part order by all"


def _without(column: str, header: list[str], lines: list[list[str]]) -> bytes:
    at = header.index(column)
    return as_csv([line[:at] + line[at + 1 :] for line in lines], header[:at] + header[at + 1 :])


def _corrected(lines: list[list[str]]) -> list[list[str]]:
    return [[*line[:5], line[5] + ", noisy", *line[6:]] for line in lines]


def _notes(report: LoadReport) -> str:
    return "\n".join(report.files[0].notes)


def test_a_file_without_a_column_of_parts_keeps_the_parts_held_and_says_so(
    database: Database, words: Words, without_marts: None
) -> None:
    load(database, words, as_csv(FIRST))
    before = rows(database, PARTS)
    report = load(database, words, _without("parts", HEADER, _corrected(FIRST)), "later.csv")
    assert report.totals["replaced"] == 3
    assert rows(database, PARTS) == before and len(before) == 3
    assert "no column for these" in _notes(report) and "3 part lines (2 visits)" in _notes(report)
    assert "take away" not in _notes(report)
    at_once = staged(database)
    restage(database, words, Settings())
    assert staged(database) == at_once


def test_what_a_file_with_the_column_leaves_empty_goes_and_is_told_with_its_money(
    database: Database, words: Words, without_marts: None
) -> None:
    load(database, words, as_csv([[*line, "30", "48.00"] for line in FIRST], MONEY))
    emptied = [[*line[:7], "", line[8], "", ""] for line in FIRST]
    report = load(database, words, as_csv(emptied, MONEY), "later.csv")
    assert rows(database, PARTS) == []
    told = _notes(report)
    assert "take away" in told and "take-back 2" in told
    assert "3 part lines (2 visits, 30.00 in all)" in told
    assert "3 labour charge (3 visits, 144.00 in all)" in told and "3 minutes (3 visits)" in told
    assert "no column" not in told


def test_what_is_kept_outlives_several_files_and_goes_with_the_file_that_said_it(
    database: Database, words: Words, without_marts: None
) -> None:
    load(database, words, as_csv([[*line, "1 h", "48,50"] for line in FIRST], MONEY), "first.csv")
    short = [line[:4] + line[5:] for line in _corrected(FIRST)]
    header = [*HEADER[:4], *HEADER[5:]]
    for at, name in enumerate(("second.csv", "third.csv")):
        changed = [[*line[:4], line[4] + " again" * at, *line[5:]] for line in short]
        load(database, words, _without("parts", header, changed), name)
    told = "select labour_charge, labour_minutes, customer_hash is not null from stage_visit"
    assert rows(database, told) == [(48.5, 60.0, True)] * 3
    assert len(rows(database, PARTS)) == 3
    take_back(database, words, Settings(), 1)
    assert rows(database, PARTS) == [] and rows(database, told) == [(None, None, False)] * 3
    undo_take_back(database, words, Settings())
    assert len(rows(database, PARTS)) == 3


def test_kept_part_lines_have_their_own_prices(database: Database, words: Words, without_marts: None) -> None:
    header = ["visit_date", "appliance_kind", "job_no", "serial", "complaint", "parts", "parts_cost", "outcome"]
    layout = 'name = "p"\ngrain = "part"\n[columns]\n' + "".join(f'{c} = "{c}"\n' for c in header)
    lines = [
        ["2026-01-05", "W/M", "J1", "T1", "not draining", "drain pump", "131.00", "fixed"],
        ["2026-01-05", "W/M", "J1", "T1", "not draining", "door seal", "14.00", "fixed"],
    ]
    load(database, words, as_csv(lines, header), layout=parse_layout(layout, "p.toml"))
    total = [["2026-01-05", "W/M", "J1", "T1", "not draining at all", "145.00", "fixed"]]
    load(database, words, as_csv(total, [c for c in header if c != "parts"]), "later.csv")
    assert rows(database, PARTS) == [("door seal", 1.0, 14.0), ("drain pump", 1.0, 131.0)]
    assert rows(database, "select parts_cost from stage_visit") == [(145.0,)]
