"""What all commands share: the database they work on, and how they print."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.terminal.text import safe

Db = Annotated[Path, typer.Option("--db", envvar="PRIORJOBS_DB", help="The workshop's database file.")]
Json = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, nothing else there.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress and no notes.")]
DEFAULT_DB = Path("workshop.duckdb")


def show(data: dict[str, Any], lines: list[str], as_json: bool) -> None:
    """Print one answer: its data as JSON, or its lines with nothing in them that acts on a terminal."""
    text = json.dumps(data, ensure_ascii=False, default=str) if as_json else "\n".join(safe(line) for line in lines)
    sys.stdout.write(text + "\n")
