"""The month: the report of any period and scope, and advice taken up with one click."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import flask

from pipeline.errors import UsageError
from pipeline.open.app import go, library, own_page, page
from pipeline.store.unchanged import while_unchanged

if TYPE_CHECKING:
    from pipeline.month.month import MonthReport
    from pipeline.workshop import Workshop

pages = flask.Blueprint("month", __name__)
VIEW = ("month", "to", "against", "against_to", "kind", "technician")
FILES = {"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "pdf": "application/pdf"}


@pages.get("/month")
def period() -> flask.Response:
    """The figures of a period, the advice that stands, and what came of the advice taken up."""
    with library().opened() as workshop:
        months = [(f"{month:%Y-%m}",) * 2 for month in _months(workshop)]
        if not months:
            return page("month.html", months=[], view={}, report=None)
        report = _report(workshop)
        said = while_unchanged(workshop.database, ("advice", *library().made_of(workshop)), workshop.advice)
        choices = {name: _choices(workshop, name) for name in ("kind", "technician")}
    return page(
        "month.html", months=months, view=_view(), choices=choices, report=report, figures=_figures(report), said=said
    )


@pages.get("/month/report")
def report() -> flask.Response:
    """The whole report, as the command writes it; its figures open to their jobs."""
    with library().opened() as workshop:
        return own_page(_report(workshop).html)


@pages.get("/month/report.<ending>")
def file(ending: str) -> flask.Response:
    """The report as a workbook or printed."""
    if ending not in FILES:
        flask.abort(404)
    with library().opened() as workshop:
        place = workshop.database.scratch / f"report.{ending}"
        wanted: dict[str, Any] = {ending: place, **_view()}
        made = workshop.report(out=place.with_suffix(".html"), **wanted)
        content = place.read_bytes()
    response = flask.Response(content, mimetype=FILES[ending])
    response.headers["Content-Disposition"] = f'attachment; filename="report-{made.scope.name}.{ending}"'
    return response


@pages.post("/month/advice")
def advice() -> flask.Response:
    """Take advice up, or take that back."""
    form = flask.request.form
    view = {name: form.get(name, "") for name in VIEW if form.get(name)}
    with library().opened(read_only=False) as workshop:
        if form.get("advice_id", "").isdigit():
            workshop.undo_advice(int(form["advice_id"]))
            return go("month.period", **view, _anchor="advice")
        row = next((row for row in workshop.advice()["rows"] if str(row["number"]) == form.get("number")), None)
        if row is None or row["says"] != form.get("says"):
            raise UsageError("This advice has changed since the page was made.", "Go back, reload, and look again.")
        workshop.adopt(row["number"], form.get("on") or None)
    return go("month.period", **view, _anchor="advice")


def _view() -> dict[str, str]:
    return {name: text for name in VIEW if (text := flask.request.args.get(name, "").strip())}


def _report(workshop: Workshop) -> MonthReport:
    view = _view()
    place = workshop.database.scratch / "report.html"
    what = ("report", *sorted(view.items()), *library().made_of(workshop))
    return while_unchanged(workshop.database, what, lambda: workshop.report(out=place, **view))


def _figures(report: MonthReport) -> dict[str, Any]:
    from reports.pages.headline import figures, sentence

    made, wording = report.figures, report.wording
    return {
        "sentence": sentence(made.now, made.before, made.changes, made.period, wording),
        "rows": figures(made.now, made.before, made.changes, made.period, wording, made.window_days),
    }


def _months(workshop: Workshop) -> list[Any]:
    from pipeline.month.scope import months_with_visits

    return months_with_visits(workshop.database.connection)


def _choices(workshop: Workshop, column: str) -> list[tuple[str, str]]:
    query = f"select distinct {column}, {column} from visit where {column} is not null order by 1"
    return workshop.database.connection.execute(query).fetchall()
