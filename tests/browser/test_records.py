"""Records: files in with their columns looked at, refused lines told, files out again, words decided."""

from __future__ import annotations

import html
import io
import re

import pytest

from pipeline import Workshop
from tests.browser.conftest import Browser, followed, served, worked
from tests.worlds import office_files


def send(browser, *files):
    browser.get("/records")
    sent = [(io.BytesIO(content), name) for name, content in files]
    return browser.post("/records", {"files": sent}, content_type="multipart/form-data")


def own_file(tmp_path):
    return office_files.write(tmp_path / "year.csv", is_own=True).read_bytes()


def choices(page):
    """Number and chosen field of every column of the page."""
    found = {}
    for label, number, options in re.findall(
        r'<label for="c\d+">(.*?)</label>.*?<select id="c(\d+)".*?>(.*?)</select>', page, re.S
    ):
        chosen = re.search(r'value="(\w+)" selected', options)
        found[html.unescape(re.sub(r"\s*<.*", "", label, flags=re.S))] = number, chosen[1] if chosen else ""
    return found


def test_a_file_of_known_columns_is_loaded_and_its_refused_line_told(empty, tmp_path):
    page = worked(empty, send(empty, ("year.csv", own_file(tmp_path))))
    assert "119 lines read: 118 loaded, 0 unchanged, 1 refused" in page
    assert not list((tmp_path / "workshop.incoming").iterdir())
    refused = html.unescape(empty.get("/records/refused/1").text)
    assert "<b>Line 120</b> Day of the visit" in refused and "is not a date" in refused


def test_unknown_columns_are_looked_at_before_anything_is_loaded_and_no_two_may_be_the_same(empty, tmp_path):
    page = worked(empty, send(empty, ("office.csv", office_files.write(tmp_path / "office.csv").read_bytes())))
    assert "Nothing was loaded yet" in page
    page = empty.get("/records/columns?file=office.csv").text
    found = choices(page)
    assert list(found) == list(office_files.OWN) and found["Brand"][1] == "make" and found["Unit"][1] == ""
    assert "<span>not draining</span><span>leaks</span><span>noisy spin</span>" in page
    assert "C-1" not in page  # customers are not shown
    form = {f"column-{number}": chosen for number, chosen in found.values()}
    response = empty.post("/records/columns", form | {f"column-{found['Unit'][0]}": "make", "file": "office.csv"})
    assert response.status_code == 400 and "cannot both be make" in response.text
    form |= {f"column-{found['Unit'][0]}": "serial", f"column-{found['Done'][0]}": "work_done", "file": "office.csv"}
    page = worked(empty, empty.post("/records/columns", form))
    assert "118 loaded" in page
    with Workshop.open(tmp_path / "workshop.duckdb", read_only=True) as workshop:
        assert workshop.table("appliance")["serial"].notna().sum() == 94


TWO_LINES = (
    "When,What is it,Job,Unit,Complaint,Part,Qty,Paid\n"
    + "".join(
        f"2025-03-{day:02},dishwasher,J{day},U{day},leaks,{part},1,{price}\n"
        for day in range(1, 13)
        for part, price in (("door seal", "12.00"), ("drain pump", "31.00"))
    )
).encode()


@pytest.mark.parametrize(("line_is", "visits"), [("part", 12), ("visit", 24)])
def test_what_a_line_is_can_be_chosen(empty, tmp_path, line_is, visits):
    worked(empty, send(empty, ("parts.csv", TWO_LINES)))
    page = empty.get("/records/columns?file=parts.csv").text
    assert re.findall(r'name="line_is" value="(\w+)"( checked)?', page) == [("visit", ""), ("part", " checked")]
    form = {f"column-{number}": chosen for number, chosen in choices(page).values()} | {"file": "parts.csv"}
    assert "24 loaded" in worked(empty, empty.post("/records/columns", form | {"line_is": line_is}))
    with Workshop.open(tmp_path / "workshop.duckdb", read_only=True) as workshop:
        assert len(workshop.table("visit")) == visits


