"""What all commands share: the database they work on, and how they print."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.terminal.text import json_line, safe

Db = Annotated[Path, typer.Option("--db", envvar="PRIORJOBS_DB", help="The workshop's database file.")]
Json = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, nothing else there.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress and no notes.")]
DEFAULT_DB = Path("workshop.duckdb")


def show(data: dict[str, Any], lines: list[str], as_json: bool) -> None:
    """Print one answer: its data as JSON, or its lines with nothing in them that acts on a terminal."""
    sys.stdout.write(json_line(data) if as_json else "\n".join(safe(line) for line in lines) + "\n")
