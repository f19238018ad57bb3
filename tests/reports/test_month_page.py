"""The month's page read back: its numbers are the marts', and JSON and workbook say the same."""

from __future__ import annotations

import datetime as dt
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import duckdb
import pytest
from python_calamine import CalamineWorkbook

import sql
from models.statistics.intervals import wilson
from pipeline.errors import UsageError
from pipeline.month.month import MonthReport, month_report
from pipeline.settings import Settings
from pipeline.words import Words
from reports.render.pdf import find_browser
from tests.worlds.report_workshop import all_months, made_workshop

SETTLED, OPEN = "2026-08", "2026-10"
LARGEST = 3_000_000


class Page(HTMLParser):
    """The page as text: figures by measure, tables by name, data blocks, and every tag seen."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.figures: dict[str, str] = {}
        self.tables: dict[str, list[list[str]]] = {}
        self.blocks: dict[str, Any] = {}
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._figure = self._table = self._block = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.tags.append((tag, named))
        self._figure = named.get("data-measure", self._figure)
        if tag == "table":
            self._table = named.get("data-table", "")
            self.tables[self._table] = []
        if tag == "tr" and self._table is not None:
            self.tables[self._table].append([])
        if tag in ("td", "th") and self._table is not None:
            self.tables[self._table][-1].append("")
        if tag == "script":
            self._block = named.get("id") or named.get("data-chart") or "code"

    def handle_endtag(self, tag: str) -> None:
        if tag == "p":
            self._figure = None
        if tag == "table":
            self._table = None
        if tag == "script":
            self._block = None

    def handle_data(self, data: str) -> None:
        if self._block is not None:
            if self._block != "code":
                self.blocks[self._block] = json.loads(data)
            return
        self.text += data
        if self._figure is not None:
            self.figures[self._figure] = self.figures.get(self._figure, "") + data.strip()
        if self._table is not None and self.tables[self._table] and self.tables[self._table][-1]:
            self.tables[self._table][-1][-1] += data.strip()


@pytest.fixture(scope="module")
def workshop() -> duckdb.DuckDBPyConnection:
    return made_workshop(3000)


def make(connection: duckdb.DuckDBPyConnection, folder: Path, month: str | None, **view: Any) -> MonthReport:
    return month_report(
        SimpleNamespace(connection=connection, path=None), Settings(), month, out=folder / "report.html", **view
    )


@pytest.fixture(scope="module")
def settled(workshop: duckdb.DuckDBPyConnection, tmp_path_factory: pytest.TempPathFactory) -> MonthReport:
    """The page with all that may come beside it."""
    folder = tmp_path_factory.mktemp("settled")
    beside = {"xlsx": folder / "report.xlsx", "png": folder / "charts", "charts": ["technicians"]}
    if find_browser() is not None:
        beside["pdf"] = folder / "report.pdf"
    return make(workshop, folder, SETTLED, words=Words.load(), **beside)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> tuple[MonthReport, MonthReport]:
    """A month of few jobs, made twice from the beginning."""
    first, again = (make(made_workshop(150), tmp_path_factory.mktemp("small"), SETTLED) for _ in range(2))
    return first, again


@pytest.fixture(scope="module")
def still_open(workshop: duckdb.DuckDBPyConnection, tmp_path_factory: pytest.TempPathFactory) -> MonthReport:
    return make(workshop, tmp_path_factory.mktemp("open"), OPEN)


def summary(connection: duckdb.DuckDBPyConnection, month: str) -> dict[str, Any]:
    return (
        connection.execute("from month_summary where month = $month", {"month": f"{month}-01"}).df().iloc[0].to_dict()
    )


def beside(report: MonthReport, ending: str) -> Path:
    (path,) = (path for path in report.files if path.suffix == ending)
    return path


def number(text: str) -> float:
    return float(re.sub(r"[^\d.\-]", "", text))


def test_settled_figures_equal_the_month_summary(workshop: duckdb.DuckDBPyConnection, settled: MonthReport) -> None:
    marts, page = summary(workshop, SETTLED), Page(settled.html)
    assert marts["not_yet_known"] == 0
    assert page.figures["first_time_fix"] == f"{marts['fixed_first_time'] / marts['known']:.0%}"
    assert f"{marts['fixed_first_time']:.0f} of {marts['known']:.0f} faults; window 30 days" in page.text
    low, high = wilson(marts["fixed_first_time"], marts["known"])
    assert f"95% between {low:.0%} and {high:.0%}" in page.text
    assert number(page.figures["wrong_swaps"]) == round(marts["wrong_parts_cost"])
    assert f"{marts['wrong_parts']:.0f} parts of" in page.text
    assert f"{marts['callbacks']:.0f} of {marts['fixes']:.0f} repairs came back so far" in page.text
    assert f"from {marts['visits']:.0f} visits" in page.text


def test_callbacks_with_follow_up_over_are_the_plain_share(
    workshop: duckdb.DuckDBPyConnection, settled: MonthReport
) -> None:
    # nobody leaves the watch within the window, so the cumulative incidence is returns over repairs
    marts = summary(workshop, SETTLED)
    assert settled.figures.now["callbacks"]["value"] == pytest.approx(marts["callbacks"] / marts["fixes"])


def test_table_by_month_equals_the_rates_mart(workshop: duckdb.DuckDBPyConnection, settled: MonthReport) -> None:
    rows = Page(settled.html).tables["fix-by-month"][1:]
    marts = workshop.execute(
        """
        select month, numerator, denominator, not_yet_known, rate
        from episode_rate
        where measure = 'first time fix' and dimension = 'all' and month <= date '2026-08-01'
        order by month desc
        limit 24
        """
    ).fetchall()[::-1]
    assert len(rows) == len(marts) == 24
    for row, (month, fixed, known, not_yet_known, rate) in zip(rows, marts, strict=True):
        assert row[0] == f"{month:%B %Y}"
        assert [number(cell) for cell in row[1:4]] == [fixed, known, not_yet_known]
        assert row[4] == f"{rate:.1%}" and row[3] == "0"


def test_wrong_swaps_equal_the_verdicts(workshop: duckdb.DuckDBPyConnection, settled: MonthReport) -> None:
    rows = Page(settled.html).tables["wrong-swaps"][1:]
    marts = workshop.execute(
        """
        select part, confirmed_cause, count(*), sum(total_cost)
        from part_verdict
        where verdict = 'not the cause' and visit_date between date '2025-09-01' and date '2026-08-31'
        group by part, confirmed_cause
        """
    ).fetchall()
    shown = {(row[0], row[1]): (number(row[2]), number(row[4])) for row in rows}
    assert set(shown) == {(part, cause) for part, cause, _, _ in marts}
    for part, cause, count, money in marts:
        assert shown[part, cause][0] == count
        assert shown[part, cause][1] == pytest.approx(money, abs=0.51)


def test_causes_parts_people_and_records_equal_the_tables(
    workshop: duckdb.DuckDBPyConnection, settled: MonthReport
) -> None:
    page = Page(settled.html)
    year = "between date '2025-09-01' and date '2026-08-31'"
    top = page.tables["causes-1"][1]
    counted = workshop.execute(
        f"""
        select count(*) filter (where episode.cause = $cause), count(*)
        from episode
        inner join first_time_fix using (episode_id)
        where episode.kind = 'washing machine' and episode.main_symptom = $complaint and episode.state = 'cured'
            and episode.cause is not null and first_time_fix.month {year}
        """,
        {"complaint": top[0], "cause": top[1]},
    ).fetchall()
    assert [(number(top[2]), number(top[3]))] == counted
    for part, fitted, *_ in page.tables["parts"][1:4]:
        assert workshop.execute(
            f"select count(distinct visit_id) from part_verdict where part = $part and visit_date {year}",
            {"part": part},
        ).fetchall() == [(number(fitted),)]
    names = [row[0] for row in page.tables["technicians"][1:]]
    assert names == sorted(names) and len(names) == 7
    for name, known, fixed, *_ in page.tables["technicians"][1:]:
        assert workshop.execute(
            f"""
            select
                count(*) filter (where status in ('fixed first time', 'not fixed first time')),
                count(*) filter (where status = 'fixed first time')
            from first_time_fix
            where technician = $name and month {year}
            """,
            {"name": name},
        ).fetchall() == [(number(known), number(fixed))]
    quality = {row[0]: row[1:] for row in page.tables["quality"][1:]}
    assert number(quality["visits in the period"][0]) == summary(workshop, SETTLED)["visits"]


def test_open_month_is_provisional_everywhere(workshop: duckdb.DuckDBPyConnection, still_open: MonthReport) -> None:
    marts, page, told = summary(workshop, OPEN), Page(still_open.html), still_open.as_json()
    assert marts["not_yet_known"] > 0
    fix = told["first_time_fix"]
    assert (fix["fixed"], fix["known"], fix["not_yet_known"]) == (
        marts["fixed_first_time"],
        marts["known"],
        marts["not_yet_known"],
    )
    assert fix["rate"] is None and fix["low"] < fix["provisional_rate"] < fix["high"]
    # what is known so far is mostly failures: the plain share would be far too low
    assert marts["fixed_first_time"] / marts["known"] < fix["low"]
    assert page.figures["first_time_fix"] == f"{fix['provisional_rate']:.0%}"
    assert "look like staying fixed" in page.text and "estimate by Kaplan-Meier" in page.text
    assert page.tables["fix-by-month"][-1][3] == f"{marts['not_yet_known']:.0f}"
    assert told["callbacks"]["by_day"]["90"] is None
    assert page.tables["fix-by-month"][-2][3] == "0"
    assert "settled" not in page.text
    swaps = told["wrong_swaps"]
    assert swaps["is_provisional"] and 0 < swaps["to_come"] < swaps["not_yet_judged"]
    assert "not yet judged: at the usual" in page.text


def test_json_has_the_agreed_fields_and_the_page_s_numbers(settled: MonthReport) -> None:
    told = json.loads(json.dumps(settled.as_json(), allow_nan=False))
    page = Page(settled.html)
    assert told["month"] == SETTLED and told["window_days"] == 30
    assert set(told["first_time_fix"]) >= {"fixed", "known", "not_yet_known", "rate", "low", "high", "provisional_rate"}
    assert set(told["callbacks"]["by_day"]) == {"7", "30", "90"}
    assert set(told["wrong_swaps"]) >= {"parts", "money", "minutes", "rows"}
    assert set(told["wrong_swaps"]["rows"][0]) >= {"part", "instead_of", "count", "of", "money"}
    assert set(told) >= {"as_of", "advice", "technicians", "kinds", "data_quality"}
    assert f"{told['first_time_fix']['rate']:.0%}" == page.figures["first_time_fix"]
    assert round(told["wrong_swaps"]["money"]) == number(page.figures["wrong_swaps"])
    assert sum(row["money"] for row in told["wrong_swaps"]["rows"]) == pytest.approx(told["wrong_swaps"]["money"])
    assert sum(row["fixed"] for row in told["kinds"]) == told["first_time_fix"]["fixed"]
    assert sum(row["known"] for row in told["kinds"]) == told["first_time_fix"]["known"]


def test_planted_habit_is_advice_and_opens_to_its_jobs(settled: MonthReport) -> None:
    first = next(row for row in settled.as_json()["advice"] if row["part"] == "drain pump")
    assert first["usually"] == "partly blocked sump hose"
    assert first["trend"] == "steady"
    assert 0 < first["money"] < first["lost"]
    assert f"{first['count']} of {first['of']} were not the cause" in Page(settled.html).text
    lists = Page(settled.html).blocks["jobs"]
    listed = next(entry for entry in lists["lists"].values() if entry["title"].endswith("before fitting drain pump"))
    assert len(listed["rows"]) == min(first["count"], 100)
    for row in listed["rows"]:
        *earlier, last = (visit[3] for visit in lists["rows"][row][2])
        assert any("[drain pump]" in happened for happened in earlier) and last.startswith("fixed: ")


def test_advice_comes_with_its_cautions(settled: MonthReport) -> None:
    rows = settled.as_json()["advice"]
    assert rows and all(row["cautions"] for row in rows)
    text = Page(settled.html).text
    for caution in {caution for row in rows for caution in row["cautions"]}:
        assert caution in text


def test_every_figure_s_list_holds_the_jobs_it_counts(
    workshop: duckdb.DuckDBPyConnection, settled: MonthReport
) -> None:
    marts = summary(workshop, SETTLED)
    lists = settled.figures.lists
    sizes = lists.groupby("key")["episode_id"].nunique()
    assert sizes["first_time_fix"] == marts["known"] + marts["not_yet_known"]
    wrong = workshop.execute(
        """
        select count(distinct episode_id)
        from part_verdict
        where verdict = 'not the cause' and date_trunc('month', visit_date) = date '2026-08-01'
        """
    ).fetchall()
    assert [(sizes["wrong_swaps"],)] == wrong
    blocks = Page(settled.html).blocks["jobs"]
    jobs = {visit[1] for row in blocks["rows"] for visit in row[2]}
    known = {job for (job,) in workshop.execute("select job_no from visit").fetchall()}
    assert jobs <= known and len(jobs) > 100


def test_long_lists_are_cut_and_say_so(tmp_path: Path) -> None:
    report = make(made_workshop(12000), tmp_path, SETTLED)
    lists = Page(report.html).blocks["jobs"]["lists"].values()
    cut = [entry for entry in lists if "more job" in entry["note"]]
    assert cut and all(len(entry["rows"]) <= 300 for entry in lists)
    assert len(report.html.encode()) < LARGEST


def test_page_forbids_the_network_and_allows_its_own_code_by_hash(settled: MonthReport) -> None:
    page = Page(settled.html)
    (policy,) = [named["content"] for tag, named in page.tags if named.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(rule.strip().split(" ", 1) for rule in str(policy).split(";"))
    assert rules["default-src"] == "'none'"
    assert "connect-src" not in rules and "unsafe" not in str(policy) and "http" not in str(policy)
    assert re.fullmatch(r"('sha256-[A-Za-z0-9+/=]{44}' ?)+", rules["script-src"])
    for tag, named in page.tags:
        assert not any(name.startswith("on") for name in named), (tag, named)
        assert "style" not in named and "src" not in named
        assert str(named.get("href", "#")).startswith(("#", "data:"))


def test_page_of_a_year_s_workshop_is_small(settled: MonthReport) -> None:
    assert len(settled.html.encode()) < LARGEST


def test_workbook_has_a_sheet_a_section_and_the_same_numbers(
    workshop: duckdb.DuckDBPyConnection, settled: MonthReport
) -> None:
    book = CalamineWorkbook.from_path(str(beside(settled, ".xlsx")))
    sheets = {name: book.get_sheet_by_name(name).to_python() for name in book.sheet_names}
    assert len(sheets) == 14
    assert sheets["The four figures"][1][1] == pytest.approx(settled.figures.now["first_time_fix"]["value"])
    months = sheets["Fixed first visit by month"]
    assert months[0][:4] == ["month", "fixed", "known", "not_yet_known"]
    assert months[-1][0] == dt.date(2026, 8, 1) and months[-1][1] == summary(workshop, SETTLED)["fixed_first_time"]
    swaps = settled.figures.frames["wrong_swaps"]
    assert [row[4] for row in sheets["Wrong swaps"][1:]] == pytest.approx(list(swaps["money"]))


def test_png_of_one_chart(settled: MonthReport) -> None:
    drawn = beside(settled, ".png")
    assert drawn.name == "technicians.png"
    assert drawn.read_bytes().startswith(b"\x89PNG") and drawn.stat().st_size > 5000


@pytest.mark.skipif(find_browser() is None, reason="there is no browser on this machine")
def test_pdf_is_printed(settled: MonthReport) -> None:
    printed = beside(settled, ".pdf").read_bytes()
    assert printed.startswith(b"%PDF") and printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") > 3


def test_pdf_without_a_browser_is_refused(
    workshop: duckdb.DuckDBPyConnection, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.render.pdf.shutil.which", lambda name: None)
    with pytest.raises(UsageError, match="needs Chromium"):
        make(workshop, tmp_path, SETTLED, pdf=tmp_path / "report.pdf")


def test_view_of_a_kind_counts_that_kind_alone(workshop: duckdb.DuckDBPyConnection, tmp_path: Path) -> None:
    report = make(workshop, tmp_path, SETTLED, kind="W/M", words=Words.load())  # as a job sheet writes it
    assert report.scope.kind == "washing machine"
    counted = workshop.execute(
        """
        select count(*) filter (where status = 'fixed first time')
        from first_time_fix
        where month = date '2026-08-01' and kind = 'washing machine'
        """
    ).fetchall()
    assert [(report.as_json()["first_time_fix"]["fixed"],)] == counted
    assert "washing machine only" in report.html
    assert {row["kind"] for row in report.as_json()["kinds"]} == {"washing machine"}


def test_technician_s_own_view_names_nobody_else(workshop: duckdb.DuckDBPyConnection, tmp_path: Path) -> None:
    html = make(workshop, tmp_path, SETTLED, technician="C. Rowe").html
    assert "C. Rowe" in html
    for other in ("A. Marsh", "B. Quill", "D. Stone", "E. Thorn", "F. Vale", "G. Wick"):
        assert other not in html


def test_two_periods_side_by_side(workshop: duckdb.DuckDBPyConnection, tmp_path: Path) -> None:
    report = make(workshop, tmp_path, "2026-04", to="2026-06", against="2025-04")
    told = report.as_json()
    assert told["first_month"] == "2026-04" and told["compared_with"] == ["2025-04", "2025-06"]
    counted = workshop.execute(
        """
        select count(*) filter (where status = 'fixed first time')
        from first_time_fix
        where month between date '2025-04-01' and date '2025-06-01'
        """
    ).fetchall()
    assert [(report.figures.before["first_time_fix"]["fixed"],)] == counted
    assert "Two periods side by side" in report.html


def test_all_months_have_a_page_and_a_place_in_the_index() -> None:
    folder = all_months()
    index = Page((folder / "index.html").read_text(encoding="utf-8"))
    linked = [named["href"] for tag, named in index.tags if tag == "a" and not str(named["href"]).startswith("#")]
    assert linked == ["2024-03.html", "2024-02.html", "2024-01.html"]
    assert all((folder / str(name)).exists() for name in linked)


def test_parts_that_no_list_can_judge_and_words_that_none_understands_are_told(tmp_path: Path) -> None:
    connection = made_workshop(600)
    connection.execute("delete from cure where part = 'drain pump'")
    connection.execute("delete from stage_symptom where visit_id % 5 = 0")
    sql.rebuild(connection)
    report = make(connection, tmp_path, SETTLED)
    swaps, page = report.as_json()["wrong_swaps"], Page(report.html)
    to_review, no_complaint, visits = connection.execute(
        """
        select
            (
                select count(*) from part_verdict
                where verdict = 'still open' and is_for_review and date_trunc('month', visit_date) = date '2026-08-01'
            ),
            count(*) filter (where visit_id not in (select visit_id from visit_symptom)),
            count(*)
        from visit
        where date_trunc('month', visit_date) = date '2026-08-01'
        """
    ).fetchall()[0]
    assert swaps["to_review"] == to_review > 1 and no_complaint > 1
    assert f"for {to_review} more no list says what cures their causes" in page.text
    assert ("and others may show" in page.text) == (swaps["parts"] > 0)
    assert f"{no_complaint} of {visits} visits of these months tell a complaint that no list understands" in page.text


def test_same_workshop_gives_the_same_page(small: tuple[MonthReport, MonthReport]) -> None:
    first, again = small
    assert first.html == again.html


def test_a_part_of_a_year_is_not_compared_with_a_whole_one(tmp_path: Path) -> None:
    curve = make(made_workshop(400, days=420), tmp_path, "2025-01").figures.frames["callback_curve"]
    assert set(curve["period"]) == {"this"} and set(curve["against"]) == {""}


def test_small_month_gives_counts_alone(small: tuple[MonthReport, MonthReport]) -> None:
    report, _ = small
    told, page = report.as_json(), Page(report.html)
    assert 0 < told["first_time_fix"]["known"] < 10
    assert told["first_time_fix"]["rate"] is None and told["first_time_fix"]["low"] is None
    assert page.figures["first_time_fix"] == f"{told['first_time_fix']['fixed']} of {told['first_time_fix']['known']}"
    assert "too few for an interval" in page.text


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"month": "2026-13"}, "is not a valid month"),
        ({"month": "2019-01"}, "no visits from 2019-01"),
        ({"month": "2026-08", "to": "2026-07"}, "before it begins"),
        ({"month": "2026-08", "kind": "toaster"}, "No visit has the kind"),
        ({"month": "2026-08", "technician": "Nobody"}, "No visit has the technician"),
        ({"month": "2026-08", "language": "xx"}, "no catalogue"),
        ({"month": "2026-08", "charts": ["none"]}, "no chart"),
    ],
)
def test_wrong_questions_are_refused_with_a_remedy(
    workshop: duckdb.DuckDBPyConnection, tmp_path: Path, asked: dict[str, Any], says: str
) -> None:
    with pytest.raises(UsageError, match=says) as refused:
        make(workshop, tmp_path, **asked)
    assert refused.value.remedy.endswith(".")
    assert not (tmp_path / "report.html").exists()


def test_nothing_is_left_in_the_database(workshop: duckdb.DuckDBPyConnection, settled: MonthReport) -> None:
    left = workshop.execute(
        "select table_name from information_schema.tables where table_name like 'report_%'"
    ).fetchall()
    assert left == []


def test_a_technicians_pooled_rate_stands_on_the_same_mix_as_the_adjusted_one(
    settled: MonthReport,
) -> None:
    rows = settled.as_json()["technicians"]
    assert len(rows) > 3
    overall = sum(row["fixed"] for row in rows) / sum(row["known"] for row in rows)
    for row in rows:
        assert row["low"] < row["rate"] < row["high"]
        leans = min(row["adjusted"], overall) - 0.01 <= row["rate"] <= max(row["adjusted"], overall) + 0.01
        assert leans, row


def test_a_view_of_a_kind_that_no_advice_speaks_of(tmp_path: Path) -> None:
    few = made_workshop(30)
    assert make(few, tmp_path, SETTLED, kind="washing machine").as_json()["advice"] == []
