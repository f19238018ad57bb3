"""Exports in the manner of small office programs, each of its own: read right or held back, never loaded and wrong.

All tell of the same forty invented jobs, eight of which took a second visit.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import pytest
import xlsxwriter

from pipeline.errors import PriorjobsError
from pipeline.load.choose_layout import accept
from pipeline.load.guess import GuessHeldBack
from pipeline.load.layout_file import as_toml, parse_layout
from pipeline.load.load import load_files
from pipeline.load.load_request import Asked
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.words import Words
from tests.worlds.empty import empty_workshop

KINDS = (
    ("washing machine", "W/M", "Waschmaschine"),
    ("tumble dryer", "tumble dryer", "Trockner"),
    ("dishwasher", "dishwasher", "Geschirrspüler"),
    ("fridge", "fridge", "Kühlschrank"),
)
COMPLAINTS = (
    ("will not drain the water away", "Maschine pumpt nicht ab"),
    ("takes too long and stays damp", "heizt nicht mehr richtig"),
    ("leaks water on the floor", "verliert Wasser am Boden"),
    ("not cold any more inside", "kühlt nicht mehr richtig"),
)
PARTS = (("drain pump", 34.5), ("heating element", 41.0), ("door seal", 22.25), ("thermostat", 18.0))
MAKES = ("Ostrel", "Brennick", "Pellmore")
PEOPLE = ("Abel", "Brandt", "Cole", "Dunn", "Ewing", "Ford", "Gale")


@dataclass(frozen=True)
class Visit:
    """One visit of the invented jobs."""

    job: int
    no: int
    is_last: bool

    @property
    def day(self) -> date:
        return date(2025, 1, 13) + timedelta(days=3 * self.job + 6 * (self.no - 1))

    @property
    def kind(self) -> int:
        return self.job % 4

    @property
    def make(self) -> str:
        return MAKES[self.job % 3]

    @property
    def number(self) -> str:
        return f"K{2400 + 3 * self.job}"

    @property
    def serial(self) -> str:
        return f"{self.make[:2].upper()}{700_000 + 7919 * self.job}"

    @property
    def parts(self) -> list[tuple[str, int, float]]:
        if not self.is_last or self.job % 5 == 0:
            return []
        name, cost = PARTS[self.kind]
        return [(name, 1, cost)] + ([("hose clip", 2, 1.5)] if self.job % 4 == 0 else [])

    @property
    def labour(self) -> float:
        return 40.0 + self.job if self.is_last else 0.0

    @property
    def who(self) -> str:
        return f"{PEOPLE[self.job % 7]}, {'ABCDEFGH'[self.job % 8]}."


VISITS = [Visit(job, no, no == 1 + (job % 5 == 2)) for job in range(40) for no in range(1, 2 + (job % 5 == 2))]
LAST = [v for v in VISITS if v.is_last]


def delimited(header: list[str], rows: list[list[object]], delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows([header, *rows])
    return out.getvalue().encode(encoding)


def workbook(**sheets: list[list[object]]) -> bytes:
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "default_date_format": "dd/mm/yyyy"}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for at, row in enumerate(rows):
                sheet.write_row(at, 0, row)
    return out.getvalue()


def money(amount: float, mark: str = ".") -> str:
    return f"{amount:.2f}".replace(".", mark)


def outcome(v: Visit, done: str = "fixed", not_done: str = "part needed") -> str:
    return done if v.is_last else not_done


# The exports


def german_office() -> bytes:
    """A German program: semicolons, Windows letters, the day the job was taken down beside the day of the visit."""
    header = ["Auftragsnr.", "Erfasst am", "Einsatzdatum", "Name", "Gerät", "Hersteller", "Geräte-Nr.", "Beanstandung",
              "Status", "Lohn EUR"]  # fmt: skip
    rows = [
        [v.number, f"{v.day - timedelta(days=4):%d.%m.%Y}", f"{v.day:%d.%m.%Y}", v.who, KINDS[v.kind][2], v.make,
         v.serial, COMPLAINTS[v.kind][1], outcome(v, "erledigt", "Ersatzteil bestellt"), money(v.labour, ",")]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows, ";", "cp1252")


def parts_book() -> bytes:
    """A line a part, the visit written once above its parts."""
    header = ["Docket", "Attended", "Machine", "Brand", "Ser No", "Reported fault", "Spare part", "Qty", "Each", "Labour",
              "Result"]  # fmt: skip
    rows: list[list[object]] = []
    for v in VISITS:
        own = [v.number, f"{v.day:%d/%m/%Y}", KINDS[v.kind][1], v.make, v.serial, COMPLAINTS[v.kind][0]]
        for at, (name, quantity, cost) in enumerate(v.parts or [("", "", "")]):
            price = money(cost) if cost != "" else ""
            rows.append(
                [*(own if at == 0 else [""] * 6), name, quantity, price, money(v.labour) if at == 0 else "", outcome(v)]
            )
    return delimited(header, rows)


def invoice_lines() -> bytes:
    """An accounts program: a line an invoice line, labour and carriage among them."""
    header = ["Invoice No", "Date of visit", "Account", "Appliance", "Serial", "Item", "Qty", "Unit price", "Fault"]
    rows: list[list[object]] = []
    for v in VISITS:
        lines: list[tuple[str, object, float]] = list(v.parts)
        lines.append(("Labour on site", 1, v.labour))
        if v.parts:
            lines.append(("Carriage", 1, 4.95))
        for item, quantity, cost in lines:
            rows.append(
                [v.number, v.day.isoformat(), f"AC{v.job % 9}", KINDS[v.kind][1], v.serial, item, quantity, money(cost),
                 COMPLAINTS[v.kind][0]]
            )  # fmt: skip
    return delimited(header, rows)


def job_cards() -> bytes:
    """A workbook with a line a job and a column a visit."""
    header = ["Card", "Appliance", "Manufacturer", "Serial No", "Complaint", "1st visit", "2nd visit", "Outcome",
              "Labour charge"]  # fmt: skip
    rows: list[list[object]] = [header]
    for v in LAST:
        days = [w.day for w in VISITS if w.job == v.job]
        rows.append(
            [v.number, KINDS[v.kind][1], v.make, v.serial, COMPLAINTS[v.kind][0], days[0],
             days[1] if len(days) > 1 else None, "completed", v.labour]
        )  # fmt: skip
    return workbook(Cards=rows)


def two_sheets() -> bytes:
    """Jobs on one sheet, their parts on another."""
    jobs: list[list[object]] = [["Job No", "Visit date", "Type of appliance", "Make", "Serial No", "Problem", "Status"]]
    parts: list[list[object]] = [["Job No", "Part name", "Quantity", "Unit cost"]]
    for v in VISITS:
        jobs.append([v.number, v.day, KINDS[v.kind][1], v.make, v.serial, COMPLAINTS[v.kind][0], outcome(v)])
        parts += [[v.number, name, quantity, cost] for name, quantity, cost in v.parts]
    return workbook(Jobs=jobs, Parts=parts)


def a_sheet_a_quarter() -> bytes:
    """The same columns on a sheet a quarter."""
    header: list[object] = ["Call", "Done on", "Unit type", "Brand", "S/N", "Symptom", "Result"]
    sheets: dict[str, list[list[object]]] = {"Q1": [header], "Q2": [header]}
    for v in VISITS:
        row: list[object] = [v.number, v.day, KINDS[v.kind][1], v.make, v.serial, COMPLAINTS[v.kind][0], outcome(v)]
        sheets["Q1" if v.day.month <= 3 else "Q2"].append(row)
    return workbook(**sheets)


def nested_json() -> bytes:
    """A web program: objects in objects, and a list of parts."""
    lines = [
        {
            "ticket": v.number, "visit": {"date": v.day.isoformat(), "engineer": "Kim"},
            "asset": {"type": KINDS[v.kind][1], "brand": v.make, "serial": v.serial},
            "problem": COMPLAINTS[v.kind][0], "result": outcome(v),
            "parts": [{"name": n, "qty": q, "price": {"each": c}} for n, q, c in v.parts],
        }
        for v in VISITS
    ]  # fmt: skip
    return "\n".join(json.dumps(line) for line in lines).encode()


def tickets() -> bytes:
    """A help desk: kind and make in the subject, complaint, finding and work in one note."""
    header = ["Ticket", "Visited", "Subject", "Note", "Client", "State"]
    rows = [
        [v.number, v.day.isoformat(), f"{v.make} {KINDS[v.kind][1]} - please look",
         f"Reported: {COMPLAINTS[v.kind][0]}. Found: filter blocked. Work done: cleaned and tested",
         f"client {v.job % 11}", outcome(v)]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows, "|")


def diary() -> bytes:
    """A diary: complaint, finding and work in one note without labels, written as it came."""
    header = ["Nr", "Day of visit", "What", "Brand", "Serial no", "Notes", "Result"]
    ends = (
        "Found pump filter blocked with coins. Cleared it, tested ok",
        "lint filter blocked, cleaned and tested",
        "- door seal torn, new seal fitted, no leaks now",
        "Checked thermostat, thermostat faulty and replaced",
    )
    starts = ("Customer says it ", "", "it ", "says ")
    rows = [
        [v.number, v.day.isoformat(), KINDS[v.kind][1], v.make, v.serial,
         f"{COMPLAINTS[v.kind][0]}. {starts[v.job % 3]}since {v.job} days{',.'[v.job % 2]} {ends[v.kind]}", outcome(v)]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows)


def two_days() -> bytes:
    """Created and visited days, with the time of day."""
    header = ["ref", "created_at", "visited_at", "product", "serial_number", "issue", "resolution", "state"]
    rows = [
        [v.number, f"{v.day - timedelta(days=4)} 08:1{v.job % 10}:00", v.day.isoformat(), KINDS[v.kind][1], v.serial,
         COMPLAINTS[v.kind][0], "cleaned the filter and tested it", outcome(v)]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows)


def days_without_a_name() -> bytes:
    """Two columns of days, neither of which says what happened on it."""
    header = ["ref", "day a", "day b", "product", "serial", "issue", "state"]
    rows = [
        [v.number, f"{v.day - timedelta(days=4)}", v.day.isoformat(), KINDS[v.kind][1], v.serial, COMPLAINTS[v.kind][0],
         outcome(v)]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows)


def misleading_names() -> bytes:
    """A column Customer that holds what the customer says, and a number that repeats beside the job's own."""
    header = ["Job", "Ref", "Visit", "Item", "Customer", "Serial number", "Job status"]
    rows = [
        [f"{v.job % 6}", v.number, f"{v.day:%d %b %Y}", KINDS[v.kind][1], f"{COMPLAINTS[v.kind][0]} since {v.job} days",
         v.serial, outcome(v)]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows, "\t")


