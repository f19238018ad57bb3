"""What a notebook asks of an object, and what it is given: text that cannot act, charts and pages without a network."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path

import pytest

from pipeline import Workshop
from tests.worlds.demo_sample import learned
from tests.worlds.empty import empty_workshop


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory):
    folder = shutil.copytree(learned(), tmp_path_factory.mktemp("notebook") / "shop")
    with Workshop.open(folder / "workshop.duckdb") as opened:
        yield opened


def test_an_answer_shows_its_lines_and_its_words_cannot_act(workshop: Workshop) -> None:
    answer = workshop.causes(kind="w/m", complaint="not draining <script>alert(1)</script>\x1b[2J")
    shown = answer._repr_html_()
    assert "does not drain" in shown
    assert "<script" not in shown
    assert "\x1b" not in shown + repr(answer)
    assert repr(answer).splitlines() == answer.lines()


def test_a_load_shows_its_counts(workshop: Workshop, tmp_path: Path) -> None:
    (tmp_path / "a<b>.csv").write_text("visit_date,appliance_kind,job_no\nsomeday,oven,J1\n", encoding="utf-8")
    report = workshop.load([tmp_path / "a<b>.csv"], dry_run=True)
    assert "1 lines read, 0 loaded" in report._repr_html_()
    assert "<b>" not in report._repr_html_()
    assert repr(report).splitlines() == "\n".join(report.lines()).splitlines()


def test_a_months_report_shows_its_page_and_its_charts(workshop: Workshop, tmp_path: Path) -> None:
    report = workshop.report("2025-02", out=tmp_path / "report.html")
    frame = report._repr_html_()
    page = re.fullmatch(r'<iframe sandbox="allow-scripts" [^>]*srcdoc="([^"]*)"></iframe>', frame)
    assert page
    assert html.unescape(page[1]) == report.html
    assert len(repr(report)) < 3_000
    picture = next(picture for picture in report.pictures if picture.has_marks)
    assert picture._repr_png_().startswith(b"\x89PNG")


def test_long_work_tells_how_far_it_is(tmp_path: Path) -> None:
    told: list[str] = []
    months: list[str] = []
    jobs = "visit_date,appliance_kind,job_no\n2025-01-03,oven,K1\n2025-02-03,oven,K2\n"
    (tmp_path / "jobs.csv").write_text(jobs, encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([tmp_path / "jobs.csv"], tell=told.append)
        workshop.all_reports(tmp_path / "pages", tell=months.append)
    bars = [line for line in told if line.endswith("tables")]
    assert bars[1].startswith("█") and "░" in bars[1]
    done, of = re.search(r"(\d+) of (\d+) tables", bars[-1]).groups()  # type: ignore[union-attr]
    assert done == of == str(len(bars))
    assert [line.split(" ", 1)[1] for line in months] == ["1 of 2 months", "2 of 2 months"]


def test_frames_are_frames(workshop: Workshop) -> None:
    assert "<table" in workshop.table("episode")._repr_html_()
