"""A period in figures: the report, and the parts that were often not the cause."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.commands.common import DEFAULT_DB, Db, Json, Quiet, show, tell_if_outdated
from pipeline.store.workshop_files import usual_page
from pipeline.terminal import views
from pipeline.terminal.progress import progress
from pipeline.terminal.text import wrapped
from pipeline.workshop import Workshop


def report(
    month: Annotated[str | None, typer.Argument(help="YYYY-MM; the last complete month when left out.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="The page to write, or with --all the folder; else beside the database.")
    ] = None,
    to: Annotated[str | None, typer.Option(help="Last month of a longer period, YYYY-MM.")] = None,
    against: Annotated[str | None, typer.Option(help="First month of the period to compare with, YYYY-MM.")] = None,
    against_to: Annotated[str | None, typer.Option(help="Its last month, if its length differs.")] = None,
    kind: Annotated[str | None, typer.Option(help="Only this kind of appliance.")] = None,
    technician: Annotated[str | None, typer.Option(help="This technician's own view.")] = None,
    branch: Annotated[str | None, typer.Option(help="Only this branch's jobs.")] = None,
    language: Annotated[str | None, typer.Option(help="Language of the page, such as de.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Also print to this file; needs a browser on this machine.")] = None,
    xlsx: Annotated[Path | None, typer.Option(help="Also write this workbook, a sheet a section.")] = None,
    png: Annotated[Path | None, typer.Option(help="Also write charts as PNG into this folder.")] = None,
    chart: Annotated[list[str] | None, typer.Option(help="With --png: only this chart (repeatable).")] = None,
    every_month: Annotated[bool, typer.Option("--all", help="All months, and an index page.")] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write the month's report: first-time fixes, callbacks, wrong swaps and their cost, in one HTML file.

    Example: priorjobs report 2026-09
    """
    view: dict[str, Any] = {"kind": kind, "technician": technician, "branch": branch, "language": language}
    with Workshop.open(db, read_only=True) as workshop:
        tell_if_outdated(workshop, quiet)
        if every_month:
            told = workshop.all_reports(
                out or usual_page(workshop.database.path, "reports"), tell=progress(quiet), **view
            )
            made_of = workshop.wording.say("page.months_made", n=len(told["months"]))
            show(told, [made_of, workshop.wording.say("page.written", path=told["index"])], as_json)
            return
        view |= {"to": to, "against": against, "against_to": against_to}
        made = workshop.report(month, out=out, pdf=pdf, xlsx=xlsx, png=png, charts=chart or (), **view)
    show(made.as_json(), made.lines(), as_json)


def advice(
    adopt: Annotated[int | None, typer.Option(help="Take up the advice with this number.")] = None,
    on: Annotated[str | None, typer.Option(help="With --adopt: since when, YYYY-MM-DD; today when left out.")] = None,
    undo: Annotated[int | None, typer.Option(help="Take back advice taken up, by its number.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """List parts that are often not the cause, and whether advice taken up has helped.

    Example: priorjobs advice, then priorjobs advice --adopt 2 --on 2026-09-01
    """
    with Workshop.open(db, read_only=adopt is None and undo is None) as workshop:
        if undo is not None:
            told = workshop.undo_advice(undo)
            show(told, views.taken_back(told, workshop.wording), as_json)
            return
        if adopt is not None:
            told = workshop.adopt(adopt, on)
            show(told, wrapped(views.adopted(told, workshop.wording)), as_json)
            return
        told, wording = workshop.advice(), workshop.wording
    show(told, wrapped(views.advice(told, wording)), as_json)
