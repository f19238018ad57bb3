"""The month's report: gather the figures from the marts, write the page, and give the same numbers as JSON."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import UsageError, shown
from pipeline.month import comparisons, excess_faults, money, sections, wrong_swaps
from pipeline.month import figures as gathered
from pipeline.month.advice_rows import Standing, standing
from pipeline.month.jobs import job_details, job_lists
from pipeline.month.scope import Scope, find_scope, laid_out, months_with_visits
from pipeline.store.atomic_write import whole
from pipeline.store.outputs import PAGE, PDF, PNG, WORKBOOK, may_write
from pipeline.store.workshop_files import usual_page
from pipeline.terminal.progress import bar
from pipeline.terminal.text import Shown
from reports.render.chart_code import begin_chart_code

if TYPE_CHECKING:
    import datetime as dt

    import duckdb
    import pandas as pd

    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words
    from reports.pages.month_figures import MonthFigures
    from reports.render.picture import Picture
    from reports.render.wording import Wording


ADVICE_FIRST = 3


@dataclass(frozen=True, repr=False)
class MonthReport(Shown):
    """A report as made: its numbers, its page, and where it was written.

    Attributes
    ----------
    scope
        What it is about.
    figures
        The numbers and frames behind the page.
    html
        The page.
    path
        Where the page was written; None = it was not.
    files
        Every file written, the page first.
    seconds
        Time spent on queries, charts and writing.
    """

    scope: Scope
    figures: MonthFigures
    pictures: list[Picture]
    wording: Wording
    html: str
    path: Path | None
    files: list[Path] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Give the numbers in the agreed form: shares from 0 to 1, money in the workshop's currency, None = unknown."""
        from pipeline.month.as_json import report_json

        made = report_json(self.scope, self.figures)
        return {**made, "files": [str(path) for path in self.files], "currency": self.wording.currency}

    def lines(self) -> list[str]:
        """Give the report in a few lines for a terminal."""
        from reports.pages.headline import figures, sentence

        made, wording = self.figures, self.wording
        said = [sentence(made.now, made.before, made.changes, made.period, wording), ""]
        for figure in figures(made.now, made.before, made.changes, made.period, wording, made.window_days):
            said += [
                f"{figure.label}: {figure.value} ({figure.interval})",
                f"    {figure.basis}",
                f"    {figure.change}",
            ]
        from reports.pages.advice_rows import advice_rows

        standing = made.frames["advice"][made.frames["advice"]["trend"] != "ended"]
        said += [""] + [
            f"{row['number']}. {row['do']} ({row['money']})"
            for row in advice_rows(standing.head(ADVICE_FIRST), wording)
        ]
        return [*said, *(wording.say("page.written", path=str(path)) for path in self.files)]

    def _repr_html_(self) -> str:
        """Show the page in a notebook, in a frame of its own."""
        page = f'<iframe sandbox="allow-scripts" style="width: 100%; height: 40em" srcdoc="{escape(self.html)}">'
        return f"{page}</iframe>"


