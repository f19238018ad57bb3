"""What all commands share: the database they work on, and how they print."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.errors import UsageError
from pipeline.terminal.text import json_line, safe
from pipeline.values.missing import none_where_missing

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.workshop import Workshop

Db = Annotated[Path, typer.Option("--db", envvar="PRIORJOBS_DB", help="The workshop's database file.")]
Json = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, nothing else there.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress and no notes.")]
DEFAULT_DB = Path("workshop.duckdb")


def show(data: dict[str, Any], lines: list[str], as_json: bool) -> None:
    """Print one answer: its data as JSON, or its lines with nothing in them that acts on a terminal."""
    sys.stdout.write(json_line(data) if as_json else "\n".join(safe(line) for line in lines) + "\n")


def tell_if_outdated(workshop: Workshop, quiet: bool) -> None:
    """Say on standard error that the visits held were read with other word lists than those in force."""
    from pipeline.words.list_version import is_outdated

    if not quiet and is_outdated(workshop.database.connection, workshop.settings):
        note = "The word lists have changed since the visits held were read; the next priorjobs load reads them again."
        sys.stderr.write(f"{workshop.wording.message(note)}\n")


def records(listed: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a frame as plain dictionaries; what is missing is None."""
    rows = none_where_missing(listed)
    return [dict(zip(listed.columns, row, strict=True)) for row in rows.itertuples(index=False)]


def confirm(question: str, option: str) -> None:
    """Ask before something is done that changes the books.

    Raises
    ------
    UsageError
        Nobody is there to be asked, and the option that says yes was not given; or the answer is no.
    """
    if not sys.stdin.isatty():
        raise UsageError("This changes the records, and there is nobody to ask.", f"Confirm beforehand with {option}.")
    sys.stderr.write(f"{safe(question)} [y/N] ")
    sys.stderr.flush()
    if sys.stdin.readline().strip().casefold() not in ("y", "yes"):
        raise UsageError("Nothing was changed.", f"Answer y, or add {option}.")
