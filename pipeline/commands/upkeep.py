"""Looking after a workshop: its state, the words to decide on, the demo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.commands.common import DEFAULT_DB, Db, Json, Quiet, show
from pipeline.terminal import views
from pipeline.terminal.progress import progress
from pipeline.terminal.text import pairs
from pipeline.workshop import Workshop


def demo(
    folder: Annotated[Path, typer.Option(help="Where to build it; rebuilt each time.")] = Path("demo-workshop"),
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Run everything on a demo workshop and say what it found.

    Example: priorjobs demo
    """
    from pipeline.demo import run_demo

    told = run_demo(folder, progress(quiet))
    show(told, views.demo(told), as_json)


def review(
    out: Annotated[Path, typer.Option(help="Where to write the words to decide on.")] = Path("review.csv"),
    decisions: Annotated[Path | None, typer.Option(help="Take in the decisions of this file.")] = None,
    undo: Annotated[int | None, typer.Option(help="Undo the decision with this number.")] = None,
    phrases: Annotated[
        bool, typer.Option("--phrases", help="Phrases that point to a cause, instead of unrecognised words.")
    ] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write out unrecognised words with suggestions; take in what you decided.

    Example: priorjobs review --out review.csv, then priorjobs review --decisions review.csv
    """
    with Workshop.open(db, read_only=undo is None and decisions is None) as workshop:
        if undo is not None:
            told = workshop.undo_decision(undo)
        elif decisions is not None:
            told = workshop.take_decisions(decisions)
        else:
            told = {"words": workshop.write_review(out, phrases=phrases), "file": str(out)}
    show(told, pairs(told), as_json)


def status(
    check: Annotated[
        bool,
        typer.Option(
            "--check",
            help="Also check the rules every table must keep, and whether the work has changed since training.",
        ),
    ] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Show what is loaded, trained and out of date, and how good the data are.

    Example: priorjobs status
    """
    with Workshop.open(db, read_only=True) as workshop:
        told = workshop.status(check=check)
    show(told, views.status(told), as_json)
    if told.get("broken"):
        raise typer.Exit(1)


def new_words(
    language: Annotated[str, typer.Argument(help="The language, such as fr.")],
    out: Annotated[Path | None, typer.Option(help="The file to write.")] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write a commented word list to fill in, for a language that is not shipped.

    Example: priorjobs words new fr
    """
    from pipeline.store.outputs import may_write
    from pipeline.words.skeleton import write_skeleton

    place = out or Path(f"words-{language}.toml")
    may_write(place, None)
    write_skeleton(language, place)
    show(
        {"file": str(place)},
        [f"Written: {place}. Fill it in, then name it in the settings file under word_lists."],
        as_json,
    )
