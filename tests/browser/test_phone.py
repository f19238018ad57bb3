"""A technician's phone: in by a code used once, out at its end, and never on a page of the owner's."""

from __future__ import annotations

import re

import pytest

from pipeline.browser import phone
from pipeline.browser.guard import Guard
from pipeline.browser.phone import Door
from pipeline.browser.site import make_app, make_phone_app
from pipeline.errors import UsageError
from tests.browser.conftest import HOST, Browser

NEAR = "192.168.7.20:8751"
PHONE = "192.168.7.31"


@pytest.fixture(scope="module")
def apps(office):
    door = Door(f"http://{NEAR}/")
    owner = make_app(office, Guard(frozenset({HOST})), door)
    owner.extensions["library"].lingers = 0.0
    return owner, make_phone_app(owner, Guard(frozenset({NEAR}), is_lan=True), door), door


@pytest.fixture
def outside(apps):
    return Browser(apps[1], NEAR, PHONE)


@pytest.fixture
def inside(apps, outside):
    outside.get("/in")
    assert outside.post("/in", {"code": apps[2].code()}).location == "/today"
    outside.get("/today")
    return outside


def test_the_owner_sees_code_and_picture(apps):
    page = Browser(apps[0]).get("/phone").text
    code = apps[2].code()
    assert f"{code[:4]} {code[4:]}" in page and 'src="data:image/svg+xml' in page


def test_phones_are_shut_out_until_the_owner_lets_them_in(owner):
    app = owner.client.application
    let_in = []
    app.extensions["let_phones_in"] = lambda: let_in.append(app)
    assert "Phones cannot sign in" in owner.get("/phone").text and let_in == []
    assert owner.post("/phone").location == "/phone" and let_in == [app]


def test_without_a_session_every_page_leads_to_the_code(outside):
    for path in ("/", "/today", "/ask", "/visit", "/recorded"):
        response = outside.get(path)
        assert response.status_code == 303 and response.location == "/in", path


def test_no_route_of_the_owner_is_reached_from_a_phone(apps, inside):
    owner, near, _ = apps
    shared = {"style", "front"}
    own = [r for r in owner.url_map.iter_rules() if not r.endpoint.startswith("ask.") and r.endpoint not in shared]
    assert {r.endpoint.split(".")[0] for r in own} == {"records", "tomorrow", "month", "learned", "phone", "working"}
    assert not {r.endpoint for r in own} & {r.endpoint for r in near.url_map.iter_rules()}
    for rule in own:
        path = re.sub(r"<any\((\w+)[^>]*>", r"\1", rule.rule)
        path = re.sub(r"<int:\w+>", "1", re.sub(r"<\w+>", "xlsx", path))
        assert "<" not in path
        for variant in (path, f"{path}/", path.upper(), f"{path}?code=1"):
            for method in ("GET", "HEAD", "OPTIONS", "PUT", "DELETE"):
                assert inside.get(variant, method=method).status_code in (404, 405), (method, variant)
        assert inside.post(path, {"code": "x"}).status_code == 404, path


def test_a_phone_asks_and_goes_through_a_visit(inside):
    assert "torn door seal" in inside.get("/ask?kind=dishwasher&complaint=leaks").text
    at = inside.get("/visit?kind=dishwasher&complaint=leaks").location
    assert inside.get(at).status_code == 200
    assert inside.post(f"{at}press", {"key": "0"}).status_code == 303


def test_a_phone_sees_calls_but_not_whose_they_are(apps, inside):
    owner = Browser(apps[0])
    owner.get("/tomorrow")
    owner.post("/tomorrow", {"appliance_kind": "dishwasher", "complaint": "leaks <b>", "customer_ref": "Mrs Umber"})
    page = inside.get("/today").text
    assert "dishwasher" in page and "leaks &lt;b&gt;" in page and "Umber" not in page
    assert "Customers stand in workshop.calls.csv" in owner.get("/tomorrow").text


def test_a_code_lets_in_once(apps, inside):
    used = apps[2].code()
    other = Browser(apps[1], NEAR, PHONE)
    other.get("/in")
    other.post("/in", {"code": used})
    third = Browser(apps[1], NEAR, PHONE)
    third.get("/in")
    assert third.post("/in", {"code": used}).status_code == 400


def test_wrong_codes_make_the_code_void_and_shut_the_door_for_a_while(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(phone.time, "monotonic", lambda: now[0])
    door = Door("http://x/")
    code = door.code()
    wrong = str((int(code) + 1) % 10**8).zfill(8)
    for _ in range(phone.TRIES):
        with pytest.raises(UsageError, match="not valid"):
            door.let_in(wrong)
    with pytest.raises(UsageError, match="Too many"):
        door.let_in(code)
    now[0] += phone.LOCKED + 1
    with pytest.raises(UsageError, match="not valid"):
        door.let_in(code)
    assert door.knows(door.let_in(door.code()))


def test_code_and_session_end_by_themselves(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(phone.time, "monotonic", lambda: now[0])
    door = Door("http://x/")
    code = door.code()
    now[0] += phone.CODE_LASTS + 1
    with pytest.raises(UsageError):
        door.let_in(code)
    name = door.let_in(door.code())
    now[0] += phone.SESSION_LASTS + 1
    assert not door.knows(name)


def test_the_owner_and_the_phone_end_sessions(apps, inside):
    other = Browser(apps[1], NEAR, PHONE)
    other.get("/in")
    other.post("/in", {"code": apps[2].code()})
    other.get("/today")
    other.post("/out")
    assert other.get("/today").location == "/in" and inside.get("/today").status_code == 200
    owner = Browser(apps[0])
    owner.get("/phone")
    owner.post("/phone", {"do": "end"})
    assert inside.get("/today").location == "/in"


def test_the_owners_cookie_opens_nothing_on_the_phones_side(apps, outside):
    owner = Browser(apps[0])
    owner.get("/tomorrow")
    own, theirs = (app.config["SESSION_COOKIE_NAME"] for app in apps[:2])
    value = owner.client.get_cookie(own, domain="127.0.0.1")
    outside.client.set_cookie(theirs, value.value, domain="192.168.7.20")
    assert outside.get("/today").location == "/in"


@pytest.mark.parametrize("remote", ["8.8.8.8", "2001:4860:4860::8888"])
def test_who_is_not_in_the_network_is_refused(apps, remote):
    assert Browser(apps[1], NEAR, remote).get("/in").status_code == 403


def test_the_owners_side_refuses_the_network(apps):
    assert Browser(apps[0], HOST, PHONE).get("/records").status_code == 403
    assert Browser(apps[0], NEAR, "127.0.0.1").get("/records").status_code == 421
