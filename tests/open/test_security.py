"""What the pages refuse, each with a test of its own."""

from __future__ import annotations

import csv
import io
import re

import pytest

from pipeline import Workshop
from pipeline.load.layout import FIELDS
from pipeline.open.guard import Guard, Start
from pipeline.open.site import make_app
from tests.open.conftest import HOST, Browser, served, worked

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
    monkeypatch.setattr("pipeline.open.guard.LARGEST_UPLOAD", 1000)
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
