"""Text from records is hostile: it shows as text on the page, in its charts, its lists and the workbook."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest
from python_calamine import CalamineWorkbook

import sql
from pipeline.month.month import MonthReport, month_report
from pipeline.settings import Settings
from reports.render.chart_code import chart_code
from reports.render.page import data_block, environment, plain_frame, render
from reports.render.pdf import find_browser
from reports.render.plain_text import plain
from tests.worlds.report_workshop import made_workshop

MARKUP = "<script>window.caught = 1</script><img src=x onerror='window.caught=2'>"
NASTY = [
    MARKUP,
    "</script><script>window.caught = 3</script>",
    "=cmd|'/c calc'!A1",
    "@SUM(1+1)",
    "'; drop table visit; --",
    "{{ 7 * 7 }}{% include 'x' %}{n}{0}",
    "\u202eevil\u202c \u2066\x1b[31mred\x00\x07",
    "W" * 10_000,
    "javascript:window.caught=4",
    '" onfocus="window.caught=5" autofocus="',
    "../../../etc/passwd",
    "constructor",
    "__proto__",
]


@pytest.fixture(scope="module")
def workshop() -> duckdb.DuckDBPyConnection:
    """A workshop in which every column of text holds one of the nasty texts."""
    connection = made_workshop(1500)
    listed = ", ".join(f"$t{number}" for number in range(len(NASTY)))
    values = {f"t{number}": text for number, text in enumerate(NASTY)}

    def some(column: str) -> str:
        return f"list_extract([{listed}], cast(1 + hash({column}) % {len(NASTY)} as bigint))"

    for column in ("kind", "make", "model", "technician", "complaint", "cause", "cause_text", "findings_text"):
        connection.execute(
            f"update stage_visit set {column} = {some(column)} "
            f"where {column} is not null and hash(visit_id, '{column}') % 3 > 0",
            values,
        )
    connection.execute(f"update stage_visit set job_no = {some('job_no')} || visit_id where visit_id % 5 = 0", values)
    connection.execute(f"update stage_symptom set symptom = {some('symptom')} where visit_id % 3 = 0", values)
    connection.execute(f"update stage_part set part = {some('part')} where visit_id % 3 = 0", values)
    connection.execute(f"update stage_finding set value = {some('finding')} where visit_id % 3 = 0", values)
    sql.rebuild(connection)
    return connection


@pytest.fixture(scope="module")
def report(workshop: duckdb.DuckDBPyConnection, tmp_path_factory: pytest.TempPathFactory) -> MonthReport:
    folder = tmp_path_factory.mktemp("hostile")
    return month_report(
        SimpleNamespace(connection=workshop, path=None),
        Settings(),
        "2026-08",
        out=folder / "report.html",
        xlsx=folder / "report.xlsx",
        png=folder / "png",
    )


def test_records_reach_the_page_but_never_as_markup(report: MonthReport) -> None:
    assert "&lt;script&gt;window.caught" in report.html or "\\u003cscript\\u003ewindow.caught" in report.html
    assert "<script>window.caught" not in report.html
    assert "<img src=x" not in report.html
    assert 'onfocus="window.caught' not in report.html


def test_no_character_that_acts_is_left(report: MonthReport) -> None:
    html = report.html.replace(chart_code(), "")
    for character in ("\x00", "\x07", "\x1b", "\u202e", "\u2066", "\x1f"):
        assert character not in html
        assert f"\\u{ord(character):04x}" not in html
    assert "W" * 400 not in html
    json.dumps(report.as_json(), allow_nan=False)


def test_workbook_holds_text_and_no_formula(report: MonthReport) -> None:
    import zipfile

    with zipfile.ZipFile(report.files[1]) as packed:
        sheets = [packed.read(name).decode() for name in packed.namelist() if name.startswith("xl/worksheets/")]
    assert sheets and not any("<f>" in text or "<hyperlink" in text for text in sheets)
    book = CalamineWorkbook.from_path(str(report.files[1]))
    cells = {
        cell
        for name in book.sheet_names
        for row in book.get_sheet_by_name(name).to_python()
        for cell in row
        if isinstance(cell, str)
    }
    assert any("cmd|" in cell or "<script>" in cell or "SUM(1+1)" in cell for cell in cells)


def test_every_chart_is_drawn_as_png(report: MonthReport) -> None:
    drawn = [path for path in report.files if path.suffix == ".png"]
    assert len(drawn) == len(report.pictures)
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in drawn)


@pytest.mark.skipif(find_browser() is None, reason="there is no Chromium on this machine")
def test_page_runs_nothing_of_the_records_and_keeps_its_width(report: MonthReport) -> None:
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path=find_browser(), args=["--headless", "--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 360, "height": 900})
        seen: list[str] = []
        page.on("console", lambda message: seen.append(message.text))
        page.on("pageerror", lambda error: seen.append(str(error)))
        page.on("dialog", lambda dialog: seen.append("dialog"))
        page.goto(report.path.as_uri())
        page.wait_for_selector("html[data-drawn]", state="attached", timeout=30_000)
        page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        page.locator("[data-measure=first_time_fix] button").click()
        assert "W" * 70 in page.locator("dialog").inner_text()
        assert page.evaluate("document.querySelectorAll('dialog script, dialog img, main img').length") == 0
        for width in (360, 1280):
            page.set_viewport_size({"width": width, "height": 900})
            for part in ("html", "dialog"):
                assert page.evaluate(
                    f"(part => part.scrollWidth <= part.clientWidth)(document.querySelector('{part}'))"
                )
        page.keyboard.press("Escape")
        for plot in page.locator("[data-plot]").all():
            plot.focus()
            page.keyboard.press("ArrowRight")
        assert page.evaluate("window.caught === undefined")
        assert seen == []
        browser.close()


def test_plain_text_keeps_words_and_drops_what_acts() -> None:
    assert plain("Spülmaschine – 4 Türen") == "Spülmaschine – 4 Türen"
    assert plain("a\u202eb\x1bc\x85") == "a\ufffdb\ufffdc\ufffd"
    assert plain(None) == plain(float("nan")) == ""
    assert len(plain("x" * 10_000)) == 300 and plain("x" * 10_000).endswith("…")


def test_plain_frame_changes_text_columns_alone() -> None:
    import pandas as pd

    frame = pd.DataFrame({"text": ["\x07a", None], "number": [1.5, 2.0]})
    made = plain_frame(frame)
    assert made["text"].iloc[0] == "\ufffda" and pd.isna(made["text"].iloc[1])
    assert list(made["number"]) == [1.5, 2.0] and frame["text"].iloc[0] == "\x07a"


def test_data_block_cannot_end_its_script() -> None:
    block = str(data_block({"a": "</script><!--", "b": "\u2028&"}))
    assert "<" not in block and "&" not in block and "\u2028" not in block
    assert json.loads(block) == {"a": "</script><!--", "b": "\u2028&"}


def test_template_escapes_every_value() -> None:
    made = environment().from_string("<p title='{{ text }}'>{{ text }}</p>").render(text=MARKUP + "'\x1b")
    assert "<script>" not in made and "\x1b" not in made and made.count("'") == 2
    assert "<title>&lt;b&gt;</title>" in render("base.html", title="<b>")


def test_page_without_charts_carries_no_chart_code() -> None:
    assert len(render("base.html", title="Small")) < 40_000


def test_files_go_only_where_they_were_asked_to(report: MonthReport, tmp_path: Path) -> None:
    folder = report.path.parent
    assert all(path.resolve().is_relative_to(folder.resolve()) for path in report.files)
    assert list(tmp_path.iterdir()) == []
