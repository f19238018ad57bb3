"""Loading: every line accounted for, nothing twice, nothing half, what is refused is told."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

import demo_data
import sql
from pipeline import Workshop
from pipeline.errors import DatabaseUnusable
from pipeline.load import load as load_module
from pipeline.load import stage
from pipeline.load.guess import GuessHeldBack
from pipeline.load.layout_file import parse_layout
from pipeline.load.load import load_files
from pipeline.load.load_request import Asked
from pipeline.load.report import COUNTS
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.words import Words
from sql.working import make
from tests.worlds.empty import empty_workshop
from tests.worlds.few_jobs import FIRST, HEADER, as_csv, counts, everything, load, rows, staged

# What a load does


def test_the_demo_export_balances_and_is_staged_whole(database: Database, words: Words, without_marts: None) -> None:
    report = load_files(Asked(database, lambda: words, Settings()), [demo_data.FILES["jobs"]])
    with demo_data.FILES["jobs"].open(newline="", encoding="utf-8") as file:
        lines = sum(1 for row in csv.reader(file) if any(row)) - 1
    (one,) = report.files
    assert one.read == lines
    assert one.loaded == one.read - one.rejected
    assert rows(database, "select count(*) from stage_visit") == [(one.loaded,)]
    assert rows(database, "select count(*) from rejected_record") == [(one.rejected,)]


def test_the_office_export_of_one_line_a_part_gives_its_visits(
    database: Database, words: Words, without_marts: None
) -> None:
    report = load_files(Asked(database, lambda: words, Settings()), [demo_data.FILES["office"]])
    (one,) = report.files
    assert one.layout.startswith("tidewell office #")
    assert (one.loaded, one.rejected) == (one.read, 0)
    visits, lines, parts = rows(
        database,
        "select (select count(*) from stage_visit), (select count(*) from raw_record), "
        "(select count(*) from stage_part)",
    )[0]
    assert visits == rows(database, "select count(distinct visit_key) from raw_record")[0][0]
    assert visits < lines
    assert parts >= lines - visits
    assert rows(database, "select max(line_in_visit) > 1 from raw_record") == [(True,)]


def test_the_report_has_the_fields_scripts_rely_on(database: Database, words: Words, without_marts: None) -> None:
    told = load(database, words, as_csv(FIRST)).as_json()
    assert {"file", "sha256", "layout", *COUNTS} <= set(told["files"][0])
    assert set(told["totals"]) == set(COUNTS)
    json.dumps(told)


def test_the_same_file_twice_changes_nothing(database: Database, words: Words) -> None:
    load(database, words, as_csv(FIRST))
    before = everything(database)
    report = load(database, words, as_csv(FIRST))
    assert counts(report) == (3, 0, 3, 0, 0)
    assert everything(database) == before


def test_knowing_a_file_again_needs_no_heavy_import() -> None:
    asked = "import sys, pipeline.load.load; print(sorted({'numpy', 'pandas', 'pyarrow', 'pipeline.load.stage'} & set(sys.modules)))"
    told = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_the_same_records_in_another_file_do_not_double(database: Database, words: Words, without_marts: None) -> None:
    load(database, words, as_csv(FIRST))
    before = staged(database)
    quoted = io.StringIO()
    csv.writer(quoted, quoting=csv.QUOTE_ALL, delimiter=";").writerows([HEADER, *reversed(FIRST)])
    report = load(database, words, quoted.getvalue().encode(), "again.csv")
    assert counts(report) == (3, 0, 3, 0, 0)
    assert staged(database) == before


def test_overlapping_exports_do_not_double(database: Database, words: Words, without_marts: None) -> None:
    load(database, words, as_csv(FIRST[:2]))
    report = load(database, words, as_csv(FIRST[1:]), "next.csv")
    assert counts(report) == (2, 1, 1, 0, 0)
    assert rows(database, "select count(*) from stage_visit") == [(3,)]


def test_a_corrected_export_replaces_and_keeps_history(database: Database, words: Words, without_marts: None) -> None:
    load(database, words, as_csv(FIRST))
    (before,) = rows(database, "select visit_id, record_id from stage_visit where job_no = 'J2'")
    corrected = [FIRST[0], [*FIRST[1][:-2], "belt @ 12", "not fixed"], FIRST[2]]
    report = load(database, words, as_csv(corrected), "corrected.csv")
    assert counts(report) == (3, 1, 2, 1, 0)
    (after,) = rows(database, "select visit_id, record_id, outcome from stage_visit where job_no = 'J2'")
    assert after[0] == before[0]
    assert after[1] != before[1]
    assert after[2] == "not fixed"
    assert rows(database, "select part from stage_part order by 1") == [("drive belt",), ("glorp",)]
    versions = rows(database, "select outcome from raw_record where job_no = 'J2' order by batch_id")
    assert versions == [("fixed",), ("not fixed",)]


def test_loading_the_old_file_again_does_not_undo_a_correction(
    database: Database, words: Words, without_marts: None
) -> None:
    load(database, words, as_csv(FIRST), "old.csv")
    load(database, words, as_csv([[*FIRST[0][:-1], "not fixed"]]), "new.csv")
    load_files(
        Asked(database, lambda: words, Settings()), [database.path.parent / "old.csv", database.path.parent / "new.csv"]
    )
    assert rows(database, "select outcome from stage_visit where job_no = 'J1'") == [("not fixed",)]


def test_a_mended_layout_reads_the_same_file_anew(database: Database, words: Words, without_marts: None) -> None:
    text = '[columns]\nvisit_date = "visit_date"\nappliance_kind = "appliance_kind"\njob_no = "job_no"\n'
    load(database, words, as_csv(FIRST), layout=parse_layout(text, "office"))
    assert rows(database, "select count(complaint) from stage_visit") == [(0,)]
    report = load(database, words, as_csv(FIRST), layout=parse_layout(text + 'complaint = "complaint"\n', "office"))
    assert counts(report) == (3, 3, 0, 0, 0)
    assert rows(database, "select count(*), count(complaint) from stage_visit") == [(3, 3)]


def test_a_layout_of_the_same_name_beside_the_file_is_used(
    database: Database, words: Words, without_marts: None
) -> None:
    (database.path.parent / "jobs.toml").write_text(
        '[columns]\nvisit_date = "Tag"\nappliance_kind = "Was"\njob_no = "Nr"\n'
    )
    report = load(database, words, b"Tag;Was;Nr\n2025-01-03;W/M;1\n")
    assert report.files[0].layout.startswith("jobs #")
    assert report.totals["loaded"] == 1


# Refusing


def test_all_faults_of_a_line_are_kept_with_their_remedies(
    database: Database, words: Words, without_marts: None
) -> None:
    bad = [
        ["2025-02-30", "", "", "", "", "", "", "", ""],
        FIRST[0],
        ["", "W/M", "J9", "", "", "", "", "", ""],
        ["2195-01-01", "W/M", "J10", "", "", "", "", "", ""],
        ["2095-01-01", "W/M", "J10", "", "", "", "", "", ""],
        ["2025-01-01", "W/M", "n/a", "unknown", "cash", "", "", "", ""],
    ]
    report = load(database, words, as_csv(bad))
    assert counts(report) == (6, 1, 0, 0, 5)
    kept = rows(database, "select line_no, line_text, reasons from rejected_record order by line_no")
    assert [line_no for line_no, _, _ in kept] == [2, 4, 5, 6, 7]
    reasons = json.loads(kept[0][2])
    assert [r["column"] for r in reasons] == ["visit_date", "appliance_kind", "job_no"]
    assert all(r["rule"] and r["remedy"] for r in reasons)
    assert reasons[0]["value"] == "2025-02-30"
    assert json.loads(kept[0][1]) == {"visit_date": "2025-02-30"}
    assert [json.loads(r)[0]["rule"] for _, _, r in kept[1:]] == [
        "is missing",
        "is not a date in the calendar",
        "lies more than three years ahead",
        "is missing, and so are serial and customer_ref",
    ]
    assert len(report.rejected) == 7
    assert any("line 2, column visit_date" in line for line in report.lines())


def test_dates_that_stay_ambiguous_are_refused_and_taken_once_the_layout_says(
    database: Database, words: Words, without_marts: None
) -> None:
    lines = [["03/04/2025", *FIRST[0][1:]], ["05/06/2025", *FIRST[1][1:]]]
    report = load(database, words, as_csv(lines))
    assert counts(report) == (2, 0, 0, 0, 2)
    assert "3 April 2025 or 4 March 2025" in report.rejected["rule"][0]
    layout = (Path(load_module.__file__).parent / "layouts" / "own.toml").read_text(encoding="utf-8")
    report = load(
        database, words, as_csv(lines), layout=parse_layout('date_format = "%d/%m/%Y"\n' + layout, "day first")
    )
    assert counts(report) == (2, 2, 0, 0, 0)
    days = rows(database, "select visit_date::varchar from stage_visit order by 1")
    assert days == [("2025-04-03",), ("2025-06-05",)]


def test_strict_takes_nothing_of_a_file_with_a_refused_line(
    database: Database, words: Words, without_marts: None
) -> None:
    before = everything(database)
    report = load(database, words, as_csv([*FIRST, ["", "W/M", "J9", *[""] * 6]]), strict=True)
    assert counts(report) == (4, 0, 0, 0, 4)
    assert report.files[0].is_refused_whole
    assert report.as_json()["files"][0]["rejected_lines"][0]["column"] == "visit_date"
    assert everything(database) == before
    assert counts(load(database, words, as_csv(FIRST), "good.csv", strict=True)) == (3, 3, 0, 0, 0)


def test_a_dry_run_says_the_same_and_changes_nothing(database: Database, words: Words) -> None:
    before = everything(database)
    dry = load(database, words, as_csv(FIRST), dry_run=True)
    assert everything(database) == before
    assert dry.lines()[-1].startswith("Nothing was changed")
    assert counts(dry) == (3, 3, 0, 0, 0)


def test_visits_later_than_today_are_pointed_out(database: Database, words: Words, without_marts: None) -> None:
    tomorrow = dt.date.today() + dt.timedelta(days=1)
    report = load(database, words, as_csv([[tomorrow.isoformat(), *FIRST[0][1:]], FIRST[1]]))
    assert any(f"Visits later than today: 1, the last on {tomorrow}" in note for note in report.files[0].notes)
    assert not any(
        "later than today" in note for note in load(database, words, as_csv(FIRST), "past.csv").files[0].notes
    )


@pytest.mark.parametrize("full_at", ["kind_read", "stage_visit_added"])  # the second while words are read
def test_a_full_disk_is_told_and_leaves_nothing(
    database: Database, words: Words, without_marts: None, monkeypatch: pytest.MonkeyPatch, full_at: str
) -> None:
    def make_until_full(connection: duckdb.DuckDBPyConnection, *steps: str, **parameters: object) -> None:
        if full_at in steps:
            raise duckdb.IOException("IO Error: No space left on device")
        make(connection, *steps, **parameters)

    monkeypatch.setattr(stage, "make", make_until_full)
    with pytest.raises(DatabaseUnusable, match="No space left"):
        load(database, words, as_csv(FIRST))
    assert rows(database, "select count(*) from raw_record") == [(0,)]


def test_a_file_without_what_a_visit_needs_names_the_columns(database: Database, words: Words) -> None:
    with pytest.raises(GuessHeldBack) as told:
        load(database, words, b"colour,size\nred,3\nblue,4\n")
    assert "visit_date" in told.value.what
    assert "colour" in told.value.what


def test_a_load_that_breaks_leaves_nothing(database: Database, words: Words, monkeypatch: pytest.MonkeyPatch) -> None:
    load(database, words, as_csv(FIRST))
    before = everything(database)

    def breaks(*_: object) -> None:
        raise RuntimeError("the lights went out")

    monkeypatch.setattr(sql, "rebuild", breaks)
    with pytest.raises(RuntimeError):
        load(database, words, as_csv([["2025-02-01", "W/M", "J7", *[""] * 6]]), "next.csv")
    assert everything(database) == before
    assert rows(database, "select count(*) from duckdb_tables() where temporary") == [(0,)]


def test_a_bad_file_among_good_ones_leaves_the_good_ones_loaded(
    database: Database, words: Words, without_marts: None
) -> None:
    folder = database.path.parent / "exports"
    folder.mkdir()
    (folder / "a.csv").write_bytes(as_csv(FIRST[:1]))
    (folder / "b.csv").write_bytes(b"")
    (folder / "c.csv").write_bytes(as_csv(FIRST[1:2]))
    report = load_files(Asked(database, lambda: words, Settings()), [folder])
    assert [f.file for f in report.files if f.fault] == ["b.csv"]
    assert report.totals["loaded"] == 2
    assert rows(database, "select count(*) from stage_visit") == [(2,)]


def test_a_link_that_leads_out_of_a_folder_is_left_out_and_told(
    database: Database, words: Words, tmp_path: Path, without_marts: None
) -> None:
    folder, elsewhere = tmp_path / "exports", tmp_path / "elsewhere"
    folder.mkdir()
    elsewhere.mkdir()
    (folder / "jobs.csv").write_bytes(as_csv(FIRST[:1]))
    (elsewhere / "secret.csv").write_bytes(as_csv(FIRST[1:]))
    (folder / "innocent.csv").symlink_to(elsewhere / "secret.csv")
    (folder / "round.csv").symlink_to("round.csv")
    (folder / "more").symlink_to(elsewhere)
    (folder / "same.csv").symlink_to("jobs.csv")
    report = load_files(Asked(database, lambda: words, Settings()), [folder])
    assert [file.file for file in report.files] == ["jobs.csv", "same.csv"]
    assert counts(report)[:2] == (2, 1)
    told = [note.split(" is a link that leads out of the folder")[0] for note in report.notes]
    assert [Path(name.strip("'\"")).name for name in told] == ["innocent.csv", "more"]
    assert report.as_json()["notes"] == [line for line in report.lines() if "is a link" in line] == report.notes
    assert (
        load_files(Asked(database, lambda: words, Settings()), [folder / "innocent.csv"]).totals["loaded"]
        == len(FIRST) - 1
    )


def test_a_file_refused_by_a_wrong_clock_is_taken_when_the_clock_is_right(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, without_marts: None
) -> None:
    (tmp_path / "jobs.csv").write_text("visit_date,appliance_kind,job_no\n2025-01-02,oven,J1\n2099-01-02,oven,J2\n")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        with monkeypatch.context() as years_ago:
            years_ago.setattr("pipeline.load.screen.MOST_DAYS_AHEAD", -10_000)
            assert workshop.load([tmp_path / "jobs.csv"]).totals["rejected"] == 2
        told = [workshop.load([tmp_path / "jobs.csv"]) for _ in range(2)]
        assert [report.totals["loaded"] for report in told] == [1, 0]
        assert [report.totals["rejected"] for report in told] == [1, 1]
        assert "replaced" in told[0].files[0].notes[0]
        assert told[1].files[0].notes[0].startswith("This file was already loaded")
        assert len(workshop.table("stage_visit")) == 1
        connection = workshop.database.connection
        connection.execute("update load_batch set loaded_at = loaded_at - interval 20 year")  # the clock of that day
        assert "replaced" in workshop.load([tmp_path / "jobs.csv"]).files[0].notes[0]
        assert len(workshop.table("stage_visit")) == 1
