"""Forgetting a customer, and what status says."""

from __future__ import annotations

import gzip
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import duckdb
import pandas as pd
import pytest

import sql
from pipeline import Workshop
from pipeline.errors import UsageError
from pipeline.store.backup import write_backup
from pipeline.store.database import Database
from pipeline.upkeep.forget import forget
from pipeline.upkeep.review import COLUMNS
from pipeline.upkeep.status import status
from tests.command_in_fork import begun_in_fork, bound_by_rights, imported, in_fork
from tests.worlds import shared

JOBS = (
    "visit_date,appliance_kind,job_no,customer_ref,complaint,work_done,phone\n"
    "2025-01-02,W/M,J1,Ann Example,not draining,spoke to ann  example ok,07700 900123\n"
    "2025-01-12,W/M,,Ann Example,not draining again,Ms Example rang,07700 900123\n"
    ",W/M,J4,Ann Example,Ann Example says leaking,,07700 900123\n"
    "2025-01-12,frobnicator,J9,Bob Other,leaks,Annabel Examples no relation,07700 900999\n"
    "2025-01-13,dryer,J10,C-17,zibbly noise,,\n"
)


def _loaded(folder: Path) -> None:
    (folder / "exports").mkdir()
    (folder / "exports" / "jobs.csv").write_text(JOBS)
    with Workshop.open(folder / "shop.duckdb") as opened:
        opened.load([folder / "exports" / "jobs.csv"])


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    shutil.copytree(shared.built_once("customers_to_forget", _loaded), tmp_path, dirs_exist_ok=True)
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        yield opened


class Forgotten(NamedTuple):
    """A workshop that has forgotten Ann Example; forget nobody else of hers."""

    workshop: Workshop
    folder: Path
    told: dict[str, Any]
    hashed: str  # of the customer, as it was
    phones: dict[str, str]  # as they were
    hashes: list[tuple[str]]  # of two lines, as they were


PHONES = "select job_no, other_columns->>'$.phone' from raw_record where other_columns is not null order by 1"
HASHES = "select content_hash from raw_record where job_no in ('J1', 'J10') order by job_no"
REVIEW = "\ufeff" + ",".join(COLUMNS)


@pytest.fixture(scope="module")
def forgotten(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forgotten]:
    folder = tmp_path_factory.mktemp("forgotten") / "shop"
    shutil.copytree(shared.built_once("customers_to_forget", _loaded), folder)
    lines = REVIEW + "\r\ncomplaint,zibbly,1,Ann Example says leaking,,,,,\r\n"
    (folder / "words-of-may.csv").write_text(lines, newline="", encoding="utf-8")
    (folder / "office.csv").write_text("Ann Example\n")
    with Workshop.open(folder / "shop.duckdb") as opened:
        execute = opened.database.connection.execute
        before = hash_of(opened, "J1"), dict(execute(PHONES).fetchall()), execute(HASHES).fetchall()
        yield Forgotten(opened, folder, opened.forget("  ann EXAMPLE "), *before)


def held(workshop: Workshop) -> str:
    """Every text of every table."""
    connection = workshop.database.connection
    tables = connection.execute("select table_name from duckdb_tables() where not temporary order by 1").fetchall()
    found = [row for (name,) in tables for row in connection.execute(f"select * from {name}").fetchall()]
    return "\n".join(sorted(map(str, found)))


def hash_of(workshop: Workshop, job_no: str) -> str:
    query = "select customer_hash from visit where job_no = ?"
    return workshop.database.connection.execute(query, [job_no]).fetchall()[0][0]


def test_a_customer_is_gone_from_every_table_and_file_and_the_visits_stay(forgotten: Forgotten) -> None:
    told, connection = forgotten.told, forgotten.workshop.database.connection
    assert (told["visits"], told["raw_lines"], told["refused_lines"]) == (2, 2, 1)
    assert told["files"] == ["words-of-may.csv"]
    assert told["proof"]["found"] == 0
    assert told["proof"]["places_searched"] > 20
    everything = held(forgotten.workshop)
    assert forgotten.hashed not in everything
    assert "ann  example" not in everything.casefold()
    assert "ann example" not in everything.casefold()
    assert "Annabel Examples no relation" in everything
    erased = REVIEW + "\r\ncomplaint,zibbly,1,[erased] says leaking,,,,,\r\n"
    assert (forgotten.folder / "words-of-may.csv").read_bytes().decode("utf-8") == erased
    assert (forgotten.folder / "office.csv").read_text() == "Ann Example\n"
    assert forgotten.hashed.encode() not in (forgotten.folder / "shop.duckdb").read_bytes()
    query = "select count(*), count(distinct customer_hash) from visit where customer_hash like 'erased-%'"
    assert connection.execute(query).fetchall() == [(2, 1)]
    assert {name: rows for name, rows in sql.offenders(connection).items() if rows} == {}


