"""What came in can be taken back, read again and reconciled: the books are then those of a fresh load."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import sql
from pipeline import Workshop
from pipeline.errors import UsageError
from pipeline.load.hashes import load_key
from tests.command_in_fork import in_fork
from tests.worlds import shared
from tests.worlds.empty import empty_workshop

HEADER = ["visit_date", "appliance_kind", "job_no", "serial", "customer_ref", "complaint", "cause", "parts",
          "outcome", "labour_charge"]  # fmt: skip
HISTORY = ("load_batch", "seen_again", "raw_record", "counted_record", "rejected_record")
NUMBERS = {"loaded_at", "records_after", "example", "line_no", "visit_key", "earlier_id"}


def job(n: int, day: int | None = None, *, no: str | None = None, complaint: str = "not draining") -> list[str]:
    day = n if day is None else day
    return [f"2025-{1 + day // 28:02d}-{1 + day % 28:02d}", "W/M", no or f"J{n}", f"SN{n % 7}", f"C-{n % 5}",
            complaint, "blocked filter", "drain pump @ 30", "fixed" if n % 3 else "not fixed", f"{40 + n}.00"]  # fmt: skip


JOBS = [job(n) for n in range(40)]


def write(path: Path, rows: list[list[str]], header: list[str] = HEADER) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])
    return path


def _empty(folder: Path) -> None:
    with Workshop.open(folder / "w.duckdb") as opened:
        load_key(opened.database.key_file)


def _with_jobs(folder: Path) -> None:
    """jobs.csv holds all jobs; the key is that of the empty workshop, or every customer's hash would be another."""
    shutil.copytree(shared.built_once("empty_books", _empty), folder, dirs_exist_ok=True)
    with Workshop.open(folder / "w.duckdb") as opened:
        opened.load([write(folder / "jobs.csv", JOBS)])


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    """Nothing is loaded."""
    shutil.copytree(shared.built_once("empty_books", _empty), tmp_path, dirs_exist_ok=True)
    with Workshop.open(tmp_path / "w.duckdb") as opened:
        yield opened


@pytest.fixture
def with_jobs(tmp_path: Path) -> Iterator[Workshop]:
    """jobs.csv is loaded as batch 1."""
    shutil.copytree(shared.built_once("books_with_jobs", _with_jobs), tmp_path, dirs_exist_ok=True)
    with Workshop.open(tmp_path / "w.duckdb") as opened:
        yield opened


def fresh_with_jobs(tmp_path: Path) -> Path:
    """A fresh load of jobs.csv."""
    return Path(shutil.copytree(shared.built_once("books_with_jobs", _with_jobs), tmp_path / "fresh")) / "w.duckdb"


def fresh(tmp_path: Path, *files: Path, **options: object) -> Path:
    shutil.copytree(shared.built_once("empty_books", _empty), tmp_path / "fresh")
    with Workshop.open(tmp_path / "fresh" / "w.duckdb") as other:
        for file in files:
            other.load([file], **options)
    return tmp_path / "fresh" / "w.duckdb"


def assert_same(workshop: Workshop, fresh_db: Path, *, with_numbers: bool = False) -> None:
    """Every table holds the same rows, both ways; numbers that tell the order of loads only where they are asked for."""
    connection = workshop.database.connection
    assert {name: rows for name, rows in sql.offenders(connection).items() if rows} == {}
    left_out = {"loaded_at"} if with_numbers else NUMBERS
    names = connection.execute("select table_name, column_name from duckdb_columns() where not internal").fetchall()
    with Workshop.open(fresh_db, read_only=True) as other:
        for file in sql.table_files():
            if not with_numbers and file.table in HISTORY:
                continue
            columns = [c for t, c in names if t == file.table and c not in left_out]
            chosen = [c for c in columns if with_numbers or not c.endswith("_id")]
            query = f"select {', '.join(chosen)} from {file.table} order by all"
            assert connection.execute(query).fetchall() == other.database.connection.execute(query).fetchall(), file


def test_a_batch_taken_back_leaves_the_books_as_if_it_had_never_come(with_jobs: Workshop, tmp_path: Path) -> None:
    corrected = [[*row[:6], "drain pump seized", *row[7:]] if i % 4 == 0 else row for i, row in enumerate(JOBS[:20])]
    wrong = write(tmp_path / "wrong.csv", [*corrected, job(90), job(91), ["someday", "oven", "J-bad", *[""] * 7]])
    with_jobs.load([wrong])
    assert with_jobs.batches()[["file", "visits"]].values.tolist() == [["jobs.csv", 35], ["wrong.csv", 7]]
    told = with_jobs.take_back(2)
    assert (told["visits_before"], told["visits"], told["lines"], told["refused_lines"]) == (42, 40, 7, 1)
    assert with_jobs.status()["loaded"]["refused_lines"] == 0
    assert_same(with_jobs, fresh_with_jobs(tmp_path))


