"""A day's calls: read like records, one sheet a call, a van list, a page that works offline and prints one call a page."""

from __future__ import annotations

import csv
import re
import shutil

import pytest

import demo_data
from pipeline.errors import FileUnusable, UsageError
from pipeline.on_site.calls_file import MOST_CALLS
from pipeline.terminal.views import round_
from reports.render.wording import Wording
from tests.worlds.visit_workshop import folder

HEADER = ("visit_date", "appliance_kind", "job_no", "make", "model", "age", "complaint", "fault_code")


@pytest.fixture(scope="module")
def planned(workshop, tmp_path_factory):
    out = tmp_path_factory.mktemp("round") / "round.html"
    with pytest.MonkeyPatch.context() as bounded:
        bounded.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 40)
        return workshop.round(demo_data.FILES["round"], out), out


pytestmark = pytest.mark.usefixtures("short_trees")


def write(path, *rows, header=HEADER):
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])
    return path


CALL = ("2026-11-02", "w/m", "J-7", "Tavrik", "TW540S", "4", "not draining", "")


def test_one_object_a_call_in_the_order_of_the_file(planned):
    told, _ = planned
    with demo_data.FILES["round"].open(encoding="utf-8", newline="") as file:
        numbers = [line["job_no"] for line in csv.DictReader(file)]
    assert [call["job_no"] for call in told["calls"]] == numbers
    assert all(call["steps"] and call["cautions"] for call in told["calls"])


def test_van_rows_hold_the_contract(planned):
    told, _ = planned
    assert all(set(row) >= {"part", "expected_use", "carry"} for row in told["van"])
    assert any(row["carry"] for row in told["van"])
    use = [row["expected_use"] for row in told["van"]]
    assert use == sorted(use, reverse=True)


def test_stock_limits_the_van_and_the_same_call_gets_the_same_plan(workshop, tmp_path):
    rows = [("2026-11-02", "w/m", f"J-{n}", "Tavrik", "TW540S", "4", "not draining", "") for n in range(6)]
    calls = write(tmp_path / "calls.csv", *rows)
    stock = write(tmp_path / "stock.csv", ("pump", "1"), ("level sensor", "0"), header=("part", "quantity"))
    free = workshop.round(calls, tmp_path / "a.html")
    assert not any("order" in str(one) for one in free["remarks"])
    assert len(free["calls"]) == 6
    assert all(call["steps"] == free["calls"][0]["steps"] for call in free["calls"])
    told = workshop.round(calls, tmp_path / "b.html", stock=stock)["van"]
    assert sum(row["carry"] for row in free["van"] if row["part"] == "drain pump") >= 2
    assert [(row["part"], row["in_store"]) for row in told if row["carry"]] == [("drain pump", 1)]


def test_a_part_of_another_kind_is_another_part(workshop, tmp_path):
    oven = ("2026-11-02", "oven", "J-8", "", "", "5", "not heating", "")
    fridge = ("2026-11-02", "fridge", "J-9", "", "", "5", "warm", "")
    told = workshop.round(write(tmp_path / "c.csv", oven, fridge), tmp_path / "c.html")["van"]
    kinds = [row["kind"] for row in told if row["part"] == "thermostat"]
    assert sorted(kinds) == ["electric oven", "fridge"]


def test_what_only_the_bench_can_tell_is_not_carried(workshop, tmp_path):
    call = ("2026-11-02", "microwave", "J-8", "", "", "5", "runs but no heat", "")
    told = workshop.round(write(tmp_path / "c.csv", call), tmp_path / "c.html")
    assert "magnetron" not in [row["part"] for row in told["van"]]
    assert not any(row["worth_it"] for row in told["calls"][0]["carry"] if row["part"] == "magnetron")


def test_one_money_of_a_further_trip(workshop):
    from pipeline.visit.costs import further_trip

    asked = workshop.causes(kind="washing machine", complaint="not draining")
    assert asked.costs.trip == further_trip(workshop.settings) == pytest.approx(22 + 45 * 48 / 60)


