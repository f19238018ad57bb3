"""The command line: parse, call one thing on `Workshop`, print."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.terminal import views
from pipeline.terminal.ending import ended
from pipeline.workshop import Workshop

app = typer.Typer(
    help="What a complaint usually turned out to be, what to look at first, what to carry, what wrong swaps cost.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
models_app = typer.Typer(rich_markup_mode=None)
app.add_typer(models_app, name="models")

Db = Annotated[Path, typer.Option("--db", envvar="PRIORJOBS_DB", help="The workshop's database file.")]
Json = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, nothing else there.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress and no notes.")]
Model = Annotated[str, typer.Argument(help="A model's number, as priorjobs models lists it.")]
DEFAULT_DB = Path("workshop.duckdb")


def main() -> None:
    """Run the command line; whatever happens, it ends in one message and the right exit status."""
    raise SystemExit(ended(lambda: app(prog_name="priorjobs", standalone_mode=False)))


def _tell(quiet: bool) -> Callable[[str], None]:
    """Progress on standard error; a bar is drawn over itself on a terminal, and left out where none is."""
    drawn = 0

    def tell(line: str) -> None:
        nonlocal drawn
        is_bar = line.startswith((views.DONE, views.TO_DO))
        if is_bar and not sys.stderr.isatty():
            return
        end = "\n" if not is_bar or views.TO_DO not in line else "\r"
        print(views.safe(line).ljust(drawn), file=sys.stderr, end=end, flush=True)  # noqa: T201
        drawn = len(line) if end == "\r" else 0

    return (lambda _: None) if quiet else tell


def _tell_on_terminal(quiet: bool, as_json: bool) -> Callable[[str], None]:
    """Progress where somebody is looking on, and nothing elsewhere."""
    return _tell(quiet or as_json or not sys.stderr.isatty())


def _print(data: dict[str, Any], lines: list[str], as_json: bool) -> None:
    text = json.dumps(data, ensure_ascii=False, default=str) if as_json else "\n".join(views.safe(x) for x in lines)
    sys.stdout.write(text + "\n")


@app.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Where to build it; made anew each time.")] = Path("demo-workshop"),
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Run the whole chain on the demo workshop and say what it found.

    Example: priorjobs demo
    """
    from pipeline.demo import run_demo

    told = run_demo(folder, _tell(quiet))
    _print(told, views.demo(told), as_json)


@app.command()
def load(
    files: Annotated[
        list[str],
        typer.Argument(help="Files or folders: CSV, XLSX, ODS, JSON Lines, Parquet; '-' reads standard input."),
    ],
    layout: Annotated[str | None, typer.Option(help="Layout file, or the name of a shipped layout.")] = None,
    save_layout: Annotated[
        Path | None, typer.Option(help="Save the mapping that was used, to be edited and reused.")
    ] = None,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a spreadsheet.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show what would happen, change nothing.")] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Refuse a whole file when one of its lines is refused.")
    ] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Load job records into the workshop database.

    Example: priorjobs load jobs-2025.csv office.xlsx --db shop.duckdb
    """
    if save_layout:
        from pipeline.load.report import may_hold_layout
        from pipeline.store.outputs import may_write

        may_write(save_layout, None, db=db)
        may_hold_layout(save_layout)
    with Workshop.open(db) as workshop:
        report = workshop.load(files, layout=layout, sheet=sheet, strict=strict, dry_run=dry_run, tell=_tell(quiet))
        if save_layout:
            report.save_layout(save_layout)
        _print(report.as_json(), report.lines(), as_json)
    if report.as_json()["totals"]["rejected"]:
        raise typer.Exit(1)


@app.command()
def train(
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Use the new model even if the one in use scores better.")
    ] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Learn causes from cured jobs; print the score against the baselines.

    Example: priorjobs train
    """
    with Workshop.open(db, read_only=True) as workshop:
        scored = workshop.train(anyway=anyway, tell=_tell_on_terminal(quiet, as_json))
    _print(scored, views.scores(scored), as_json)