def month_report(
    database: Database,
    settings: Settings,
    month: str | None = None,
    *,
    out: Path | None = None,
    words: Words | None = None,
    language: str | None = None,
    pdf: Path | None = None,
    xlsx: Path | None = None,
    png: Path | None = None,
    charts: Sequence[str] = (),
    stands: Standing | None = None,
    **view: str | None,
) -> MonthReport:
    """Make the report of a month, or of a longer period.

    Parameters
    ----------
    database, settings
        The workshop.
    month, **view
        The period, what it is compared with, and what it is narrowed to, as for `pipeline.month.scope.find_scope`.
    out
        The page to write; None means ``report-YYYY-MM.html`` in the current folder.
    words
        The words in force: they name what to look at first in the advice, with its cautions.
    language
        Catalogue of the page's words; ``settings.locale`` when left out.
    pdf, xlsx
        Also write the printed page (needs a browser on this machine), or a workbook with a sheet a section.
    png
        A folder for single charts as PNG; ``charts`` names the ones wanted, all when empty.
    stands
        What stands today, where it has been gathered already.

    Raises
    ------
    UsageError
        A month, kind, technician, branch, language or chart that there is not; no browser for the PDF.
    """
    begun = time.perf_counter()
    begin_chart_code()
    wording = _wording(settings, language)
    scope = find_scope(database.connection, month, words=words, **view)
    path = out or usual_page(database.path, f"report-{scope.name}.html")
    for file, what, others in ((path, PAGE, ()), (pdf, PDF, (path,)), (xlsx, WORKBOOK, (path, pdf))):
        if file is not None:
            may_write(file, what, database=database, inputs=others)
    figures = gather(database.connection, scope, stands or standing(database.connection, words))
    queried = time.perf_counter()
    from reports.pages import month as month_page

    pictures = month_page.pictures_of(figures, wording)
    _know_charts(charts, pictures)
    drawn = time.perf_counter()
    html = month_page.page(figures, pictures, wording)
    with whole(path) as draft:
        draft.write_text(html, encoding="utf-8", newline="\n")
    files = [path, *([_workbook(xlsx, figures, wording)] if xlsx is not None else [])]
    if png is not None:
        shown_alone = [picture for picture in pictures if not charts or picture.name in charts]
        files += _images(database, png, shown_alone, (path, pdf, xlsx))
    if pdf is not None:
        files.append(_print(path, pdf))
    seconds = {"queries": queried - begun, "charts": drawn - queried, "writing": time.perf_counter() - drawn}
    return MonthReport(scope, figures, pictures, wording, html, path, files, seconds)


def _workbook(file: Path, figures: MonthFigures, wording: Wording) -> Path:
    """Write the workbook."""
    from reports.pages.workbook import write_workbook

    with whole(file) as draft:
        write_workbook(draft, figures, wording)
    return file


