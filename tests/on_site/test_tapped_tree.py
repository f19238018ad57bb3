"""Sheets that can be tapped: the page leads as the conversation does, keeps what was tapped, and its record loads."""

from __future__ import annotations

import csv
import datetime as dt
import shutil

import pytest

from pipeline import Workshop
from pipeline.call.question import Call
from pipeline.visit.ask import questions_of
from reports.render.pdf import find_browser
from tests.worlds import tapped_page
from tests.worlds.empty import empty_workshop
from tests.worlds.visit_workshop import folder

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(find_browser() is None, reason="there is no Chromium on this machine")

COLUMNS = ("visit_date", "appliance_kind", "job_no", "make", "model", "age", "complaint", "customer_ref", "findings")
CALLS = [
    ("2026-11-02", "vacuum", "J-1", "", "", "5", "no suction", "Mrs Nobody", ""),
    ("2026-11-02", "fridge", "J-2", "", "", "6", "kaputt </script><b>", "", ""),
    ("2026-11-02", "gas hob", "J-3", "", "", "6", "will not light", "", ""),
    ("2026-11-02", "dryer", "J-4", "", "", "6", "smells of burning", "", "burnt part=motor; wiring=damaged or wet"),
]


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """A copy of its own, that no other test has asked before."""
    with Workshop.open(
        shutil.copytree(folder(), tmp_path_factory.mktemp("tapped") / "w") / "workshop.duckdb"
    ) as opened:
        yield opened


@pytest.fixture(scope="module")
def sheets(workshop, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")
    calls = folder / "calls.csv"
    with calls.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([COLUMNS, *CALLS])
    with pytest.MonkeyPatch.context() as bounded:
        bounded.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 300)
        bounded.setattr("pipeline.on_site.tapped_tree.MOST_PLANS", 4)
        workshop.round(calls, folder / "round.html")
    return folder / "round.html"


@pytest.fixture(scope="module")
def browser():
    with tapped_page.browser() as running:
        yield running


@pytest.fixture
def opened(browser, sheets):
    page = browser.new_page(viewport={"width": 320, "height": 640})
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.clock.install(time=dt.datetime(2026, 9, 1, 9, 30))
    page.goto(sheets.as_uri(), timeout=120_000)
    yield page
    assert complaints == []
    page.close()


def card(page, number):
    return page.locator(f'[data-walk="{number}"] .card')


def tap(page, number, label):
    card(page, number).get_by_role("button", name=label, exact=True).first.click()


def until_cured(page, number):
    """Tap the last answer of every check and "cured" at the first repair."""
    for _ in range(30):
        keys = card(page, number).locator("> .keys .key")
        labels = keys.all_text_contents()
        cured = [label for label in labels if label in ("cured", "fitted, cured")]
        if cured:
            tap(page, number, cured[0])
            return
        keys.nth(0).click()
    raise AssertionError("no repair is offered")


@pytest.mark.parametrize(("number", "most"), [(0, 40), (1, 8), (2, 80)])
def test_branches_say_what_the_conversation_says(workshop, opened, number, most):
    cards = tapped_page.tapped(opened, number, most)
    _, kind, job, make, model, age, complaint, *_ = CALLS[number]
    call = Call(kind, make, model, age, complaint, job_no=job)
    (asked,) = questions_of(workshop.database, workshop.words, workshop.settings, [call], on=dt.date(2026, 11, 2))
    compared, asks, wrong = tapped_page.differences(workshop, asked, cards)
    assert wrong == []
    assert compared >= 1
    assert compared > asks


def test_undo_brings_the_same_card_back(opened):
    before = card(opened, 0).inner_text()
    card(opened, 0).locator("> .keys .key").first.click()
    assert card(opened, 0).inner_text() != before
    tap(opened, 0, "Undo")
    assert card(opened, 0).inner_text() == before


def test_no_visit_ends_as_fixed_with_what_was_seen_burnt_still_in(opened):
    """One repair puts one of two burnt parts right: neither "cured" nor "fixed" ends the visit then."""
    warning, state = card(opened, 3).get_by_role("alert"), opened.locator('[data-state="3"]')
    step = card(opened, 3).locator("h3.next").text_content()
    until_cured(opened, 3)
    assert "not put right" in warning.text_content()
    assert card(opened, 3).locator("h3.next").text_content() == step
    tap(opened, 3, "End the visit here")
    tap(opened, 3, "fixed")
    assert warning.count() == 1
    assert state.text_content() == ""
    tap(opened, 3, "It is put right in another way: fixed")
    assert state.text_content() == "fixed"


def test_what_was_tapped_outlives_the_page_and_nothing_scrolls_sideways(opened, sheets):
    until_cured(opened, 0)
    shown = card(opened, 0).inner_text()
    opened.goto("about:blank")
    opened.goto(sheets.as_uri(), timeout=120_000)
    assert card(opened, 0).inner_text() == shown
    assert opened.locator('[data-state="0"]').text_content() == "fixed"
    assert opened.evaluate("document.documentElement.scrollWidth") <= 320


