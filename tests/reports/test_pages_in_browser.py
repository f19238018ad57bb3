"""The month's page in a real browser: it draws, opens, fits, prints, and asks nobody for anything."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pipeline.month.month import MonthReport, month_report
from pipeline.settings import Settings
from reports.render.pdf import find_browser
from tests.worlds.report_workshop import all_months, made_workshop

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
BROWSER = find_browser()
pytestmark = pytest.mark.skipif(BROWSER is None, reason="there is no Chromium on this machine")
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CONTROLS = 'a[href], button, summary, [tabindex="0"]'
AXE = Path(os.environ.get("PRIORJOBS_AXE", "node_modules/axe-core/axe.min.js"))


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> MonthReport:
    connection = made_workshop(1200)
    out = tmp_path_factory.mktemp("page") / "report.html"
    return month_report(SimpleNamespace(connection=connection, path=None), Settings(), "2026-10", out=out)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        running = started.chromium.launch(executable_path=BROWSER, args=QUIET)
        yield running
        running.close()


class Seen(list):
    """What the page said and asked for that it should not."""


@pytest.fixture(scope="module")
def pages() -> dict[str, tuple[Any, Seen]]:
    """Pages already open, by colours: drawing one takes longer than most tests."""
    return {}


@pytest.fixture
def opened(
    browser: Any, report: MonthReport, pages: dict[str, tuple[Any, Seen]], request: pytest.FixtureRequest
) -> tuple[Any, Seen]:
    width, scheme = getattr(request, "param", (1280, "light"))
    if scheme not in pages:
        pages[scheme] = _open(browser, report, width, scheme)
    page, seen = pages[scheme]
    page.emulate_media(media="screen")
    page.set_viewport_size({"width": width, "height": 900})
    page.wait_for_timeout(200)
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = false; })")
    page.evaluate("document.activeElement.blur()")
    return page, seen


def _open(browser: Any, report: MonthReport, width: int, scheme: str) -> tuple[Any, Seen]:
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    seen = Seen()
    page.on("console", lambda message: seen.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: seen.append(f"error: {error}"))
    page.on(
        "request",
        lambda asked: None if asked.url.startswith(("file:", "data:")) else seen.append(f"request: {asked.url}"),
    )
    page.goto(report.path.as_uri(), timeout=120_000)
    page.wait_for_selector("html[data-drawn]", state="attached", timeout=30_000)
    return page, seen


@pytest.mark.parametrize("opened", [(1280, "light"), (360, "dark")], indirect=True, ids=["desk", "phone"])
def test_page_says_nothing_and_asks_for_nothing(opened: tuple[Any, Seen]) -> None:
    _, seen = opened
    assert seen == []


def test_every_chart_is_drawn(opened: tuple[Any, Seen], report: MonthReport) -> None:
    page, _ = opened
    drawn = page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('[data-plot]')]"
        ".map(plot => [plot.dataset.plot, plot.querySelectorAll('svg [role=graphics-symbol]').length]))"
    )
    assert set(drawn) == {picture.name for picture in report.pictures}
    assert min(drawn.values()) >= 3, drawn


@pytest.mark.parametrize("opened", [(320, "light"), (768, "light"), (1280, "light")], indirect=True, ids=str)
def test_nothing_scrolls_sideways(opened: tuple[Any, Seen]) -> None:
    page, _ = opened
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    wide = "[...document.querySelectorAll('.scroll')].filter(it => it.scrollWidth > it.clientWidth + 1).length"
    assert page.evaluate(wide) == 0, "a table scrolls in its own frame"


def test_every_control_works_with_the_keyboard(opened: tuple[Any, Seen]) -> None:
    page, _ = opened
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    wanted = page.evaluate(f"document.querySelectorAll('{CONTROLS}').length")
    page.evaluate("document.documentElement.scrollTop = 0")
    reached = set()
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        reached.add(page.evaluate(f"[...document.querySelectorAll('{CONTROLS}')].indexOf(document.activeElement)"))
    assert reached - {-1} == set(range(wanted))


def test_a_figure_opens_to_its_jobs_and_closes_with_escape(opened: tuple[Any, Seen], report: MonthReport) -> None:
    page, _ = opened
    button = page.locator("[data-measure=callbacks] button")
    button.focus()
    page.keyboard.press("Enter")
    rows = page.locator("dialog .jobs-list > li")
    episodes = report.figures.lists.query("key == 'callbacks'")["episode_id"].nunique()
    assert rows.count() == episodes > 0
    first = rows.first.inner_text()
    assert re.search(r"\bJ\d+\b", first) and re.search(r"\d+ (Sep|Oct|Nov) 2026", first) and "fixed" in first
    page.keyboard.press("Escape")
    assert page.locator("dialog[open]").count() == 0
    assert page.evaluate("document.activeElement.closest('[data-measure]').dataset.measure") == "callbacks"


def test_arrow_keys_read_a_chart_aloud(opened: tuple[Any, Seen]) -> None:
    page, _ = opened
    page.locator("[data-plot=fix-by-month]").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert re.search(r"\d+ (of|known)|\d+\.\d%", page.locator("#tip").inner_text())


def test_every_list_of_jobs_has_a_control_that_opens_it(opened: tuple[Any, Seen]) -> None:
    page, _ = opened
    lists = page.evaluate("Object.keys(JSON.parse(document.getElementById('jobs').textContent).lists)")
    asked = page.evaluate("[...document.querySelectorAll('button[data-jobs]')].map(button => button.dataset.jobs)")
    assert sorted(set(asked)) == sorted(lists)


@pytest.mark.parametrize("opened", [(1280, "light"), (360, "dark")], indirect=True, ids=str)
def test_axe_finds_nothing_serious(opened: tuple[Any, Seen]) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not here: npm install axe-core somewhere and set PRIORJOBS_AXE to its axe.min.js")
    page, _ = opened
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    for state in ("page", "dialog"):
        if state == "dialog":
            page.locator("[data-measure=callbacks] button").click()
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        serious = [
            (rule["id"], [node["html"][:120] for node in rule["nodes"][:3]])
            for rule in found["violations"]
            if rule["impact"] in ("serious", "critical")
        ]
        assert serious == [], f"{state}: {json.dumps(serious, indent=1)}"


def test_index_of_all_months_fits_and_says_nothing(browser: Any) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 900})
    seen: list[str] = []
    page.on("console", lambda message: seen.append(message.text))
    page.goto((all_months() / "index.html").as_uri(), timeout=120_000)
    for width, tallest in ((360, 400), (1280, 100)):  # on a phone a row is a card
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        heights = page.evaluate("[...document.querySelectorAll('tbody tr')].map(row => row.offsetHeight)")
        assert len(heights) == 3 and max(heights) < tallest
    page.locator("tbody a").first.click()
    page.wait_for_selector("html[data-drawn]", state="attached", timeout=30_000)
    assert seen == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_chart_is_cut_on_paper(opened: tuple[Any, Seen], paper: str) -> None:
    page, _ = opened
    page.emulate_media(media="print")
    width, height = {"A4": (210, 297), "Letter": (215.9, 279.4)}[paper]
    usable = {"width": (width - 26) / 25.4 * 96, "height": (height - 28) / 25.4 * 96}
    page.set_viewport_size({"width": int(usable["width"]), "height": 900})
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.wait_for_timeout(300)
    boxes = page.evaluate(
        "[...document.querySelectorAll('figure')].map(figure => { const plot = figure.querySelector('.plot');"
        " const chart = plot.querySelector('svg').getBoundingClientRect();"
        " return [figure.id, plot.getBoundingClientRect().height, chart.right, getComputedStyle(plot).breakInside]; })"
    )
    assert boxes
    for name, tall, right, breaks in boxes:
        assert breaks == "avoid"
        assert tall <= usable["height"], f"{name} is higher than a page of {paper}"
        assert right <= usable["width"] + 1, f"{name} is wider than a page of {paper}"
    assert len(page.pdf(format=paper)) > 20_000
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