def test_a_part_not_in_the_van_costs_a_further_trip(workshop, tmp_path):
    calls = write(tmp_path / "calls.csv", ("2026-11-02", "w/m", "J-7", "", "", "", "won't spin", ""))
    nothing = write(tmp_path / "stock.csv", ("nothing", "0"), header=("part", "quantity"))
    full = workshop.round(calls, tmp_path / "a.html")["calls"][0]["expected"]
    told = workshop.round(calls, tmp_path / "b.html", stock=nothing)
    empty = told["calls"][0]["expected"]
    (remark,) = [str(one) for one in told["remarks"] if "nor in the store: order" in str(one)]
    assert told["calls"][0]["carry"][0]["part"] in remark
    without, with_stock = ((tmp_path / name).read_text(encoding="utf-8") for name in ("a.html", "b.html"))
    assert "neither on the van nor in the store: order" in with_stock
    assert "nor in the store" not in without
    assert empty["visits"] > full["visits"]
    assert empty["money"] > full["money"]


def test_an_xlsx_of_calls_reads_the_same(workshop, tmp_path):
    import xlsxwriter

    path = tmp_path / "calls.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        for row, cells in enumerate([HEADER, CALL]):
            sheet.write_row(row, 0, cells)
    first = workshop.round(path, tmp_path / "a.html")["calls"]
    second = workshop.round(write(tmp_path / "calls.csv", CALL), tmp_path / "b.html")["calls"]
    assert first == second


def test_columns_of_another_program_are_guessed(workshop, tmp_path):
    header = ("Job number", "Date", "Appliance", "Manufacturer", "Fault reported")
    told = workshop.round(write(tmp_path / "c.csv", ("9", "2026-11-02", "dishwasher", "Ostrel", "not draining"), header=header), tmp_path / "c.html")  # fmt: skip
    assert told["calls"][0]["asked"]["kind"] == "dishwasher"
    assert told["calls"][0]["asked"]["complaint"] == ["does not drain"]


def test_a_call_without_a_kind_is_named_and_the_rest_planned(workshop, tmp_path):
    told = workshop.round(
        write(tmp_path / "c.csv", CALL, ("2026-11-02", "", "J-8", "", "", "", "?", "")), tmp_path / "c.html"
    )
    assert len(told["calls"]) == 1
    assert told["not_planned"] == ["line 3: no kind of appliance"]
    assert "line 3" in (tmp_path / "c.html").read_text(encoding="utf-8")


def test_a_file_without_kinds_is_refused(workshop, tmp_path):
    with pytest.raises(UsageError, match="kind of appliance"):
        workshop.round(write(tmp_path / "c.csv", ("1", "2"), header=("price", "colour")), tmp_path / "c.html")


def test_a_round_without_calls_still_makes_a_page(workshop, tmp_path):
    told = workshop.round(write(tmp_path / "c.csv"), tmp_path / "c.html")
    assert told["calls"] == [] == told["van"]
    assert "No call to plan" in (tmp_path / "c.html").read_text(encoding="utf-8")


def test_a_page_that_cannot_be_written_is_refused(workshop, tmp_path):
    with pytest.raises(FileUnusable, match="no such file"):
        workshop.round(write(tmp_path / "c.csv", CALL), tmp_path / "no such folder" / "c.html")


def test_too_many_calls_are_refused(workshop, tmp_path):
    with pytest.raises(UsageError, match="at most"):
        workshop.round(write(tmp_path / "c.csv", *[CALL] * (MOST_CALLS + 1)), tmp_path / "c.html")


def test_after_very_many_calls_the_page_knows_only_first_steps_and_says_so(workshop, tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 100)
    few = write(tmp_path / "c.csv", CALL, (*CALL[:2], "J-8", *CALL[3:6], "leaks", ""))
    assert workshop.round(few, tmp_path / "whole.html")["remarks"] == []
    monkeypatch.setattr("pipeline.on_site.round.MOST_FOLLOWED", 1)
    told = workshop.round(few, tmp_path / "first.html")
    assert len(told["remarks"]) == 1 and "every step of the first 1 calls" in told["remarks"][0]
    assert "every step of the first 1 calls" in (tmp_path / "first.html").read_text(encoding="utf-8")
    assert (tmp_path / "first.html").stat().st_size < (tmp_path / "whole.html").stat().st_size - 5_000


