"""Ask and the visit step by step: the command's own answers, back button and reload safe, the finished job recorded."""

from __future__ import annotations

import csv
import html
import re

import pytest

from pipeline import Workshop
from pipeline.errors import DatabaseBusy
from tests.browser.conftest import Browser, served

CALL = {"kind": "w/m", "age": "6", "complaint": "stops before spin, zorbles loudly"}


def begun(browser, **call):
    response = browser.get("/visit", query_string=call or CALL)
    assert response.status_code == 303
    return response.location


def next_step(browser, at):
    return re.search(r'<h1 id="step">(.*?)</h1>', browser.get(at).text)[1]


def press(browser, at, key):
    if not browser.csrf:
        browser.get(at)
    response = browser.post(f"{at}press", {"key": key})
    assert response.status_code == 303
    return response.location


def test_the_answer_is_the_commands(browser, library):
    page = html.unescape(browser.get("/ask", query_string=CALL).text)
    with Workshop.open(library, read_only=True) as workshop:
        told = workshop.causes(**CALL).as_json()
    assert all(row["cause"] in page and f"{row['probability']:.0%}" in page for row in told["causes"])
    assert all(job in page for job in told["causes"][0]["jobs"])
    assert all(step["name"] in page for step in told["steps"])
    assert told["not_understood"] and all(f"<q>{text}</q>" in page for text in told["not_understood"])
    assert told["evidence"]["note"] in page


@pytest.mark.parametrize(
    ("kind", "complaint", "piece"),
    [
        ("electric oven", "not heating, light works", "light works"),
        ("electric oven", "not heating, grill works", "grill works"),
        ("w/m", "not spinning, we moved house saturday", "we moved house"),
        ("d/w", "leaks, after a power cut", "after a power cut"),
        ("t/d", "not heating, you fitted the element three weeks ago", "you fitted"),
        ("d/w", "not draining, maybe the sink is clear", "sink"),
    ],
)
def test_what_is_told_beside_the_complaint_is_shown_as_told(browser, kind, complaint, piece):
    response = browser.get("/ask", query_string={"kind": kind, "complaint": complaint})
    pieces = re.search(r'<ul class="pieces".*?</ul>', html.unescape(response.text), re.S)
    assert response.status_code == 200 and pieces
    (row,) = [row for row in pieces[0].split("<li") if piece in row and "is-told" in row]
    assert "<span>told: " in row


def test_every_step_has_its_cautions_inside_it(browser, library):
    page = html.unescape(browser.get("/ask", query_string=CALL).text)
    steps = re.search(r'<ol class="steps">(.*?)</ol>', page, re.S)[1].split('<p class="do">')[1:]
    with Workshop.open(library, read_only=True) as workshop:
        told = workshop.causes(**CALL).as_json()["steps"]
    assert len(steps) == len(told)
    for shown, step in zip(steps, told, strict=True):
        assert shown.startswith(step["name"])
        assert all(caution in shown for caution in step["cautions"])


def test_an_answer_moves_to_the_next_step_and_undo_to_the_one_before(browser):
    first = begun(browser)
    second = press(browser, first, "2")
    assert next_step(browser, second) != next_step(browser, first)
    assert next_step(browser, press(browser, second, "u")) == next_step(browser, first)


def test_back_and_reload_ask_the_same_again(browser):
    first = begun(browser)
    before = next_step(browser, first)
    press(browser, first, "1")
    assert next_step(browser, first) == before  # the address holds the visit; nothing on the server moved


def test_cannot_tell_offers_another_check(browser):
    first = begun(browser)
    assert next_step(browser, press(browser, first, "0")) != next_step(browser, first)


def test_something_else_seen_counts_or_is_explained(browser):
    first = begun(browser)
    browser.get(first)
    taken = browser.post(f"{first}press", {"seen": "water left=no"}).location
    assert "water left" in re.search(r'<ol class="done".*?</ol>', browser.get(taken).text, re.S)[0]
    assert "Taken as: water left" in browser.get(taken).text
    refused = browser.get(browser.post(f"{first}press", {"seen": "blorp"}).location).text
    assert 'role="alert"' in refused and "“blorp” was not understood" in html.unescape(refused)


def test_why_a_visit_cannot_end_as_fixed_is_told(browser):
    at = begun(browser)
    browser.get(at)
    at = browser.post(f"{at}press", {"seen": "wiring=burnt"}).location
    refused = browser.get(press(browser, at, "x 7")).text
    assert "It cannot end as fixed" in refused and "The visit ended" not in refused


@pytest.fixture(scope="module")
def cured(app):
    """Address of a visit that ended with a cure."""
    browser = Browser(app)
    at = begun(browser, kind="w/m", complaint="not draining")
    browser.get(at)
    at = browser.post(f"{at}press", {"seen": "filter=blocked"}).location
    for _ in range(5):  # what is seen blocked is cleared next
        at = press(browser, at, "1")
        if "The visit ended: fixed" in browser.get(at).text:
            return at
    raise AssertionError("clearing the blocked filter did not end the visit")