def test_after_the_next_load_even_the_numbers_are_those_of_a_fresh_one(workshop: Workshop, tmp_path: Path) -> None:
    workshop.load([write(tmp_path / "wrong.csv", [job(200 + n, n) for n in range(30)])])
    workshop.take_back(1)
    workshop.load([write(tmp_path / "jobs.csv", JOBS)])
    assert_same(workshop, fresh_with_jobs(tmp_path), with_numbers=True)


def test_what_a_later_file_holds_word_for_word_stays_when_the_earlier_one_goes(
    with_jobs: Workshop, tmp_path: Path
) -> None:
    second = write(tmp_path / "b.csv", [*JOBS[10:], job(50), job(51)])
    assert with_jobs.load([second]).totals["unchanged"] == 30
    told = with_jobs.take_back(1)
    assert (told["kept"], told["visits"]) == (30, 32)
    assert_same(with_jobs, fresh(tmp_path, second))


def test_taking_back_can_be_undone_until_the_next_load(with_jobs: Workshop, tmp_path: Path) -> None:
    with_jobs.load([write(tmp_path / "b.csv", [job(3, complaint="leaks"), *JOBS[10:], job(50)])])
    names = ("visit", "raw_record", "episode", "month_summary", "load_batch")
    before = {name: with_jobs.table(name) for name in names}
    with_jobs.take_back(1)
    assert with_jobs.undo_take_back()["visits"] == 41
    for name, was in before.items():
        key = list(was.columns)
        now = with_jobs.table(name)
        assert now.sort_values(key[0], ignore_index=True).equals(was.sort_values(key[0], ignore_index=True)), name
    with_jobs.take_back(2)
    with_jobs.load([write(tmp_path / "c.csv", [job(70)])])  # and now it is gone for good
    assert with_jobs.batches()["file"].tolist() == ["jobs.csv", "c.csv"]
    with pytest.raises(UsageError):
        with_jobs.undo_take_back()


def test_no_batch_of_that_number_is_told(with_jobs: Workshop) -> None:
    with pytest.raises(UsageError, match="no batch 7"):
        with_jobs.take_back(7)
    with_jobs.take_back(1)
    with pytest.raises(UsageError, match="already"):
        with_jobs.take_back(1)


OTHER = "name = 'other'\n[columns]\nvisit_date = 'visit_date'\nappliance_kind = 'appliance_kind'\njob_no = 'serial'\n"
MENDED = "name = 'mended'\n[columns]\n" + "".join(f"{name} = '{name}'\n" for name in HEADER)


def test_a_file_read_again_with_another_layout_takes_the_place_of_its_batch(workshop: Workshop, tmp_path: Path) -> None:
    file = write(tmp_path / "jobs.csv", JOBS)
    (tmp_path / "other.toml").write_text(OTHER, encoding="utf-8")
    (tmp_path / "mended.toml").write_text(MENDED, encoding="utf-8")
    workshop.load([file], layout=tmp_path / "other.toml")
    later = write(tmp_path / "later.csv", [job(3, complaint="leaks"), job(60), job(61)])
    workshop.load([later], layout=tmp_path / "mended.toml")
    report = workshop.load([file], layout=tmp_path / "mended.toml")
    assert report.totals["loaded"] == 40
    assert any("replaced" in note for note in report.files[0].notes)
    visits = workshop.table("visit").set_index("job_no")
    assert visits["labour_charge"].sum() == sum(40 + n for n in [*range(40), 60, 61])
    assert visits["complaint"]["J3"] == "leaks"  # the later version stays in force
    assert workshop.batches()["batch"].tolist() == [1, 2]
    with Workshop.open(fresh_with_jobs(tmp_path)) as other:
        other.load([later])
    assert_same(workshop, tmp_path / "fresh" / "w.duckdb")


def corrected_export() -> list[list[str]]:
    """Dates moved by a day, job numbers corrected, lines deleted and added; first and last day as before."""
    rows = []
    for n in range(40):
        if n in (5, 17, 30):
            continue
        rows.append(job(n, n + 1) if n in (8, 21) else job(n, no=f"X{n}") if n in (11, 25) else job(n))
    return [*rows, job(50, 20)]