def test_another_reading_of_a_file_takes_no_place_unasked(empty, tmp_path):
    worked(empty, send(empty, ("parts.csv", TWO_LINES)))
    page = empty.get("/records/columns?file=parts.csv").text
    (tmp_path / "by hand.csv").write_bytes(TWO_LINES)
    with Workshop.open(tmp_path / "workshop.duckdb") as workshop:
        workshop.load([tmp_path / "by hand.csv"], accept_guess=True)
    form = {f"column-{number}": chosen for number, chosen in choices(page).values()} | {"file": "parts.csv"}
    page = html.unescape(worked(empty, empty.post("/records/columns", form | {"line_is": "visit"})))
    assert "with other columns (24 lines). Put this reading in its place?" in page
    with Workshop.open(tmp_path / "workshop.duckdb", read_only=True) as workshop:
        assert len(workshop.table("visit")) == 12
    assert "24 loaded" in worked(empty, empty.post("/records/waiting", {"file": "parts.csv", "do": "replace"}))
    with Workshop.open(tmp_path / "workshop.duckdb", read_only=True) as workshop:
        assert len(workshop.table("visit")) == 24


def test_a_file_taken_out_can_be_brought_back(owner):
    owner.get("/records")
    assert "118 visits before, 0 now" in worked(owner, owner.post("/records/take-back", {"batch": "1"}))
    assert "0 visits before, 118 now" in worked(owner, owner.post("/records/take-back", {}))


def test_what_cannot_be_read_says_why_and_stays_and_can_be_thrown_away_by_the_next_server(empty, tmp_path):
    page = html.unescape(worked(empty, send(empty, ("notes.xlsx", b"no spreadsheet"))))
    assert "notes.xlsx" in page and "Files waiting" in page and "has taken its place" not in page
    page = worked(empty, send(empty, ("notes.xlsx", b"no spreadsheet either")))
    assert "A file named notes.xlsx waited here; the one sent now has taken its place." in page
    again = Browser(served(tmp_path / "workshop.duckdb"))
    assert "Read it again" in again.get("/records").text
    again.post("/records/waiting", {"file": "notes.xlsx", "do": "remove"})
    assert "notes.xlsx" not in again.get("/records").text


@pytest.mark.parametrize("name", ["../workshop.key", "{}/outside.csv", "..\\x.csv", ".toml"])
def test_a_file_never_lands_or_is_named_outside_its_folder(empty, tmp_path, name):
    name, key = (
        name.format(tmp_path),
        (tmp_path / "workshop.key").read_bytes(),
    )  # no name leads out of the test's folder
    send(empty, (name, b"visit_date,appliance_kind,job_no\n2025-01-01,dishwasher,J1\n"))
    kept = tmp_path / "workshop.incoming"
    assert {path.parent for path in tmp_path.rglob("*") if path.is_file()} <= {tmp_path, kept}
    assert not (tmp_path / "outside.csv").exists() and not list(tmp_path.glob("*x.csv"))
    assert empty.post("/records/waiting", {"file": name, "do": "remove"}).status_code in (303, 400)
    assert (tmp_path / "workshop.key").read_bytes() == key


def test_a_word_is_decided_by_clicking_and_undone(empty, tmp_path):
    line = "visit_date,appliance_kind,job_no,complaint,outcome\n2025-01-{:02},dishwasher,J{},zorbled,fixed\n"
    lines = line.format(1, 1) + "".join(line.format(day, day).split("\n")[1] + "\n" for day in range(2, 6))
    worked(empty, send(empty, ("few.csv", lines.encode())))
    page = worked(empty, empty.post("/records/words/look"))
    assert "zorbled" in page
    decided = {"list": "complaint", "written": "zorbled", "suggestion": "", "decision": "", "own": "leaks"}
    page = worked(empty, empty.post("/records/words", decided))
    assert "<q>zorbled</q> = leaks" in page
    with Workshop.open(tmp_path / "workshop.duckdb", read_only=True) as workshop:
        assert set(workshop.table("visit_symptom")["symptom"]) == {"leaks"}
    number = re.search(r'name="correction_id" value="(\d+)"', page)[1]
    assert "<q>zorbled</q>" not in worked(empty, empty.post("/records/words/undo", {"correction_id": number}))


def test_a_question_beside_a_load_is_answered_or_told_to_wait(empty, tmp_path):
    send(empty, ("year.csv", own_file(tmp_path)))
    response = empty.get("/ask?kind=dishwasher&complaint=leaks")
    assert response.status_code == 200 or (response.status_code == 503 and 'http-equiv="refresh"' in response.text)
    assert "118 loaded" in followed(empty)