def test_a_finished_job_is_recorded_once_and_loaded(browser, library, cured):
    at = cured
    offered = re.search(r'<select id="cause".*?</select>', browser.get(at).text)[0]
    assert re.findall(r'value="([^"]*)"', offered)[:2] == ["", "blocked pump filter"] and "selected" not in offered
    for _ in range(2):  # pressed twice
        browser.get(at)
        shown = browser.post(
            f"{at}record", {"job_no": "J-<b>1", "cause": "blocked pump filter", "minutes": "45"}
        ).location
    page = browser.get(shown).text
    assert "is in the workshop" in page and "J-&lt;b&gt;1" in page
    with (library.parent / "workshop.visits.csv").open(encoding="utf-8", newline="") as file:
        (line,) = [line for line in csv.DictReader(file) if line["job_no"] == "J-<b>1"]
    with Workshop.open(library, read_only=True) as workshop:
        loaded = workshop.database.connection.execute(
            "select cause, outcome, labour_minutes from visit where job_no = 'J-<b>1'"
        ).fetchall()
    assert loaded == [("blocked pump filter", "fixed", 45)] and line["cause"] == "blocked pump filter"


def test_a_visit_ended_otherwise_says_what_it_was_and_what_was_ordered(browser, library):
    at = press(browser, begun(browser), "x 1")
    assert "The visit ended: part needed" in browser.get(at).text
    browser.post(f"{at}record", {"job_no": "J-2", "minutes": "half an hour"})
    assert "Nothing is recorded" in browser.get("/recorded?job=J-2").text
    browser.get(at)
    browser.post(
        f"{at}record", {"job_no": "J-2", "cause_own": "torn door seal", "ordered": "door seal", "minutes": "20"}
    )
    with (library.parent / "workshop.visits.csv").open(encoding="utf-8", newline="") as file:
        (line,) = [line for line in csv.DictReader(file) if line["job_no"] == "J-2"]
    assert line["cause"] == "torn door seal" and line["work_done"] == "ordered: door seal" and line["minutes"] == "20"


def test_an_unfinished_visit_is_not_recorded(browser):
    at = begun(browser)
    browser.get(at)
    assert browser.post(f"{at}record", {"job_no": "J-unfinished"}).status_code == 400
    assert "Nothing is recorded" in browser.get("/recorded?job=J-unfinished").text


def test_a_visit_outlives_the_server(browser, library):
    at = press(browser, begun(browser), "2")
    again = Browser(served(library))
    assert next_step(again, at) == next_step(browser, at)


def test_gas_is_referred_with_its_caution_and_no_step(browser):
    page = browser.get("/ask", query_string={"kind": "gas hob", "complaint": "will not light"}).text
    assert "licensed for gas" in page and 'class="odds"' not in page
    at = browser.get("/visit", query_string={"kind": "gas hob", "complaint": "will not light"}).location
    page = browser.get(at).text
    assert "licensed for gas" in page and 'name="key" value="1"' not in page and 'class="heed"' in page


@pytest.mark.parametrize("locale", ["en", "de"])
def test_every_page_answers_in_both_languages(browser, library, locale):
    settings = library.parent / "workshop.toml"
    settings.write_text(f'locale = "{locale}"\n')
    for path in ("/ask", "/ask?kind=w/m&complaint=leaks", begun(browser), "/recorded?job=none"):
        response = browser.get(path)
        assert response.status_code == 200 and f'<html lang="{locale}">' in response.text
    settings.unlink()


def test_a_held_database_is_told_and_asked_again(browser, library, monkeypatch):
    monkeypatch.setattr("pipeline.browser.library.WAITS", 0.0)

    def held(*_, **__):
        raise DatabaseBusy("Another program has held it.", "Let it finish.")

    monkeypatch.setattr(Workshop, "open", held)
    response = browser.get("/ask")
    assert response.status_code == 503
    assert "Let it finish." in response.text and 'http-equiv="refresh"' in response.text


def test_a_job_recorded_while_the_database_is_held_waits_in_its_file(browser, library, cured, monkeypatch):
    at = cured
    browser.get(at)
    opened = Workshop.open

    def held_to_writers(*given, read_only=False, **more):
        if not read_only:
            raise DatabaseBusy("Another program has held it.", "Let it finish.")
        return opened(*given, read_only=True, **more)

    monkeypatch.setattr(Workshop, "open", held_to_writers)
    shown = browser.post(f"{at}record", {"job_no": "J-9"}).location
    assert "not among the loaded records yet" in browser.get(shown).text
    assert "J-9" in (library.parent / "workshop.visits.csv").read_text(encoding="utf-8")