def test_a_corrected_whole_history_is_reconciled(with_jobs: Workshop, tmp_path: Path) -> None:
    file = write(tmp_path / "jobs.csv", corrected_export())
    looked = with_jobs.load([file], whole_history=True, dry_run=True)
    assert looked.gone is not None and looked.gone.visits == 7
    assert len(with_jobs.table("visit")) == 40
    report = with_jobs.load([file], whole_history=True)
    told = report.as_json()["whole_history"]
    assert (told["taken_out"], told["moved"], told["renumbered"]) == (7, 2, 2)
    assert any("taken out" in line for line in report.lines())
    assert len(with_jobs.table("visit")) == 38
    assert_same(with_jobs, fresh(tmp_path, file))
    again = with_jobs.load([file], whole_history=True)
    assert again.gone is not None and again.gone.visits == 0
    assert "no line of it is new" in again.files[0].notes[0]  # not that nothing changed: visits may be taken out
    with_jobs.take_back(2)  # what it took out counts again
    shutil.rmtree(tmp_path / "fresh")
    assert_same(with_jobs, fresh_with_jobs(tmp_path))


def test_without_the_word_a_shorter_export_takes_nothing_out(
    with_jobs: Workshop, tmp_path: Path, without_marts: None
) -> None:
    report = with_jobs.load([write(tmp_path / "jobs.csv", JOBS[:3] + JOBS[6:])])
    assert len(with_jobs.table("stage_visit")) == 40
    assert any("--whole-history" in note for note in report.files[0].notes)


def test_a_folder_read_every_night_is_one_whole_history(
    workshop: Workshop, tmp_path: Path, without_marts: None
) -> None:
    folder = tmp_path / "exports"
    folder.mkdir()
    write(folder / "anna.csv", JOBS[::2])
    ben = write(folder / "ben.csv", JOBS[1::2])
    first = workshop.load([folder], whole_history=True)
    assert first.gone is not None and first.gone.visits == 0
    write(ben, [row for row in JOBS[1::2] if row[2] not in ("J5", "J7")])
    second = workshop.load([folder], whole_history=True)
    assert second.gone is not None and second.gone.visits == 2
    assert len(workshop.table("stage_visit")) == 38
    third = workshop.load([folder], whole_history=True)
    assert third.totals["loaded"] == 0 and third.gone is not None and third.gone.visits == 0


def test_a_folder_with_an_unreadable_file_is_no_whole_history(
    workshop: Workshop, tmp_path: Path, without_marts: None
) -> None:
    folder = tmp_path / "exports"
    folder.mkdir()
    write(folder / "a.csv", JOBS[:20])
    write(folder / "b.csv", JOBS[20:])
    workshop.load([folder])
    (folder / "a.csv").write_bytes(b"")
    write(folder / "b.csv", JOBS[21:])
    report = workshop.load([folder], whole_history=True)
    assert report.gone is None and len(report.faults) == 1
    assert len(workshop.table("stage_visit")) == 40
    assert any("Nothing was taken out" in note for note in report.notes)


def test_one_unreadable_file_stops_no_other(tmp_path: Path, without_marts: None) -> None:
    empty_workshop(tmp_path / "w.duckdb")
    folder = tmp_path / "exports"
    folder.mkdir()
    write(folder / "1.csv", JOBS[:20])
    (folder / "2.csv").write_bytes(bytes(range(256)) * 8)
    (folder / "3.xlsx").write_bytes(b"PK\x03\x04 broken")
    write(folder / "4.csv", JOBS[20:])
    ended = in_fork(tmp_path, "load exports --db w.duckdb")
    assert ended.status == 2
    assert "1.csv: 20 lines read, 20 loaded" in ended.out
    assert "4.csv: 20 lines read, 20 loaded" in ended.out
    assert "2.csv: not read" in ended.out
    assert "3.xlsx: not read" in ended.out


def test_the_commands_list_take_back_and_undo(with_jobs: Workshop, tmp_path: Path) -> None:
    with_jobs.close()
    refused = in_fork(tmp_path, "take-back 1 --db w.duckdb")
    assert refused.status == 2
    assert "--yes" in refused.err
    assert in_fork(tmp_path, "take-back 1 --yes --db w.duckdb").status == 0
    assert "jobs.csv" in in_fork(tmp_path, "batches --db w.duckdb").out
    assert in_fork(tmp_path, "take-back --undo --db w.duckdb").status == 0
    assert '"visits": 40' in in_fork(tmp_path, "batches --json --db w.duckdb").out


def test_the_layout_is_saved_before_with_and_after_a_load(tmp_path: Path, without_marts: None) -> None:
    empty_workshop(tmp_path / "workshop.duckdb")
    write(tmp_path / "a.csv", JOBS)
    saved = set()
    for more in ("--dry-run", "", ""):
        name = f"layout-{len(list(tmp_path.glob('*.toml')))}.toml"
        assert in_fork(tmp_path, f"load a.csv --save-layout {name} {more}").status == 0
        saved.add((tmp_path / name).read_text(encoding="utf-8"))
    assert len(saved) == 1
    assert in_fork(tmp_path, "load a.csv --layout layout-2.toml").status == 0