def test_telephones_of_the_customer_go_too_and_those_of_others_stay(forgotten: Forgotten) -> None:
    before, after = forgotten.phones, dict(forgotten.workshop.database.connection.execute(PHONES).fetchall())
    assert after["J9"] == before["J9"]
    assert after["J1"] != before["J1"]
    assert before["J1"] not in held(forgotten.workshop)


def test_an_erased_line_cannot_be_told_by_a_guess(forgotten: Forgotten) -> None:
    before, after = forgotten.hashes, forgotten.workshop.database.connection.execute(HASHES).fetchall()
    assert after[0] != before[0]
    assert after[1] == before[1]


def test_forgetting_again_or_a_stranger_changes_nothing(forgotten: Forgotten) -> None:
    before = held(forgotten.workshop)
    for name in ("Ann Example", "Nobody Known"):
        told = forgotten.workshop.forget(name)
        assert (told["visits"], told["raw_lines"], told["texts"]) == (0, 0, 0)
        assert told["still_to_do"].startswith(f'Nothing held "{name}"')
    assert held(forgotten.workshop) == before


def test_telephones_are_never_stored_readable(workshop: Workshop) -> None:
    assert "900123" not in held(workshop)
    assert "Bob Other" not in held(workshop)


def test_a_short_reference_is_forgotten_by_its_hash_without_touching_texts(workshop: Workshop) -> None:
    before = held(workshop).count("zibbly")
    assert workshop.forget("c-17")["visits"] == 1
    assert held(workshop).count("zibbly") == before


@pytest.mark.parametrize("nobody", ["", "  ", "cash", "n/a", "x" * 100_000, "\udcffann"])
def test_a_text_that_names_nobody_is_refused(workshop: Workshop, nobody: str) -> None:
    with pytest.raises(UsageError):
        forget(workshop.database, nobody)


@pytest.mark.parametrize("nobody", ["", " ", "-"])
def test_nobody_is_called_by_what_has_no_letter(workshop: Workshop, nobody: str) -> None:
    with pytest.raises(UsageError, match="not a name"):
        forget(workshop.database, "C-17", [nobody])


NASTY = ".*+?[a](b)|\\ $^"
FORMS = [
    "Zoe\u0301 O\u2019Wei\u00df",
    "ZO\u00c9 O'WEISS",
    "Zo\u00e9\u00a0O\u02bcWeiss",
    "zoe\u0301\u202f o'wei\u00df",
]


def _oddly_named(folder: Path) -> None:
    head = "visit_date,appliance_kind,job_no,customer_ref,complaint\n"
    lines = [f'2025-02-02,W/M,J20,"{NASTY}",leaks', "2025-02-02,oven,J21,Kim,Kim says cold"]
    lines += [f"2025-03-0{n + 1},oven,Z{n},Bob,spoke to {form} again" for n, form in enumerate(FORMS)]
    lines += ["2025-02-02,oven,S1,Bob,cold sid example Sid Example SID EXAMPLE,Sid Example"]
    lines += ["2025-02-03,oven,S2,Bob,Sid Example Sid Example Sid Example Sid Example"]
    lines += ["2025-03-09,oven,Z9,Zo\u00e9 O\u2019Wei\u00df,not hot", "2025-03-10,dryer,J10,C-17,zibbly noise"]
    (folder / "jobs.csv").write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    with Workshop.open(folder / "shop.duckdb") as opened:
        opened.load([folder / "jobs.csv"])


@pytest.fixture
def oddly_named(tmp_path: Path) -> Iterator[Workshop]:
    """Customers whose names are hard to find in texts."""
    shutil.copytree(shared.built_once("oddly_named_customers", _oddly_named), tmp_path, dirs_exist_ok=True)
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        yield opened


def test_a_reference_full_of_pattern_signs_is_only_text(oddly_named: Workshop) -> None:
    before = held(oddly_named).count("zibbly")
    assert oddly_named.forget(NASTY)["visits"] == 1
    assert held(oddly_named).count("zibbly") == before


def test_a_name_is_found_in_every_form_it_is_written_in(oddly_named: Workshop) -> None:
    told = oddly_named.forget("Zo\u00e9 O'Wei\u00df")
    assert told["visits"] == 1
    assert told["texts"] >= 4
    assert not re.search(r"zo.{1,2}[\s\u00a0\u202f]+o.wei", held(oddly_named), re.IGNORECASE)