def test_a_thumb_hits_every_key(opened):
    for number in range(len(CALLS)):
        for key in card(opened, number).locator("button, a").all():
            box = key.bounding_box()
            assert box["height"] >= 44, key.text_content()


def test_where_the_page_ends_it_says_what_to_do_next(opened):
    """Odds so far, what to read out on the phone, and a look that needs no power."""
    blank = []
    for _ in range(20):
        if "Ask again from here" in card(opened, 0).inner_text():
            break
        step = card(opened, 0).locator("h3.next").text_content()
        odds = card(opened, 0).locator(".may-be").text_content()
        keys = card(opened, 0).locator("> .keys .key")
        labels = keys.all_text_contents()
        label = next(one for one in ("cannot tell", "not done", labels[0]) if one in labels)
        blank += [f"{step}: {label}"] if label != labels[0] else []
        keys.nth(labels.index(label)).click()
    shown = card(opened, 0).inner_text()
    assert "Ask again from here" in shown
    said = card(opened, 0).locator(".say").text_content()
    assert "vacuum cleaner" in said and "no suction" in said and blank and all(one in said for one in blank)
    assert card(opened, 0).locator(".may-be").text_content() == odds
    if "Meanwhile" in shown:
        assert not any(one.partition(":")[0] in shown.partition("Meanwhile")[2] for one in blank)
        assert "Power is on" not in shown.partition("Meanwhile")[2]


@pytest.mark.parametrize(
    ("number", "met", "says"),
    [
        (0, "smell of gas", "Smell of gas: touch no switch"),
        (0, "gives electric shock", "Do not energise"),
        (0, "smells of burning", "Smell of burning: do not switch it on"),
        (0, "water at the mains", "stay off the wet floor"),
        (0, "glass cracked", "broken glass"),
        (1, "refrigerant escapes", "Refrigerant may be escaping"),
        (2, "smell of gas", "Smell of gas: touch no switch"),
    ],
)
def test_a_danger_met_on_the_job_stops_the_plan_and_is_in_the_record(opened, number, met, says):
    tap(opened, number, "Danger met: stop")
    tap(opened, number, met)
    shown = card(opened, number).inner_text()
    assert says in shown and "No further step" in shown
    assert card(opened, number).locator("> .keys .key").count() == 0
    tap(opened, number, "fixed")
    assert "not put right: " + met in card(opened, number).get_by_role("alert").inner_text()
    tap(opened, number, "not fixed")
    (line,) = csv.DictReader(opened.locator("#take textarea").input_value().splitlines())
    assert f"told: {met}" in line["work_done"]
    assert line["outcome"] == "not fixed"
    tap(opened, number, "Undo")
    tap(opened, number, "Undo")
    assert "No further step" not in card(opened, number).inner_text()


def test_a_visit_begun_and_not_ended_is_told_and_not_in_the_file(opened):
    card(opened, 1).locator("> .keys .key").first.click()
    told = opened.locator("#take").inner_text()
    assert "0 of 4 calls ended" in told
    assert "not in the file: call 2" in told


def test_no_customer_is_on_the_page(sheets):
    assert "Nobody" not in sheets.read_text(encoding="utf-8")


def test_a_round_done_by_tapping_is_loaded_back_and_learned_from(opened, tmp_path):
    until_cured(opened, 0)
    really = card(opened, 0).get_by_label("What it really was")
    assert really.input_value() == ""
    really.select_option(index=1)
    card(opened, 0).get_by_label("Minutes on the job").fill("35")
    card(opened, 0).get_by_label("Minutes on the job").blur()
    tap(opened, 1, "End the visit here")
    tap(opened, 1, "no fault found")
    with opened.expect_download() as started:
        opened.get_by_role("link", name="Save as CSV").click()
    taken = tmp_path / "taken.csv"
    started.value.save_as(taken)
    assert taken.read_text(encoding="utf-8") == opened.locator("#take textarea").input_value()
    with taken.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert [line["job_no"] for line in lines] == ["J-1", "J-2"]
    assert lines[0]["cause"]
    with Workshop.open(empty_workshop(tmp_path / "new.duckdb")) as new:
        assert new.load([taken]).as_json()["totals"]["rejected"] == 0
        rows = new.database.connection.execute(
            "select visit_date, kind, cause, outcome, labour_minutes from visit order by job_no"
        ).fetchall()
        assert rows[0] == (dt.date(2026, 9, 1), "vacuum cleaner", lines[0]["cause"], "fixed", 35)
        assert rows[1][3] == "no fault found"
        later = [("visit_date", "appliance_kind", "job_no", "complaint", "outcome")]
        later += [("2026-11-20", "oven", "J-9", "not heating", "fixed")]
        with (tmp_path / "later.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(later)
        new.load([tmp_path / "later.csv"])  # the window in which the customer may call back is over
        learned = new.database.connection.execute("select kind, cause from cause_example").fetchall()
        assert ("vacuum cleaner", lines[0]["cause"]) in learned
