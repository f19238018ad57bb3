"""The workshop's pages in a browser, for people who open no terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.commands.common import DEFAULT_DB, Db


def open_(
    db: Db = DEFAULT_DB,
    port: Annotated[int, typer.Option(min=1024, max=65535, help="Port to listen on, on this machine only.")] = 8750,
    lan: Annotated[
        bool, typer.Option("--lan", help="Also let phones of the same network in: technician's pages, with a code.")
    ] = False,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open the browser.")] = False,
) -> None:
    """Open the workshop in a browser on this machine: records, questions before a visit, the month, the models.

    Example: priorjobs open
    """
    from pipeline.browser.serve import serve

    serve(Path(db), port, browser=not no_browser, lan=lan)
