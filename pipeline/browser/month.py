"""The month: the report of any period and scope, and advice taken up with one click."""

from __future__ import annotations

import base64
import json
from typing import TYPE_CHECKING

import flask

from pipeline.browser.app import go, library, made_apart, number, own_page, page
from pipeline.errors import UsageError
from pipeline.month.scope import months_with_visits
from reports.render.wording import Written

if TYPE_CHECKING:
    from pipeline.workshop import Workshop

pages = flask.Blueprint("month", __name__)
VIEW = ("month", "to", "against", "against_to", "kind", "technician", "branch")
FILES = {"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "pdf": "application/pdf"}


@pages.get("/month")
def period() -> flask.Response:
    """The figures of a period, the advice that stands, and what came of the advice taken up."""
    with library().opened() as workshop:
        months = [(f"{month:%Y-%m}",) * 2 for month in months_with_visits(workshop.database.connection)]
        choices = {name: _choices(workshop, name) for name in VIEW[4:]}
    view = _view()
    month = made_apart("month", json.dumps(view, sort_keys=True)) if months else None
    return page("month.html", months=months, view=view, choices=choices, month=month)


@pages.get("/month/report")
def report() -> flask.Response:
    """The whole report, as the command writes it; its figures open to their jobs."""
    return own_page(_report("html")[1].decode())


@pages.get("/month/report.<ending>")
def file(ending: str) -> flask.Response:
    """The report as a workbook or printed."""
    if ending not in FILES:
        flask.abort(404)
    name, content = _report(ending)
    response = flask.Response(content, mimetype=FILES[ending])
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@pages.post("/month/advice")
def advice() -> flask.Response:
    """Take advice up, or take that back."""
    form = flask.request.form
    view = {name: form.get(name, "") for name in VIEW if form.get(name)}
    with library().opened(read_only=False) as workshop:
        if (adopted := number(form.get("advice_id"))) is not None:
            workshop.undo_advice(adopted)
            return go("month.period", **view, _anchor="advice")
        row = next((row for row in workshop.advice()["rows"] if str(row["number"]) == form.get("number")), None)
        if row is None or row["says"] != form.get("says"):
            raise UsageError("This advice has changed since the page was made.", "Go back, reload, and look again.")
        workshop.adopt(row["number"], form.get("on") or None)
    return go("month.period", **view, _anchor="advice")


def _view() -> dict[str, str]:
    return {name: text for name in VIEW if (text := flask.request.args.get(name, "").strip())}


def _report(ending: str) -> tuple[str, bytes]:
    name, content = made_apart("report", json.dumps(_view(), sort_keys=True), ending)
    return name, base64.b64decode(content)


def _choices(workshop: Workshop, column: str) -> list[tuple[str, str]]:
    query = f"select distinct {column} from visit where {column} is not null order by 1"
    found = workshop.database.connection.execute(query).fetchall()
    return [(name, name if column == "kind" else Written(name)) for (name,) in found]
