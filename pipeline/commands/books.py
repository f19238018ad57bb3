"""Records in and out: load, export, forget, backup, restore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.commands.ask_layout import asker
from pipeline.commands.common import DEFAULT_DB, Db, Json, Quiet, confirm, records, show
from pipeline.errors import UsageError, shown
from pipeline.terminal.progress import progress
from pipeline.terminal.text import frame, pairs
from pipeline.workshop import Workshop

if TYPE_CHECKING:
    import pandas as pd


Files = Annotated[
    list[str],
    typer.Argument(help="Files or folders: CSV, XLSX, ODS, JSON Lines, Parquet; '-' reads standard input."),
]
GivenLayout = Annotated[str | None, typer.Option(help="Layout file, or the name of a shipped layout.")]
SaveLayout = Annotated[Path | None, typer.Option(help="Save the mapping that was used, to be edited and reused.")]
Sheet = Annotated[str | None, typer.Option(help="Sheet of a spreadsheet.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Show what would happen, change nothing.")]
Strict = Annotated[bool, typer.Option("--strict", help="Refuse a whole file when one of its lines is refused.")]
WholeHistory = Annotated[
    bool,
    typer.Option("--whole-history", help="The files hold every job of their period: take out visits they lack."),
]
AcceptGuess = Annotated[bool, typer.Option("--accept-guess", help="Accept a guessed layout without review.")]
YesReplace = Annotated[bool, typer.Option("--yes", help="Do not ask before a file is read again with another layout.")]


def load(
    files: Files,
    layout: GivenLayout = None,
    save_layout: SaveLayout = None,
    sheet: Sheet = None,
    dry_run: DryRun = False,
    strict: Strict = False,
    whole_history: WholeHistory = False,
    accept_guess: AcceptGuess = False,
    yes: YesReplace = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Load job records into the workshop database.

    Columns that no layout knows are guessed, shown, and asked about; where nobody can be asked, nothing is loaded and
    the guess is written as a layout file to be checked.

    Example: priorjobs load jobs-2025.csv office.xlsx --db shop.duckdb
    """
    if save_layout:
        _may_save(save_layout, db)
    is_new = not db.exists()
    with Workshop.open(db) as workshop:
        report = workshop.load(
            files,
            layout=layout,
            sheet=sheet,
            strict=strict,
            dry_run=dry_run,
            whole_history=whole_history,
            accept_guess=accept_guess,
            decide=asker(save_layout),
            may_replace=None if yes else lambda question: confirm(question, "--yes"),
            tell=progress(quiet),
        )
        if dry_run and is_new:
            report.notes.append(
                f"The workshop {shown(db.name)} was created for this and is empty; its key lies beside it."
            )
        if save_layout:
            report.save_layout(save_layout)
        show(report.as_json(), report.lines(), as_json)
    if report.faults:
        raise typer.Exit(2)
    if report.totals["rejected"]:
        raise typer.Exit(1)


def _may_save(layout: Path, db: Path) -> None:
    """Refuse before the work a place where the layout cannot be saved."""
    from pipeline.load.report import may_hold_layout
    from pipeline.store.outputs import may_write

    may_write(layout, None, db=db)
    may_hold_layout(layout)


def tables(
    table: Annotated[str | None, typer.Argument(help="Only this table, with every column.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Describe every table, or every column of one table.

    Example: priorjobs tables, then priorjobs tables episode
    """
    with Workshop.open(db, read_only=True) as workshop:
        described = workshop.tables()
    if table is None:
        shown_rows = described.drop_duplicates("table")[["table", "grain"]]
    else:
        described = described[described["table"] == table]
        if described.empty:
            raise UsageError(f"There is no table {shown(table)}.", "See them all: priorjobs tables")
        shown_rows = described[["column", "type", "meaning"]]
    show({"columns": records(described)}, [f"{row[0]}: " + "; ".join(row[1:]) for row in _texts(shown_rows)], as_json)


def _texts(rows: pd.DataFrame) -> list[tuple[str, ...]]:
    return [tuple("" if value is None else str(value) for value in row) for row in rows.itertuples(index=False)]


def batches(db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """List the files that came in, by the number that take-back knows them by.

    Example: priorjobs batches
    """
    with Workshop.open(db, read_only=True) as workshop:
        listed = workshop.batches()
    show({"batches": records(listed)}, frame(listed.drop(columns="layout")), as_json)


def take_back(
    batch: Annotated[int | None, typer.Argument(help="Number of the batch, as priorjobs batches lists it.")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Bring back what was taken back since the last load.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Take a file out again, with everything that rests on it.

    Example: priorjobs take-back 3
    """
    if undo == (batch is not None):
        raise UsageError("Name a batch, or give --undo.", "See what came in: priorjobs batches")
    with Workshop.open(db) as workshop:
        if undo:
            told = workshop.undo_take_back()
        else:
            listed = workshop.batches().set_index("batch")
            number = int(batch or 0)
            if not yes and number in listed.index:
                what = f"batch {number}, {shown(listed.file[number])}, {listed.visits[number]:,} visits"
                confirm(f"Take back {what}?", "--yes")
            told = workshop.take_back(number)
    show(told, pairs(told), as_json)


def _tables_from(incomplete: str) -> list[str]:
    """Names of tables for the shell to complete."""
    from pipeline.store.export import tables

    return [name for name in tables() if name.startswith(incomplete)]


def export(
    table: Annotated[
        str, typer.Argument(help="A table or mart, such as episode or part_verdict.", autocompletion=_tables_from)
    ],
    file: Annotated[Path, typer.Argument(help="Ends in .csv, .json, .parquet or .xlsx.")],
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write a table as CSV, JSON, Parquet or XLSX.

    Example: priorjobs export part_verdict verdicts.xlsx
    """
    with Workshop.open(db, read_only=True) as workshop:
        rows = workshop.export(table, file)
    show({"table": table, "file": str(file), "rows": rows}, [f"{rows:,} rows of {table} in {file}"], as_json)


def forget(
    customer_ref: Annotated[str, typer.Argument(help="The customer's reference or name, as it stands in the records.")],
    called: Annotated[
        list[str] | None,
        typer.Option(help="A name the customer goes by in notes of their own visits; may be repeated."),
    ] = None,
    several: Annotated[bool, typer.Option("--several", help="Forget all customers who bear the name.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Erase a customer's identity everywhere, and prove it by searching.

    Example: priorjobs forget C-1042
    """
    if not yes:
        confirm(f"Erase everything that names {shown(customer_ref)}? This cannot be undone.", "--yes")
    with Workshop.open(db) as workshop:
        told = workshop.forget(customer_ref, called=called or (), several=several)
    show(told, pairs(told), as_json)


def backup(
    file: Annotated[Path, typer.Argument(help="The one file to write.")],
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Put the database, its key, settings and models into one file.

    Example: priorjobs backup shop-2026-11.zip
    """
    from pipeline.store.backup import write_backup

    told = write_backup(db, file)
    show(told, pairs(told), as_json)


def restore(
    file: Annotated[Path, typer.Argument(help="A file written by backup.")],
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Bring a workshop back from a backup; refuses to write over one that is there.

    Example: priorjobs restore shop-2026-11.zip --db shop.duckdb
    """
    from pipeline.store.backup import restore_backup

    told = restore_backup(file, db)
    show(told, pairs(told), as_json)