def test_no_unmasked_text_is_left_in_the_working_tables(workshop, planned):
    left = workshop.database.connection.execute("select table_name from duckdb_tables() where temporary").fetchall()
    assert left == []


def test_contacts_are_masked_and_hostile_text_cannot_act(workshop, tmp_path):
    hostile = '<script>alert(1)</script> not draining, tel 07700 900123 "><img src=x onerror=alert(2)>'
    calls = write(tmp_path / "c.csv", ("2026-11-02", "w/m", "J<b>9", "=cmd()", "\x1b[2J", "4", hostile, "{{ 7*7 }}"))
    workshop.round(calls, tmp_path / "c.html")
    page = (tmp_path / "c.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "<img" not in page
    assert "07700 900123" not in page
    assert "\x1b" not in page
    assert "J<b>9" not in page


def test_the_page_reaches_for_nothing(planned):
    _, out = planned
    page = out.read_text(encoding="utf-8")
    assert "default-src 'none'" in page
    assert not re.search(r'(src|href)="(?!#|data:)', page)
    assert " style=" not in page
    assert len(page) < 8 * 100_000  # sixty calls stay under 6 MB


def test_the_same_round_gives_the_same_page(workshop, tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 20)
    calls = write(tmp_path / "c.csv", CALL)
    first, again = (workshop.round(calls, tmp_path / name) for name in ("a.html", "b.html"))
    assert again == first
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--no-first-run",
                "--disable-background-networking",
            ],
        )
        yield opened
        opened.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_no_sheet_scrolls_sideways_and_nothing_complains(browser, planned, width):
    _, out = planned
    page = browser.new_page(viewport={"width": width, "height": 800})
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "request",
        lambda request: None if request.url.startswith(("file:", "data:")) else complaints.append(request.url),
    )
    page.goto(out.as_uri(), timeout=120_000)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("article.sheet").count() == 8
    assert complaints == []
    page.close()


def test_each_call_prints_on_one_page(browser, planned, tmp_path):
    _, out = planned
    page = browser.new_page()
    page.goto(out.as_uri(), timeout=120_000)
    printed = page.pdf(path=str(tmp_path / "round.pdf"), format="A4")
    page.close()
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1 + 8


def test_who_has_a_danger_is_rung_first(workshop, tmp_path):
    calls = write(
        tmp_path / "calls.csv",
        CALL,
        ["2026-11-02", "gas hob", "J-2", "", "", "5", "front burner wont stay lit, faint smell of gas", ""],
        ["2026-11-02", "gas hob", "J-3", "", "", "5", "will not light", ""],
        ["2026-11-02", "w/m", "J-4", "", "", "5", "gave me a shock", ""],
        ["2026-11-02", "fridge", "J-5", "", "", "5", "stabbed the ice with a knife, hissed, now warm", ""],
        ["2026-11-02", "fridge", "J-6", "", "", "5", "lost its gas again, warm", ""],
    )
    told = workshop.round(calls, tmp_path / "round.html")
    assert [(row["call"], row["cautions"][0]) for row in told["ring_first"]] == [
        (2, "gas"),
        (4, "electric shock"),
        (5, "refrigerant escapes"),
    ]
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    head = page[page.index("<h1>") : page.index('id="van"')]
    assert head.count("<dt>") == 3 and "touch no switch or plug" in head
    lines = round_(told, tmp_path / "round.html", Wording())
    assert lines[0] == "Ring these customers first, today"
    assert "Smell of gas: touch no switch" in lines[1] and "call 2" in lines[1].lower()


def test_the_command_prints_the_van_and_names_the_page(tmp_path):
    from typer.testing import CliRunner

    from pipeline.cli import app

    out, db = tmp_path / "r.html", tmp_path / "workshop.duckdb"
    shutil.copy(folder() / "workshop.duckdb", db)
    calls = write(tmp_path / "c.csv", CALL)
    done = CliRunner().invoke(app, ["round", str(calls), "--out", str(out), "--db", str(db)])
    assert done.exit_code == 0
    assert "1 call" in done.output
    assert "expected use" in done.output
    assert out.is_file()