def american() -> bytes:
    """Month first, dollars, a title above the columns."""
    header = [
        "WO #",
        "Service Date",
        "Appliance",
        "Brand",
        "Serial #",
        "Customer Complaint",
        "Labor",
        "Completion Status",
    ]
    rows = [
        [v.number, f"{v.day:%m/%d/%Y}", KINDS[v.kind][1], v.make, v.serial, COMPLAINTS[v.kind][0], f"${money(v.labour)}",
         outcome(v, "completed", "part needed")]
        for v in VISITS
    ]  # fmt: skip
    return b"Service report,,,,,,,\n\n" + delimited(header, rows)


def french() -> bytes:
    """A language without word lists: nothing tells what its columns are but the days."""
    header = ["numéro", "intervention", "appareil", "marque", "panne", "résultat"]
    kinds = ("lave-linge", "sèche-linge", "lave-vaisselle", "réfrigérateur")
    rows = [
        [v.number, f"{v.day:%d/%m/%Y}", kinds[v.kind], v.make, "fuite d'eau sous la machine", outcome(v, "réparé", "à revoir")]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows, ";")


def counter_list() -> bytes:
    """Names cut short, times in hours, and a till's number that runs on."""
    header = ["no", "dt attended", "type", "mk", "ser no", "cust said", "eng", "hrs", "res"]
    rows = [
        [f"{v.number}", f"{v.day:%d-%m-%y}", KINDS[v.kind][1], v.make, v.serial, COMPLAINTS[v.kind][0], "LK", "0.75",
         outcome(v)]
        for v in VISITS
    ]  # fmt: skip
    return delimited(header, rows)


