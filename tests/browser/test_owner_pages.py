"""Tomorrow, the month and the models as the owner's browser shows them: what the commands say, and changed by clicking."""

from __future__ import annotations

import html
import io
import re

import pytest

from pipeline import Workshop
from tests.browser.conftest import worked


def order(page):
    return re.findall(r'<span class="note">(T\d)</span>', page)


def test_calls_are_typed_pasted_and_sent_and_moved_by_hand(owner):
    owner.get("/tomorrow")
    owner.post("/tomorrow", {"appliance_kind": "dishwasher", "complaint": "leaks", "job_no": "T1"})
    owner.post("/tomorrow", {"pasted": "job_no,appliance_kind,complaint\nT2,washing machine,not draining"})
    sent = (io.BytesIO(b"job_no,appliance_kind,complaint\nT3,fridge,not cold\n"), "calls.csv")
    owner.post("/tomorrow", {"file": sent}, content_type="multipart/form-data")
    page = owner.get("/tomorrow").text
    assert order(page) == ["T1", "T2", "T3"]
    mark = re.findall(r'name="was" value="(T3[^"]*)"', page)[0]
    owner.post("/tomorrow/order", {"at": "2", "was": mark, "do": "up"})
    assert order(owner.get("/tomorrow").text) == ["T1", "T3", "T2"]
    assert owner.post("/tomorrow/order", {"at": "2", "was": mark, "do": "up"}).status_code == 400
    sheets = owner.get("/tomorrow/sheets")
    assert re.findall(r"T[123]", sheets.text)[:3] and "script-src 'sha256-" in sheets.headers["Content-Security-Policy"]
    owner.post("/tomorrow/order", {"at": "1", "was": mark, "do": "remove"})
    assert order(owner.get("/tomorrow").text) == ["T1", "T2"]
    owner.post("/tomorrow/order", {"do": "clear"})
    assert "No calls yet" in owner.get("/tomorrow").text


def test_who_has_a_danger_is_rung_first_and_stands_above_the_list(empty):
    empty.get("/tomorrow")
    for call in (
        {"appliance_kind": "washing machine", "complaint": "not draining"},
        {"appliance_kind": "gas hob", "complaint": "front burner wont stay lit, faint smell of gas"},
        {"appliance_kind": "gas hob", "complaint": "will not light"},
    ):
        empty.post("/tomorrow", call)
    page = html.unescape(empty.get("/tomorrow").text)
    above = page[page.index("3 calls") : page.index('<ol class="lines calls">')]
    assert "Ring these customers first" in above and "touch no switch or plug" in above
    assert above.count("<b>") == 1 and "<b>2. gas hob" in above


def test_a_typed_call_is_read_as_a_pasted_one_and_a_kind_no_list_knows_is_marked(owner):
    owner.get("/tomorrow")
    for complaint, kind in (("leaks, ring 07700 900123", "dishwasher"), ("will not fly", "spaceship")):
        owner.post("/tomorrow", {"appliance_kind": kind, "complaint": complaint})
    page = owner.get("/tomorrow").text
    assert "leaks" in page and "900123" not in page
    assert page.count("No list knows this kind of appliance.") == 1
    owner.post("/tomorrow/order", {"do": "clear"})


def test_a_list_without_kinds_is_refused_with_its_remedy(owner):
    owner.get("/tomorrow")
    response = owner.post("/tomorrow", {"pasted": "a,b\n1,2"})
    assert response.status_code == 400 and "kind of appliance" in response.text


def test_the_month_is_the_commands(owner, office):
    page = html.unescape(owner.get("/month?month=2025-09").text)
    with Workshop.open(office, read_only=True) as workshop:
        advice = workshop.advice()["rows"]
    assert advice and all(row["says"] in page for row in advice)
    whole = owner.get("/month/report?month=2025-09")
    assert re.search(r'<h1 id="said">(In September 2025.*?)</h1>', page)[1] in html.unescape(whole.text)
    assert "'unsafe" not in whole.headers["Content-Security-Policy"]
    assert "dishwasher" in owner.get("/month?kind=dishwasher").text
    assert owner.get("/month?month=2031-01").status_code == 400


def test_the_months_workbook_comes_as_a_file(owner):
    response = owner.get("/month/report.xlsx?month=2025-09")
    assert response.data[:2] == b"PK" and "report-2025-09.xlsx" in response.headers["Content-Disposition"]
    assert owner.get("/month/report.key").status_code == 404


def test_advice_is_taken_up_by_one_click_and_taken_back(owner, office):
    page = owner.get("/month").text
    says = html.unescape(re.search(r'name="says" value="([^"]+)"', page)[1])
    assert owner.post("/month/advice", {"number": "1", "says": "something else"}).status_code == 400
    assert owner.post("/month/advice", {"number": "1", "says": says}).status_code == 303
    page = owner.get("/month").text
    assert "Taken up" in page and "Not the cause: " in page
    with Workshop.open(office, read_only=True) as workshop:
        (taken,) = workshop.advice()["adopted"]
    owner.post("/month/advice", {"advice_id": str(taken["advice_id"])})
    assert "Taken up" not in owner.get("/month").text


def test_a_model_is_trained_compared_and_gone_back_from(owner):
    owner.get("/learned")
    begun = owner.post("/learned/train")
    answer = owner.get("/ask?kind=dishwasher&complaint=leaks")  # beside the training
    assert answer.status_code == 200 and "torn door seal" in answer.text
    assert "Model 0001 is in use" in worked(owner, begun)
    page = worked(owner, owner.post("/learned/train"))
    assert "Model 0002" in page and "this model" in page and "Both models on the same jobs" in page
    owner.post("/learned/use", {"model": "0001"})
    assert "Model 0001 is in use" in owner.get("/learned").text
    assert owner.post("/learned/use", {"model": "../x"}).status_code == 400


def test_what_has_changed_is_asked(owner):
    owner.get("/learned")
    assert "All that must hold of the tables holds." in worked(owner, owner.post("/learned/check"))


def test_work_that_fails_says_what_to_do(empty):
    empty.get("/learned")
    page = worked(empty, empty.post("/learned/train"))
    assert "are needed to learn from" in page and 'role="alert"' in page


@pytest.mark.parametrize("locale", ["en", "de"])
def test_every_page_of_the_owner_is_there_in_both_languages(owner, office, locale):
    settings = office.parent / "workshop.toml"
    settings.write_text(f'locale = "{locale}"\n')
    for path in ("/records", "/records/words", "/tomorrow", "/month", "/learned", "/phone"):
        response = owner.get(path)
        assert response.status_code == 200 and f'<html lang="{locale}">' in response.text, path
    settings.unlink()