def test_of_names_side_by_side_each_is_erased(oddly_named: Workshop) -> None:
    assert oddly_named.forget("Sid Example")["proof"]["found"] == 0
    assert "sid example" not in held(oddly_named).casefold()


def test_a_name_too_short_to_erase_from_texts_is_counted(oddly_named: Workshop) -> None:
    told = oddly_named.forget("Kim")
    assert told["visits"] == 1
    assert told["too_short"] > 0
    assert "not looked for" in told["still_to_do"]


NUMBERED = (
    "visit_date,appliance_kind,job_no,customer_ref,Client,phone,complaint,jotter,serial\n"
    "2025-01-02,W/M,J1,K4132,Zoë Pellwether,07700 900111,leaks,ring Zoë before going,S1\n"
    "2025-02-02,W/M,J2,K4132,Zoë Pellwether,07700 900111,Mrs Pellwether says noisy,,S1\n"
    "2025-03-02,oven,J3,K5156,Zoë Pellwether,07700 900222,not hot,Zoë is deaf,S2\n"
    "2025-04-02,oven,J4,K5157,Ravi Eskdale,07700 900333,not hot,ring Ravi or Jo; Zoë next door,S3\n"
)


def _numbered(folder: Path) -> None:
    (folder / "jobs.csv").write_text(NUMBERED, encoding="utf-8")
    (folder / "jobs.toml").write_text(
        'personal = ["Client", "phone"]\n[columns]\n'
        + "".join(
            f'{c} = "{c}"\n' for c in NUMBERED.split("\n")[0].split(",") if c not in ("Client", "phone", "jotter")
        ),
        encoding="utf-8",
    )
    with Workshop.open(folder / "shop.duckdb") as opened:
        opened.load([folder / "jobs.csv"])
    (folder / "jobs.csv").unlink()


@pytest.fixture
def numbered(tmp_path: Path) -> Iterator[Workshop]:
    """Customers who have numbers, and names beside them, two of them the same name."""
    shutil.copytree(shared.built_once("numbered_customers", _numbered), tmp_path, dirs_exist_ok=True)
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        yield opened


def test_a_name_that_several_bear_is_refused_with_how_many_and_their_jobs(numbered: Workshop) -> None:
    before = held(numbered)
    with pytest.raises(UsageError, match="3 lines of 2 customers") as refused:
        numbered.forget("zoë pellwether")
    assert "J1" in refused.value.what and "J3" in refused.value.what and "--several" in refused.value.remedy
    assert held(numbered) == before


def test_all_who_bear_a_name_are_forgotten_apart_where_that_is_said(numbered: Workshop) -> None:
    told = numbered.forget("Zoë Pellwether", several=True)
    assert (told["raw_lines"], told["proof"]["found"]) == (3, 0)
    query = "select customer_hash, list(job_no order by job_no) from visit group by 1 order by 2"
    rows = numbered.database.connection.execute(query).fetchall()
    assert [jobs for _, jobs in rows] == [["J1", "J2"], ["J3"], ["J4"]]
    assert [str(hashed).startswith("erased-") for hashed, _ in rows] == [True, True, False]


def test_by_name_the_customers_own_number_and_every_other_hash_and_first_name_goes_and_others_stay(
    numbered: Workshop,
) -> None:
    hashed, other = hash_of(numbered, "J4"), hash_of(numbered, "J1")
    query = "select other_columns->>'$.phone' from raw_record where job_no = 'J4'"
    ((phone,),) = numbered.database.connection.execute(query).fetchall()
    told = numbered.forget("Ravi Eskdale", called=["Jo"])
    everything = held(numbered)
    assert hashed not in everything and phone not in everything and other in everything
    assert "Ravi" not in everything and "Jo;" not in everything and "ring [erased] or [erased]" in everything
    assert "ring Zoë before going" in everything
    stays = told["stays"]
    assert (stays["visits"], stays["with_a_serial_number"], stays["texts_that_may_name_somebody"]) == (1, 1, 0)
    assert numbered.database.path.read_bytes().count(hashed.encode()) == 0


def test_a_name_in_the_text_of_another_customer_cannot_be_told_by_a_guess(workshop: Workshop) -> None:
    """The line stays its customer's; a hash of what it held, with the rest beside it, would prove a guessed name."""
    query = "select job_no, content_hash from raw_record where job_no in ('J9', 'J10')"
    before = dict(workshop.database.connection.execute(query).fetchall())
    told = workshop.forget("Annabel Examples")
    assert told["raw_lines"] == 0 and told["texts"] > 0
    after = dict(workshop.database.connection.execute(query).fetchall())
    assert after["J9"] != before["J9"]
    assert after["J10"] == before["J10"]


