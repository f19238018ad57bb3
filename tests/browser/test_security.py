"""What the pages refuse, each with a test of its own."""

from __future__ import annotations

import contextlib
import csv
import io
import re
import threading
from concurrent.futures import ThreadPoolExecutor

import flask
import pytest

from pipeline import Workshop
from pipeline.browser import ask, tomorrow
from pipeline.browser.guard import Guard, Start
from pipeline.browser.site import make_app
from pipeline.load.layout import FIELDS
from tests.browser.conftest import HOST, Browser, served, worked

CALL = {"kind": "w/m", "complaint": "leaks"}


def start(browser):
    at = browser.get("/visit", query_string=CALL).location
    browser.get(at)
    return at


def test_another_host_name_is_refused(browser):
    browser.host = "evil.example:8750"
    assert browser.get("/ask").status_code == 421


def test_another_port_is_refused(browser):
    browser.host = "127.0.0.1:80"
    assert browser.get("/ask").status_code == 421


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8750@evil.example", "127.0.0.1:08750", "127.0.0.1.:8750", "[::1]:8750", ""]
)
def test_a_host_written_to_deceive_is_refused(browser, host):
    response = browser.client.get("/ask", headers={"Host": host}, environ_base={"REMOTE_ADDR": "127.0.0.1"})
    assert response.status_code in (400, 421)


def test_pages_of_two_workshops_do_not_know_each_others_sessions(browser, empty):
    at = start(browser)
    empty.get("/records")
    assert browser.post(f"{at}press", {"key": "1", "csrf": empty.csrf}).status_code == 400
    names = [one.client.application.config["SESSION_COOKIE_NAME"] for one in (browser, empty)]
    assert names[0] != names[1]  # a browser sends a cookie to every port of a machine
    both = Browser(empty.client.application)
    both.client.set_cookie(names[1], browser.client.get_cookie(names[0], domain="127.0.0.1").value, domain="127.0.0.1")
    both.get("/records")
    assert both.post("/tomorrow", {"appliance_kind": "w/m", "csrf": browser.csrf}).status_code == 400


@pytest.mark.parametrize("given", ["²", "9" * 5000, "-1", "1e3", "٣"])
def test_a_number_written_to_deceive_is_a_fault_that_is_told(browser, given):
    start(browser)
    for path, name in (("/records/take-back", "batch"), ("/tomorrow/order", "at"), ("/month/advice", "advice_id")):
        assert browser.post(path, {name: given}).status_code == 400, path


def test_a_list_of_ten_thousand_calls_is_refused_with_a_reason(browser):
    browser.get("/tomorrow")
    pasted = "job_no,appliance_kind,complaint\n" + "\n".join(f"J{n},dishwasher,leaks" for n in range(10_000))
    response = browser.post("/tomorrow", {"pasted": pasted})
    assert response.status_code == 400 and "at most" in response.text
    assert "10000" not in browser.get("/tomorrow").text


@pytest.fixture
def slow_files(monkeypatch):
    """Whoever has looked at a file of the pages' own, to write it, waits until another has, too; not for ever."""
    meeting = threading.Barrier(2)

    def wait():
        with contextlib.suppress(threading.BrokenBarrierError):
            meeting.wait(2.0)

    def late_calls(place, was=tomorrow.calls):
        found = was(place)
        if flask.request.method == "POST":
            wait()
        return found

    def late_record(*given, was=ask.append_record):
        wait()
        return was(*given)

    monkeypatch.setattr(tomorrow, "calls", late_calls)
    monkeypatch.setattr(ask, "append_record", late_record)


def at_once(*todo):
    with ThreadPoolExecutor() as pool:
        return [one.result() for one in [pool.submit(do) for do in todo]]


def test_two_browsers_that_write_at_once_lose_nothing(empty, slow_files):
    other = Browser(empty.client.application)
    for one in (empty, other):
        one.get("/tomorrow")
    call = {"appliance_kind": "dishwasher"}
    at_once(
        *(lambda one=one, n=n: one.post("/tomorrow", call | {"job_no": n}) for one, n in ((empty, "J1"), (other, "J2")))
    )
    page = empty.get("/tomorrow").text
    assert "J1" in page and "J2" in page