EXPORTS: dict[str, tuple[Callable[[], bytes], str]] = {
    f.__name__: (f, form)
    for f, form in (
        (german_office, "csv"), (parts_book, "csv"), (invoice_lines, "csv"), (job_cards, "xlsx"), (two_sheets, "xlsx"),
        (a_sheet_a_quarter, "xlsx"), (nested_json, "jsonl"), (tickets, "csv"), (diary, "csv"), (two_days, "csv"),
        (days_without_a_name, "csv"), (misleading_names, "tsv"), (american, "csv"), (french, "csv"), (counter_list, "csv"),
    )
}  # fmt: skip
HELD_BACK = {"days_without_a_name", "french"}  # cannot be told even when the guess is taken unseen
WITHOUT_SERIAL = {"tickets", "french"}
WITH_PARTS = {"parts_book", "invoice_lines", "two_sheets", "nested_json"}
WITH_LABOUR = {"german_office", "parts_book", "invoice_lines", "job_cards", "american"}


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en", "de"))


@pytest.fixture
def database(tmp_path: Path, without_marts: None) -> Iterator[Database]:
    with Database.open(empty_workshop(tmp_path / "w.duckdb")) as opened:
        yield opened


def written(folder: Path, name: str) -> Path:
    make, form = EXPORTS[name]
    path = folder / f"{name}.{form}"
    path.write_bytes(make())
    return path