def test_by_number_what_may_still_name_the_customer_is_shown(numbered: Workshop) -> None:
    told = numbered.forget("K4132")
    assert told["visits"] == 2
    assert any("ring Zoë before going" in text for text in told["stays"]["such_as"])
    assert "--called" in told["stays"]["note"]


def test_status_counts_what_is_given_and_understood(workshop: Workshop) -> None:
    told = status(workshop.database, workshop.settings)
    json.dumps(told)
    assert told["loaded"] == {
        "files": 1, "lines": 4, "visits": 4, "appliances": 4, "refused_lines": 1,
        "first_visit": "2025-01-02", "last_visit": "2025-01-13",
    } | {"appliances": told["loaded"]["appliances"]}  # fmt: skip
    columns = {c["column"]: c for c in told["columns"]}
    assert (columns["appliance kind"]["given"], columns["appliance kind"]["understood"]) == (4, 3)
    assert columns["age"]["share"] is None
    assert columns["complaint"]["given"] == 4
    words = [(w["list"], w["written"]) for w in told["words_to_review"]]
    assert ("kind", "frobnicator") in words
    assert ("complaint", "zibbly") in words
    assert len(words) <= 10
    assert told["model"]["name"] is None


def test_status_needs_none_of_the_heavy_libraries(workshop: Workshop, tmp_path: Path) -> None:
    path = workshop.database.path
    workshop.close()
    code = (
        "import sys; from pipeline import Workshop\n"
        f"with Workshop.open({str(path)!r}, read_only=True) as w: w.status()\n"
        "print([m for m in ('pandas', 'sklearn', 'scipy') if m in sys.modules])"
    )
    root = Path(__file__).parents[2]
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=root)
    assert told.stdout.strip() == "[]"


def test_nobody_is_forgotten_unasked(workshop: Workshop, tmp_path: Path) -> None:
    before = held(workshop)
    workshop.close()
    refused = in_fork(tmp_path, "forget C-17 --db shop.duckdb")
    assert refused.status == 2 and "--yes" in refused.err
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        assert held(opened) == before


def test_a_load_beside_a_forget_keeps_what_it_reported(workshop: Workshop, tmp_path: Path) -> None:
    workshop.close()
    lines = "".join(f"2025-03-01,oven,K{i},not hot\n" for i in range(60))
    (tmp_path / "more.csv").write_text(f"visit_date,appliance_kind,job_no,complaint\n{lines}")
    imported()
    begun = [
        begun_in_fork(tmp_path, words, db="shop.duckdb") for words in ("forget 'Ann Example' --yes", "load more.csv")
    ]
    forgot, loaded = (ended() for ended in begun)
    assert (forgot.status, loaded.status) == (0, 0), (forgot, loaded)
    assert "60 loaded" in loaded.out
    with Workshop.open(tmp_path / "shop.duckdb", read_only=True) as opened:
        held = opened.table("load_batch")
        assert held.loc[held["file_name"] == "more.csv", "loaded"].tolist() == [60]
        assert opened.table("visit")["job_no"].str.startswith("K").sum() == 60
        assert hash_of(opened, "J1").startswith("erased")
    assert not list(tmp_path.glob("*.lock"))


def test_a_database_behind_a_link_stays_there_with_its_mode(workshop: Workshop, tmp_path: Path) -> None:
    workshop.close()
    (tmp_path / "shop.duckdb").rename(tmp_path / "real.duckdb")
    (tmp_path / "real.duckdb").chmod(0o600)
    (tmp_path / "shop.duckdb").symlink_to("real.duckdb")
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        hashed = hash_of(opened, "J1").encode()
        opened.forget("Ann Example")
    assert (tmp_path / "shop.duckdb").is_symlink()
    assert (tmp_path / "real.duckdb").stat().st_mode & 0o777 == 0o600
    assert hashed not in (tmp_path / "real.duckdb").read_bytes()


