"""Before a visit: one call, and a day of calls."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.commands.common import DEFAULT_DB, Db, Json, Quiet, show, tell_if_outdated
from pipeline.store.workshop_files import usual_page
from pipeline.terminal import views
from pipeline.terminal.text import wrapped
from pipeline.workshop import Workshop


def causes(
    kind: Annotated[str, typer.Option(help="Kind of appliance, as you would write it.")],
    make: Annotated[str | None, typer.Option(help="As on its plate.")] = None,
    model: Annotated[str | None, typer.Option(help="As on its plate; its leading letters and digits count.")] = None,
    age: Annotated[str | None, typer.Option(help='"3", "2y10m", "2021", "nearly 3 yrs"')] = None,
    complaint: Annotated[str | None, typer.Option(help="What the customer says, in any words.")] = None,
    code: Annotated[str | None, typer.Option(help='"K07", "lamps 1+4", "4 flashes"')] = None,
    found: Annotated[list[str] | None, typer.Option(help='What was seen: "water left=no". Repeat for more.')] = None,
    serial: Annotated[str | None, typer.Option(help="Serial number: past visits of this unit are looked up.")] = None,
    customer: Annotated[str | None, typer.Option(help="Customer reference, where there is no serial number.")] = None,
    interactive: Annotated[bool, typer.Option("-i", "--interactive", help="Go step by step.")] = False,
    record: Annotated[Path | None, typer.Option(help="With -i: add the finished job's line to this CSV file.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Give likely causes, next steps, parts to carry and cautions for one appliance.

    Example: priorjobs causes --kind w/m --age 3 --complaint "stops before spin, lamps flashing" --found "water left=no"
    """
    told: dict[str, Any] = {
        "kind": kind,
        "make": make,
        "model": model,
        "age": age,
        "complaint": complaint,
        "code": code,
        "found": found or (),
        "serial": serial,
        "customer": customer,
    }
    with Workshop.open(db, read_only=True) as workshop:
        if interactive:
            from pipeline.on_site.interrupted_visits import file_beside

            workshop.converse(record=record, begun=file_beside(workshop.database.path), **told)
            return
        tell_if_outdated(workshop, quiet)
        answer = workshop.causes(**told)
        show(answer.as_json(), wrapped(answer.lines()), as_json)


def round(
    file: Annotated[Path, typer.Argument(help="Tomorrow's calls: CSV or XLSX, the columns of a job record.")],
    out: Annotated[Path | None, typer.Option(help="The page to write; else round.html beside the database.")] = None,
    stock: Annotated[
        Path | None,
        typer.Option(help="Parts on the van and in the store: CSV; else stock.csv beside it."),
    ] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Prepare a day's calls: one page of visit sheets, and what to load into the van.

    Example: priorjobs round tomorrow.csv --out tomorrow.html
    """
    with Workshop.open(db, read_only=True) as workshop:
        tell_if_outdated(workshop, quiet)
        out = out or usual_page(workshop.database.path, "round.html")
        planned = workshop.round(file, out, stock=stock)
        wording = workshop.wording
    show(planned, views.round_(planned, out, wording), as_json)