def assert_right(database: Database, name: str) -> None:
    found = database.connection.execute(
        "select visit_date, kind, job_no, serial, complaint, outcome, labour_charge from stage_visit order by visit_date"
    ).fetchall()
    assert [row[0] for row in found] == sorted(v.day for v in VISITS)
    right = {(v.day, v.number): v for v in VISITS}
    for day, kind, job_no, serial, complaint, result, labour in found:
        v = right[day, job_no]
        assert kind == KINDS[v.kind][0]
        assert serial == (None if name in WITHOUT_SERIAL else v.serial.replace("O", "0").replace("I", "1"))
        assert complaint.startswith((COMPLAINTS[v.kind][0], COMPLAINTS[v.kind][1]))
        if name in WITH_LABOUR:
            assert labour == (v.labour or None) or (labour == 0 and not v.labour)
        if name != "invoice_lines":
            assert (result == "fixed") == v.is_last
    parts = database.connection.execute("select part, sum(quantity * unit_cost) from stage_part group by 1").fetchall()
    wanted: dict[str, float] = {}
    for v in VISITS if name in WITH_PARTS else ():
        for part, quantity, cost in v.parts:
            wanted[part] = wanted.get(part, 0) + quantity * cost
    assert dict(parts) == pytest.approx(wanted)


def assert_note_read(database: Database) -> None:
    """The running note gives complaint, finding, cause and work."""
    found = database.connection.execute(
        "select kind, cause, count(*), count(distinct work_done), bool_and(visit_id in (select visit_id from "
        "stage_finding)) from stage_visit group by all order by all"
    ).fetchall()
    of_kind = [sum(v.kind == kind for v in VISITS) for kind in range(4)]
    assert found == [
        ("dishwasher", "torn door seal", of_kind[2], 1, True),
        ("fridge", "thermostat faulty", of_kind[3], 1, True),
        ("tumble dryer", "lint blockage in air path", of_kind[1], 1, True),
        ("washing machine", "blocked pump filter", of_kind[0], 1, True),
    ]


@pytest.mark.parametrize("name", ["german_office", "french"])
def test_nothing_is_loaded_by_a_guess_nobody_has_seen(name: str, database: Database, tmp_path: Path) -> None:
    with pytest.raises(GuessHeldBack):
        load_files(Asked(database, Words.load, Settings()), [written(tmp_path, name)])
    assert database.connection.execute("select count(*) from load_batch").fetchall() == [(0,)]


@pytest.mark.parametrize("name", EXPORTS)
def test_taken_as_guessed_it_is_read_right_or_held_back(
    name: str, database: Database, words: Words, tmp_path: Path
) -> None:
    file = written(tmp_path, name)
    settings = Settings(languages=("en", "de"))
    if name in HELD_BACK:
        with pytest.raises(PriorjobsError):
            load_files(Asked(database, lambda: words, settings, decide=accept), [file])
        assert database.connection.execute("select count(*) from stage_visit").fetchall() == [(0,)]
        return
    report = load_files(Asked(database, lambda: words, settings, decide=accept), [file])
    assert report.totals["rejected"] == 0
    assert_right(database, name)
    if name == "diary":
        assert_note_read(database)
    layout = report.files[0].layout_used
    assert layout is not None
    assert parse_layout(as_toml(layout), "again") == layout  # what was guessed can be said in a layout file


def test_next_month_the_same_columns_are_no_guess(database: Database, words: Words, tmp_path: Path) -> None:
    settings = Settings(languages=("en", "de"))
    another = tmp_path / "another.csv"
    another.write_bytes(two_days())
    load_files(Asked(database, lambda: words, settings, decide=accept), [another])
    another.write_bytes(two_days() + two_days().splitlines()[1].replace(b"K2400", b"K9999") + b"\n")
    report = load_files(Asked(database, lambda: words, settings), [another])
    assert report.totals["loaded"] == 1
    assert any("same columns" in note for note in report.files[0].notes)


def test_a_time_of_day_is_no_job_number(database: Database, words: Words, tmp_path: Path) -> None:
    file = tmp_path / "diary.csv"
    rows = [[f"{v.day:%d.%m.%Y}", f"9:{v.job:02d}", KINDS[v.kind][2], f"K{v.job % 9}"] for v in LAST]
    file.write_bytes(delimited(["Datum", "Uhrzeit", "Gerät", "Kunde"], rows, ";"))
    report = load_files(Asked(database, lambda: words, Settings(languages=("en", "de")), decide=accept), [file])
    layout = report.files[0].layout_used
    assert layout is not None
    assert sorted(layout.columns) == ["appliance_kind", "customer_ref", "visit_date"]