def test_a_job_recorded_twice_at_once_is_kept_once(browser, slow_files):
    at = browser.get("/visit", query_string={"kind": "gas hob", "complaint": "gas smell"}).location
    browser.get(at)
    at_once(*(lambda: browser.post(f"{at}record", {"job_no": "G-1"}) for _ in range(2)))
    assert browser.get("/recorded", query_string={"job": "G-1"}).text.count("<dl") == 1


def test_another_user_of_this_machine_is_not_let_in(library):
    start = Start()
    app = make_app(library, Guard(frozenset({HOST}), start=start))
    app.extensions["library"].lingers = 0.0
    stranger, owner = Browser(app), Browser(app)
    for path in ("/", "/ask", "/records", "/month", "/ask?start=", f"/ask?start={start.typed[:-1]}"):
        refused = stranger.get(path)
        assert refused.status_code == 400 and "has not been let in" in refused.text, path
    assert stranger.post("/records/words/look").status_code == 400
    begun = owner.get(f"/?start={start.typed}")
    assert begun.location == "/" and "SameSite=Strict" in begun.headers["Set-Cookie"]
    assert owner.get("/ask").status_code == 200


def test_the_address_that_others_may_see_lets_in_once(library):
    start = Start()
    app = make_app(library, Guard(frozenset({HOST}), start=start))
    seen = start.opened
    assert Browser(app).get(f"/?start={seen}").status_code == 303
    assert Browser(app).get(f"/?start={seen}").status_code == 400


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8750", "http://127.0.0.1:1"])
def test_a_form_of_another_origin_is_refused(browser, origin):
    at = start(browser)
    assert browser.post(f"{at}press", {"key": "1"}, headers={"Origin": origin}).status_code == 403


def test_a_form_without_an_origin_is_refused(browser):
    at = start(browser)
    response = browser.client.post(f"{at}press", data={"csrf": browser.csrf, "key": "1"}, base_url=f"http://{HOST}")
    assert response.status_code == 403


@pytest.mark.parametrize("proof", ["", "x" * 32])
def test_a_form_without_its_proof_is_refused(browser, proof):
    at = start(browser)
    assert browser.post(f"{at}press", {"key": "1", "csrf": proof}).status_code == 400


def test_the_proof_of_another_session_is_refused(browser):
    at = start(browser)
    other = Browser(browser.client.application)
    other.get(at)
    assert browser.post(f"{at}press", {"key": "1", "csrf": other.csrf}).status_code == 400


def test_another_machine_is_refused(browser):
    browser.remote = "192.168.1.20"
    assert browser.get("/ask").status_code == 403


def test_the_cookie_is_strict_and_out_of_scripts_reach(browser):
    at = browser.get("/visit", query_string=CALL).location
    cookie = browser.get(at).headers["Set-Cookie"]
    assert "SameSite=Strict" in cookie and "HttpOnly" in cookie


@pytest.mark.parametrize("path", ["/ask", "/ask?kind=w/m&complaint=leaks", "/style.css", "/no-such-page"])
def test_every_answer_forbids_what_is_foreign(browser, path):
    headers = browser.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'" and policy["frame-ancestors"] == "'none'"
    assert "script-src" not in policy and "unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff" and headers["Cache-Control"] == "no-store"


def test_no_page_holds_a_script_or_a_style_of_its_own(browser):
    page = browser.get("/ask", query_string=CALL).text
    assert not re.search(r"<script|<style|\son\w+=|style=", page)


def test_a_form_that_is_too_large_is_refused(browser):
    at = start(browser)
    assert browser.post(f"{at}press", {"key": "1", "seen": "x" * 400_000}).status_code == 413


def test_files_that_are_too_large_are_refused(browser, monkeypatch):
    monkeypatch.setattr("pipeline.browser.guard.LARGEST_UPLOAD", 1000)
    browser.get("/records")
    sent = {"files": (io.BytesIO(b"x" * 2000), "jobs.csv")}
    assert browser.post("/records", sent, content_type="multipart/form-data").status_code == 413


@pytest.mark.parametrize(
    "path", ["/../workshop.key", "/%2e%2e/workshop.key", "/workshop.key", "/style.css/../x", "/static/x"]
)
def test_nothing_is_served_by_a_path_that_a_request_names(browser, path):
    assert browser.get(path).status_code == 404