@app.command()
def causes(
    kind: Annotated[str, typer.Option(help="Kind of appliance, as you would write it.")],
    make: Annotated[str | None, typer.Option(help="As on its plate.")] = None,
    model: Annotated[str | None, typer.Option(help="As on its plate; its leading letters and digits count.")] = None,
    age: Annotated[str | None, typer.Option(help='"3", "2y10m", "2021", "nearly 3 yrs"')] = None,
    complaint: Annotated[str | None, typer.Option(help="What the customer says, in any words.")] = None,
    code: Annotated[str | None, typer.Option(help='"F05", "lamps 1+3", "4 flashes"')] = None,
    found: Annotated[list[str] | None, typer.Option(help='What was seen: "water left=no". Repeat for more.')] = None,
    interactive: Annotated[bool, typer.Option("-i", "--interactive", help="Go step by step.")] = False,
    record: Annotated[Path | None, typer.Option(help="With -i: add the finished job's line to this CSV file.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Likely causes, next steps, parts to carry and cautions for one appliance.

    Example: priorjobs causes --kind w/m --age 3 --complaint "stops before spin, lamps flashing" --found "water left=no"
    """
    asked: dict[str, Any] = {
        "kind": kind,
        "make": make,
        "model": model,
        "age": age,
        "complaint": complaint,
        "code": code,
    }
    with Workshop.open(db, read_only=True) as workshop:
        if interactive:
            from pipeline.visit.conversation import run

            run(workshop.database, workshop.words, workshop.settings, **asked, found=found or (), record=record)
            return
        answer = workshop.causes(**asked, found=found or ())
        _print(answer.as_json(), views.wrapped(answer.lines()), as_json)


@app.command(name="round")
def round_(
    file: Annotated[Path, typer.Argument(help="Tomorrow's calls: CSV or XLSX, the columns of a job record.")],
    out: Annotated[Path, typer.Option(help="The page to write.")] = Path("round.html"),
    stock: Annotated[Path | None, typer.Option(help="Parts in stock: CSV with part, quantity.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """A day's calls: one page of visit sheets, and what to load into the van.

    Example: priorjobs round tomorrow.csv --out tomorrow.html
    """
    with Workshop.open(db, read_only=True) as workshop:
        planned = workshop.round(file, out, stock=stock)
    _print(planned, views.round_(planned, out), as_json)


@app.command()
def report(
    month: Annotated[str | None, typer.Argument(help="YYYY-MM; the last month that is over when left out.")] = None,
    out: Annotated[Path | None, typer.Option(help="The page to write, or with --all the folder.")] = None,
    to: Annotated[str | None, typer.Option(help="Last month of a longer period, YYYY-MM.")] = None,
    against: Annotated[str | None, typer.Option(help="First month of the period to compare with, YYYY-MM.")] = None,
    against_to: Annotated[str | None, typer.Option(help="Its last month, if it is of another length.")] = None,
    kind: Annotated[str | None, typer.Option(help="Only this kind of appliance.")] = None,
    technician: Annotated[str | None, typer.Option(help="This technician's own view.")] = None,
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
    """The month's report: first-time fixes, callbacks, wrong swaps and their cost, in one HTML file.

    Example: priorjobs report 2026-09
    """
    view: dict[str, Any] = {"kind": kind, "technician": technician, "language": language}
    with Workshop.open(db, read_only=True) as workshop:
        if every_month:
            told = workshop.all_reports(out or Path("reports"), tell=_tell(quiet), **view)
            _print(told, [f"{len(told['months'])} months", f"Written: {told['index']}"], as_json)
            return
        view |= {"to": to, "against": against, "against_to": against_to}
        made = workshop.report(month, out=out, pdf=pdf, xlsx=xlsx, png=png, charts=chart or (), **view)
    _print(made.as_json(), made.lines(), as_json)


@app.command()
def backtest(
    out: Annotated[Path, typer.Option(help="The page to write.")] = Path("backtest.html"),
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """How well it would have done over the last year: trained on the past, asked about what came next.

    Example: priorjobs backtest
    """
    with Workshop.open(db, read_only=True) as workshop:
        scored = workshop.backtest(out, tell=_tell_on_terminal(quiet, as_json))
    _print(scored, views.backtest(scored), as_json)


@models_app.callback(invoke_without_command=True)
def models(context: typer.Context, db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """List the fitted models and the one in use.

    Example: priorjobs models
    """
    if context.invoked_subcommand is None:
        with Workshop.open(db, read_only=True) as workshop:
            listed = workshop.models()
        _print({"models": listed.to_dict("records")}, views.frame(listed), as_json)


@models_app.command()
def compare(first: Model, second: Model, db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """Two models' scores side by side.

    Example: priorjobs models compare 0001 0002
    """
    with Workshop.open(db, read_only=True) as workshop:
        compared = workshop.compare_models(first, second)
    _print({"scores": compared.to_dict("records")}, views.frame(compared), as_json)


@models_app.command()
def use(model: Model, db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """Put one model in use: going back is this one command.

    Example: priorjobs models use 0001
    """
    with Workshop.open(db, read_only=True) as workshop:
        used = workshop.use_model(model)
    _print(used, views.pairs(used), as_json)


@app.command()
def review(
    out: Annotated[Path, typer.Option(help="Where to write the words to decide on.")] = Path("review.csv"),
    decisions: Annotated[Path | None, typer.Option(help="Take this decided file back in.")] = None,
    undo: Annotated[int | None, typer.Option(help="Undo the decision with this number.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Words no list knows: written out with suggestions, decisions taken back in.

    Example: priorjobs review --out review.csv, then priorjobs review --decisions review.csv
    """
    with Workshop.open(db, read_only=undo is None and decisions is None) as workshop:
        if undo is not None:
            told = workshop.undo_decision(undo)
        elif decisions is not None:
            told = workshop.take_decisions(decisions)
        else:
            told = {"words": workshop.write_review(out), "file": str(out)}
    _print(told, views.pairs(told), as_json)


def _tables_from(incomplete: str) -> list[str]:
    """Names of tables for the shell to complete."""
    from pipeline.store.export import tables

    return [name for name in tables() if name.startswith(incomplete)]


@app.command()
def advice(
    adopt: Annotated[int | None, typer.Option(help="Take up the advice with this number.")] = None,
    on: Annotated[str | None, typer.Option(help="With --adopt: since when, YYYY-MM-DD; today when left out.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Parts that are often not the cause, and whether the advice taken up has helped.

    Example: priorjobs advice, then priorjobs advice --adopt 2 --on 2026-09-01
    """
    with Workshop.open(db, read_only=adopt is None) as workshop:
        if adopt is not None:
            told = workshop.adopt(adopt, on)
            said = f"Taken up from {told['adopted_on']}: {told['says']} (decision {told['correction_id']})"
            _print(told, [said], as_json)
            return
        told = workshop.advice()
    _print(told, views.wrapped(views.advice(told)), as_json)


@app.command()
def export(
    table: Annotated[
        str, typer.Argument(help="A table or mart, such as episode or part_verdict.", autocompletion=_tables_from)
    ],
    file: Annotated[Path, typer.Argument(help="Ends in .csv, .parquet or .xlsx.")],
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write a table as CSV, Parquet or XLSX.

    Example: priorjobs export part_verdict verdicts.xlsx
    """
    with Workshop.open(db, read_only=True) as workshop:
        rows = workshop.export(table, file)
    _print({"table": table, "file": str(file), "rows": rows}, [f"{rows:,} rows of {table} in {file}"], as_json)


@app.command()
def forget(
    customer_ref: Annotated[str, typer.Argument(help="The customer's reference or name, as it stands in the records.")],
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Erase a customer's identity everywhere, and prove it by searching.

    Example: priorjobs forget C-1042
    """
    with Workshop.open(db) as workshop:
        told = workshop.forget(customer_ref)
    _print(told, views.pairs(told), as_json)


@app.command()
def status(db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """What is loaded, trained and out of date; data quality at a glance.

    Example: priorjobs status
    """
    with Workshop.open(db, read_only=True) as workshop:
        told = workshop.status()
    _print(told, views.status(told), as_json)


@app.command()
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
    _print(told, views.pairs(told), as_json)


@app.command()
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
    _print(told, views.pairs(told), as_json)


if __name__ == "__main__":
    main()
