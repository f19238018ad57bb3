"""The owner's first hour and the technician's visit in a real browser; whatever is pressed can be pressed at every width."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from reports.render.pdf import find_browser
from tests.browser.conftest import running
from tests.worlds import office_files

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
BROWSER = find_browser()
pytestmark = pytest.mark.skipif(BROWSER is None, reason="there is no Chromium on this machine")
QUIET = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
AXE = Path(os.environ.get("PRIORJOBS_AXE", "node_modules/axe-core/axe.min.js"))
DESK, PHONE, NARROW = 1280, 390, 320
LONG = 180_000  # milliseconds: the machine may be busy


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=BROWSER, args=QUIET)
        yield opened
        opened.close()


def assert_fits(page: Any, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), page.url


def press(page: Any, role: str, name: str | re.Pattern[str]) -> None:
    """Press what could be pressed on a phone as well as on a desk."""
    wanted = page.get_by_role(role, name=name).first
    wanted.wait_for()
    for width in (PHONE, DESK):
        assert_fits(page, width)
        wanted.click(trial=True)
    wanted.click()


@pytest.fixture(scope="module")
def tab(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, str, list[str]]]:
    """A page that was let in, the address of the pages, and what they say on the console that they should not.

    One server for all, on a folder that was empty: the owner sent his first file and corrected how its columns were read.
    """
    folder = tmp_path_factory.mktemp("browser")
    with running(folder / "workshop.duckdb") as (start, _):
        page = chromium.new_page()
        page.set_default_timeout(LONG)
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(start)
        address = start.partition("/?")[0]
        page.goto(f"{address}/records")
        page.set_input_files("#files", office_files.write(folder / "office.csv"))
        press(page, "button", "Read the files")
        press(page, "link", "Look at its columns")
        page.get_by_label(re.compile("^Unit")).select_option("serial")
        page.get_by_label(re.compile("^Done")).select_option("work_done")
        press(page, "button", "Load it like this")
        page.get_by_text("118 loaded").wait_for()
        yield page, address, said
        page.close()


def test_the_owners_first_hour(tab: tuple[Any, str, list[str]]) -> None:
    page, address, said = tab
    page.goto(f"{address}/records")
    assert page.get_by_text("118 visits").count() == 1
    press(page, "link", "How good is it")
    press(page, "button", "Learn from all cured jobs")
    page.get_by_role("heading", name="Model 0001 is in use").wait_for()
    press(page, "link", "The month")
    page.get_by_label("Month, or first month").select_option("2025-09")
    press(page, "button", "Show")
    page.get_by_role("heading", name="September 2025").first.wait_for()
    press(page, "button", "We do this from now on")
    page.get_by_role("heading", name="Taken up").wait_for()
    page.go_back()
    page.reload()
    assert page.get_by_role("button", name="No longer").count() == 1
    press(page, "link", "Open the whole report")
    page.wait_for_url("**/month/report?month=2025-09")
    page.locator("button[data-jobs]").first.click()
    assert page.locator("dialog .jobs-list > li").count() > 0
    assert said == []


def test_the_technicians_visit(tab: tuple[Any, str, list[str]]) -> None:
    page, address, said = tab
    page.goto(f"{address}/ask")
    page.get_by_label("Kind of appliance").fill("washing machine")
    page.get_by_label("What the customer says").fill("not draining")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Show likely causes").press("Enter")
    page.get_by_role("heading", name="Likely causes").wait_for()
    press(page, "button", "Go step by step")
    first = page.locator("#step").text_content()
    assert page.get_by_role("list", name="Caution").count() == 1
    page.get_by_label("Something else seen").fill("filter=blocked")
    press(page, "button", "Add it")
    page.get_by_text("Seen: pump filter").wait_for()
    press(page, "button", "Undo")
    page.get_by_text("Seen: pump filter").wait_for(state="detached")
    assert page.locator("#step").text_content() == first
    page.go_back()
    page.get_by_text("Seen: pump filter").wait_for()
    for _ in range(5):
        page.locator("button[name=key][value='1']").click()
        if page.get_by_role("heading", name="The visit ended").count():
            break
    page.get_by_label("Job number").fill("V-1")
    press(page, "button", "Record this job")
    page.get_by_text("Job V-1 is in the workshop's records.").wait_for()
    assert said == []


PAGES = (
    "/records", "/records/refused/1", "/records/words", "/ask?kind=dishwasher&complaint=leaks", "/ask?kind=gas hob",
    "/visit?kind=dishwasher&complaint=leaks", "/tomorrow", "/month?month=2025-09", "/learned", "/phone", "/recorded?job=none",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_fits_and_axe_finds_nothing_serious(tab: tuple[Any, str, list[str]], path: str) -> None:
    page, address, said = tab
    page.goto(address + path)
    if AXE.exists():
        page.evaluate(AXE.read_text(encoding="utf-8"))
    assert_fits(page, PHONE)
    for width, scheme, rules in ((NARROW, "light", "{}"), (DESK, "dark", "{runOnly: ['color-contrast']}")):
        page.emulate_media(color_scheme=scheme)
        assert_fits(page, width)
        if AXE.exists():
            found = page.evaluate(f"axe.run({rules}).then(result => result.violations)")
            assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == [], scheme
    assert said == []