FILES: dict[str, Callable[[Path], object]] = {
    "model.json": lambda path: path.write_text('{"classes": ["ask zo\\u00eb example"]}'),
    "report.html": lambda path: path.write_text("<!doctype html>Zo&euml;&#32;Example rang"),
    "jobs of Zo\u00eb Example.csv": lambda path: path.write_text("fine"),
    "office.csv": lambda path: path.write_text("name\nZo\u00eb Example\n", encoding="cp1252"),
    "sheet.txt": lambda path: path.write_text("name\tjob\nZoe\u0308 Example\t1", encoding="utf-16"),
    "visits.parquet": lambda path: pd.DataFrame({"note": ["Zo\u00eb Example rang"] * 99}).to_parquet(path),
    "visits.xlsx": lambda path: pd.DataFrame({"note": ["Zo\u00eb Example rang"]}).to_excel(path, engine="xlsxwriter"),
    "jobs.csv.gz": lambda path: path.write_bytes(gzip.compress("Zo\u00eb Example".encode())),
    "shop.before-version-3.duckdb": lambda path: path.write_bytes(b"packed"),
    "copy.duckdb": lambda path: duckdb.connect(path).close(),
    "long.txt": lambda path: path.write_text(
        "a " * ((4 << 19) - 3) + "Zo\u00eb Example " + "a " * 9000, encoding="utf-8"
    ),
    "shop.begun": lambda path: path.write_text('{"hash of a call": {"on": "2025-01-02", "events": []}}'),
    "month.pdf": lambda path: path.write_bytes(b"%PDF-1.7 packed"),
    "cut.zip": lambda path: path.write_bytes(b"PK\x03\x04 cut"),
}
FINE: dict[str, Callable[[Path], object]] = {
    "fine.html": lambda path: path.write_text("<!doctype html>Zo&euml;lle Examples rang"),
    "fine.parquet": lambda path: pd.DataFrame({"note": ["Zo\u00eblle"]}).to_parquet(path),
    "holiday.mp4": lambda path: path.write_text("Zo\u00eb Example, but a film is not searched"),
    "fine.bin": lambda path: path.write_bytes(bytes(range(256)) * 40),
}


def test_files_beside_that_hold_the_name_or_cannot_be_searched_are_named(workshop: Workshop, tmp_path: Path) -> None:
    (tmp_path / "shop.models" / "0001").mkdir(parents=True)
    (tmp_path / "reports").mkdir()
    places = {"model.json": tmp_path / "shop.models" / "0001", "report.html": tmp_path / "reports"}
    for name, write in (FILES | FINE).items():
        write(places.get(name, tmp_path) / name)
    workshop.close()
    write_backup(tmp_path / "shop.duckdb", tmp_path / "kept.zip")
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        named = {Path(path).name for path in opened.forget("Zo\u00eb Example")["elsewhere"]}
    assert named == {*FILES, "kept.zip"}


def test_a_review_file_behind_a_link_is_cleaned_where_it_lies_and_one_that_may_not_be_read_is_named(
    workshop: Workshop, tmp_path: Path
) -> None:
    workshop.close()
    (tmp_path / "away").mkdir()
    real = tmp_path / "away" / "words.csv"
    real.write_text(REVIEW + "\ncomplaint,zibbly,1,Ann Example says leaking,,,,,\n", encoding="utf-8")
    (tmp_path / "words.csv").symlink_to(real)
    (tmp_path / "words.csv.new").write_text("ours")
    (tmp_path / "locked.csv").write_text("closed to us")
    (tmp_path / "locked.csv").chmod(0)
    ran = in_fork(tmp_path, "forget 'Ann Example' --yes", bound_by_rights, db="shop.duckdb")
    assert ran.status == 0, ran
    assert "locked.csv" in ran.out
    assert (tmp_path / "words.csv").is_symlink()
    assert "Ann" not in real.read_text(encoding="utf-8")
    assert (tmp_path / "words.csv.new").read_text() == "ours"


def test_a_forget_killed_before_the_file_is_written_anew_is_proved_by_the_next(
    workshop: Workshop, tmp_path: Path
) -> None:
    hashed = hash_of(workshop, "J1").encode()
    workshop.close()

    def killed_before() -> None:
        Database.compact = lambda self: os._exit(9)  # type: ignore[method-assign]

    assert in_fork(tmp_path, "forget 'Ann Example' --yes", killed_before, db="shop.duckdb").status == 9
    with Workshop.open(tmp_path / "shop.duckdb") as opened:
        assert opened.forget("Ann Example")["proof"]["found"] == 0
    for path in tmp_path.glob("shop.*"):
        assert path.suffix == ".key" or (hashed not in path.read_bytes() and b"Ann Example" not in path.read_bytes())


def test_a_second_name_of_the_file_is_told_before_anything_changes(workshop: Workshop, tmp_path: Path) -> None:
    (tmp_path / "other-name.duckdb").hardlink_to(tmp_path / "shop.duckdb")
    with pytest.raises(UsageError, match="second name"):
        workshop.forget("Ann Example")
    assert hash_of(workshop, "J1").startswith("erased") is False