@pytest.mark.parametrize("method", ["put", "delete", "patch", "options", "trace"])
def test_other_methods_are_refused(browser, method):
    response = getattr(browser.client, method)("/ask", base_url=f"http://{HOST}")
    assert response.status_code in (403, 404, 405)


def test_a_visit_that_was_changed_on_its_way_is_refused(browser):
    at = start(browser)
    assert browser.get(at[:-3] + "xx/").status_code == 400


def test_a_text_that_is_too_long_is_refused(browser):
    assert browser.get("/ask", query_string={"kind": "w/m", "complaint": "x" * 1001}).status_code == 400


def test_a_fault_of_ours_shows_no_trace(browser, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("secret")

    monkeypatch.setattr(Workshop, "open", broken)
    page = browser.get("/ask")
    assert page.status_code == 500
    assert "secret" not in page.text and "Traceback" not in page.text


HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'>{{7*7}}\x1b[2J\u202e"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """Pages over records that hold markup in every column that takes text; a file and a call of the same sort wait."""
    folder = tmp_path_factory.mktemp("hostile")
    with (folder / "hostile.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, FIELDS, restval="")
        writer.writeheader()
        for number in range(12):
            told = {"visit_date": f"2025-01-{number + 1:02}", "appliance_kind": "washing machine", "age": "3"}
            told |= {"job_no": f"{HOSTILE}{number}", "serial": "SN-77", "outcome": "fixed", "callback_of": ""}
            told |= {"minutes": "30", "labour_charge": "60", "parts_cost": "20", "parts": f"{HOSTILE} x1 @ 20"}
            writer.writerow(dict.fromkeys(FIELDS, HOSTILE) | told | {"complaint": f"leaks {HOSTILE}"})
        writer.writerow(dict.fromkeys(FIELDS, HOSTILE))
    with Workshop.open(folder / "workshop.duckdb") as workshop:
        assert workshop.load([folder / "hostile.csv"]).totals["loaded"] == 12
    browser = Browser(served(folder / "workshop.duckdb"))
    browser.get("/tomorrow")
    browser.post(
        "/tomorrow", dict.fromkeys(("complaint", "make", "model", "job_no"), HOSTILE) | {"appliance_kind": "w/m"}
    )
    unknown = f'"{HOSTILE.replace(chr(34), chr(34) * 2)}",b\n"{HOSTILE.replace(chr(34), chr(34) * 2)}",1\n'.encode()
    browser.get("/records")
    worked(
        browser,
        browser.post("/records", {"files": (io.BytesIO(unknown), "new.csv")}, content_type="multipart/form-data"),
    )
    return browser


ASKED = dict.fromkeys(("make", "model", "code"), HOSTILE) | {
    "kind": "w/m",
    "complaint": f"leaks {HOSTILE}",
    "serial": "SN-77",
}


@pytest.mark.parametrize(
    ("path", "asked", "says"),
    [
        ("/ask", ASKED, "12 earlier visits"),
        ("/visit", ASKED, 'class="heed"'),
        ("/recorded", {"job": HOSTILE}, "Nothing is recorded"),
        ("/records", {}, "1 line refused"),
        ("/records/refused/1", {}, "is not a date"),
        ("/records/columns", {"file": "new.csv"}, "what each column holds"),
        ("/records/words", {}, "Look again"),
        ("/tomorrow", {}, "1 call"),
        ("/month", {"technician": HOSTILE}, ""),
        ("/month", {"month": "2025-01"}, "January 2025"),
        ("/learned", {}, "12 visits"),
    ],
)
def test_text_from_records_cannot_act_on_any_page(hostile, path, asked, says):
    if path == "/records/words":
        hostile.get(path)
        worked(hostile, hostile.post("/records/words/look"))
    page = hostile.get(path, query_string=asked, follow_redirects=True)
    assert says in page.text
    assert "<script" not in page.text and "<img" not in page.text and ">49<" not in page.text
    assert "\x1b" not in page.text and "\u202e" not in page.text
    if path not in (
        "/records",
        "/records/refused/1",
        "/records/words",
        "/learned",
        "/month",
    ):  # told masked, or not at all
        assert "&lt;script&gt;" in page.text