def _images(database: Database, folder: Path, pictures: list[Picture], written: tuple[Path | None, ...]) -> list[Path]:
    """Write charts as PNG into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    images = [folder / f"{picture.name}.png" for picture in pictures]
    for image, picture in zip(images, pictures, strict=True):
        may_write(image, PNG, database=database, inputs=written)
        with whole(image) as draft:
            draft.write_bytes(picture.png())
    return images


def all_reports(
    database: Database,
    settings: Settings,
    out: Path,
    *,
    language: str | None = None,
    tell: Callable[[str], None] = lambda _: None,
    **view: Any,
) -> dict[str, Any]:
    """Make the reports of all months there are visits in, and an index page.

    Parameters
    ----------
    database, settings
        The workshop.
    out
        The folder to write in: ``index.html`` and ``YYYY-MM.html``.
    tell
        Told how far it is after every month.
    language, **view
        As in ``month_report``.

    Returns
    -------
    dict
        index (path) and months (list of month and path).
    """
    from reports.pages.index import index_page

    begin_chart_code()
    index = out / "index.html"
    may_write(index, PAGE, database=database)
    out.mkdir(parents=True, exist_ok=True)
    months = months_with_visits(database.connection)
    stands = standing(database.connection, view.get("words"))
    made = []
    for number, month in enumerate(months, start=1):
        name = f"{month:%Y-%m}"
        made.append(
            month_report(database, settings, name, out=out / f"{name}.html", language=language, stands=stands, **view)
        )
        tell(bar(number, len(months), "months"))
    listed = [(report.figures, report.path.name) for report in made if report.path]
    with whole(index) as draft:
        draft.write_text(index_page(listed, _wording(settings, language)), encoding="utf-8", newline="\n")
    return {
        "index": str(index),
        "months": [{"month": report.scope.name, "path": str(report.path)} for report in made],
    }


def gather(connection: duckdb.DuckDBPyConnection, scope: Scope, stands: Standing) -> MonthFigures:
    """Gather everything a report shows."""
    import pandas as pd

    from reports.pages.headline import MEASURES, Period
    from reports.pages.month_figures import MonthFigures

    with laid_out(connection, scope):
        delays = wrong_swaps.verdict_delays(connection, scope)
        now = _four_figures(connection, scope, scope.first, scope.last, scope.end, delays)
        before = _four_figures(connection, scope, scope.before_first, scope.before_last, scope.before_end, delays)
        if scope.before_first < scope.records_from:
            for figure in before.values():
                figure.update(value=float("nan"), low=float("nan"), high=float("nan"))
        compared, together = _compared(connection, scope)
        frames = _with_keys({**_counted(connection, scope, delays), **compared})
        stands = stands.of_kind(scope.kind)
        frames |= {"advice": stands.rows, "adopted": stands.adopted}
        keys = {str(key) for frame in frames.values() if "jobs" in frame for key in frame["jobs"].dropna()}
        lists = job_lists(connection, scope, keys | set(MEASURES) | {"quality-no_cause", "quality-left_truncated"})
        lists = pd.concat([stands.lists, lists], ignore_index=True) if len(stands.lists) else lists
        of_verdicts = money.verdict_bounds(connection, scope)
        units, visits_of_lists = job_details(
            connection, [int(episode) for episode in lists["episode_id"]], scope.technician
        )
    visits = frames["quality"].set_index("name")["count"]["visits"]
    return MonthFigures(
        period=Period(scope.first, scope.last, scope.before_first, scope.before_last),
        as_of=scope.as_of,
        window_days=scope.window_days,
        waiting_days=scope.waiting_days,
        visits=int(visits),
        costs=scope.costs,
        is_labour_billed=scope.is_labour_billed,
        kind=scope.kind,
        technician=scope.technician,
        branch=scope.branch,
        is_against=scope.is_against,
        now=now,
        before=before,
        changes=_changes(now, before),
        frames=frames,
        together={**together, "verdicts": of_verdicts},
        lists=lists,
        units=units,
        visits_of_lists=visits_of_lists,
    )


def _four_figures(
    connection: duckdb.DuckDBPyConnection,
    scope: Scope,
    first: dt.date,
    last: dt.date,
    end: dt.date,
    delays: pd.DataFrame,
) -> dict[str, dict[str, Any]]:
    return {
        "first_time_fix": gathered.first_time_fix(connection, scope, first, last),
        "callbacks": gathered.callbacks(connection, first, end, scope.window_days),
        "wrong_swaps": wrong_swaps.wrong_swap_money(connection, scope, first, end, delays),
        "days_to_cure": gathered.days_to_cure(connection, scope, first, end),
    }


def _compared(
    connection: duckdb.DuckDBPyConnection, scope: Scope
) -> tuple[dict[str, pd.DataFrame], dict[str, dict[str, float]]]:
    """Frames of groups held against each other, and what is said of each set of groups together."""
    cases = comparisons.cases(connection, scope)
    own = cases if scope.technician is None else cases[cases["technician"] == scope.technician]
    made = {
        "technicians": comparisons.technicians(cases),  # one is held against all
        "makes": comparisons.makes(own),
        "ages": comparisons.ages(connection, scope),
        "branches": comparisons.branches(connection, scope, own),
    }
    frames = {name: table for name, (table, _) in made.items()}
    if scope.technician is not None:
        is_own = frames["technicians"]["technician"] == scope.technician
        frames["technicians"] = frames["technicians"][is_own].reset_index(drop=True)
    return frames, {name: together for name, (_, together) in made.items()}


def _counted(connection: duckdb.DuckDBPyConnection, scope: Scope, delays: pd.DataFrame) -> dict[str, pd.DataFrame]:
    curve, again = comparisons.next_fault(connection, scope)
    return {
        "fix_by_month": gathered.fix_by_month(connection, scope),
        "callback_curve": gathered.callback_curve(connection, scope),
        "wrong_swaps": sections.wrong_swaps(connection, scope.weighed_from, scope.end),
        "month_swaps": sections.wrong_swaps(connection, scope.first, scope.end),
        "causes": sections.causes(connection, scope),
        "kinds": sections.kinds(connection, scope),
        "parts": sections.parts(connection, scope),
        "next_fault": curve,
        "again": again,
        "quality": sections.quality(connection, scope),
        "swaps_by_month": money.swaps_by_month(connection, scope, delays),
        "swaps_by_technician": money.swaps_by_technician(connection, scope),
        "margins": money.margins(connection, scope),
        "model_families": excess_faults.model_families(connection, scope),
        "seasons": excess_faults.seasons(connection, scope),
    }


def _changes(
    now: dict[str, dict[str, Any]], before: dict[str, dict[str, Any]]
) -> dict[str, tuple[float, float, float]]:
    """Compare each figure with the period before, where both are known well enough.

    Rates followed for different times are compared on the last day that a quarter of both have reached.
    """
    from models.statistics.change import difference

    made = {}
    for measure, figure in now.items():
        other = before[measure]
        if measure == "wrong_swaps" and not (figure["is_comparable"] and other["is_comparable"]):
            continue
        if "on_day" in figure and figure["compared_on"] != other["compared_on"]:
            day = min(figure["compared_on"], other["compared_on"])
            values = [*figure["on_day"](day), *other["on_day"](day)]
        else:
            values = [part[name] for part in (figure, other) for name in ("value", "low", "high")]
        if all(value == value and abs(value) != float("inf") for value in values):
            cases = min(part["cases"] for part in (figure, other))
            made[measure] = difference(*values, cases=cases)
    return made


def _with_keys(frames: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Give the rows that open to jobs the key of their list."""

    def joined(family: str, *columns: pd.Series) -> list[str]:
        return [
            f"{family}-" + "\x1f".join("" if part is None or part != part else str(part) for part in row)
            for row in zip(*columns, strict=True)
        ]

    swaps, causes, ages = frames["wrong_swaps"], frames["causes"], frames["ages"]
    months = frames["fix_by_month"]
    return {
        **frames,
        "fix_by_month": months.assign(jobs=[f"month-{month:%Y-%m}" for month in months["month"]]),
        "wrong_swaps": swaps.assign(jobs=joined("swap", swaps["part"], swaps["instead_of"])),
        "causes": causes.assign(jobs=joined("cause", causes["kind"], causes["complaint"], causes["cause"])),
        "ages": ages.assign(jobs=joined("age", ages["value"].fillna("not known"))),
        "makes": frames["makes"].assign(jobs=joined("make", frames["makes"]["value"])),
        "technicians": frames["technicians"].assign(jobs=joined("technician", frames["technicians"]["technician"])),
        "parts": frames["parts"].assign(jobs=joined("part", frames["parts"]["part"])),
    }


def _wording(settings: Settings, language: str | None) -> Wording:
    from reports.render.wording import Wording, languages

    code = language or settings.locale
    if code not in languages():
        raise UsageError(
            f"There is no catalogue for the language {shown(code)}.", f"There is one for: {', '.join(languages())}."
        )
    return Wording(code, settings.currency)


def _know_charts(charts: Sequence[str], pictures: list[Picture]) -> None:
    unknown = sorted(set(charts) - {picture.name for picture in pictures})
    if unknown:
        raise UsageError(
            f"There is no chart {shown(unknown[0])}.",
            f"There are: {', '.join(picture.name for picture in pictures)}.",
        )


def _print(page: Path, pdf: Path) -> Path:
    from reports.render.pdf import find_browser, print_page

    browser = find_browser()
    if browser is None:
        raise UsageError(
            "PDF export needs Chromium; none was found.",
            "Install Chromium, or open the page in any browser and print it there.",
        )
    try:
        with whole(pdf) as draft:
            print_page(browser, page, draft)
    except RuntimeError as failed:
        raise UsageError(
            f"The page could not be printed: {failed}.", f"Open {page} in a browser and print it."
        ) from failed
    return pdf
