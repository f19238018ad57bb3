"""The cause models: train, backtest, list, compare, use."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.commands.common import DEFAULT_DB, Db, Json, Quiet, show
from pipeline.store.workshop_files import usual_page
from pipeline.terminal import views
from pipeline.terminal.progress import seen_progress
from pipeline.terminal.text import frame, pairs
from pipeline.workshop import Workshop

Model = Annotated[str, typer.Argument(help="A model's number, as priorjobs models lists it.")]


def train(
    force: Annotated[
        bool, typer.Option("--force", help="Use the new model even if the one in use scores better.")
    ] = False,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Learn causes from cured jobs; print the score against the baselines.

    Example: priorjobs train
    """
    with Workshop.open(db, read_only=True) as workshop:
        scored = workshop.train(force=force, tell=seen_progress(quiet or as_json))
    show(scored, views.scores(scored), as_json)


def backtest(
    out: Annotated[Path | None, typer.Option(help="The page to write; else backtest.html beside the database.")] = None,
    db: Db = DEFAULT_DB,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Backtest over the last year: trained on the past, asked about what came next.

    Example: priorjobs backtest
    """
    with Workshop.open(db, read_only=True) as workshop:
        out = out or usual_page(workshop.database.path, "backtest.html")
        scored = workshop.backtest(out, tell=seen_progress(quiet or as_json))
    show(scored, views.backtest(scored), as_json)


def models(context: typer.Context, db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """List the fitted models and the one in use.

    Example: priorjobs models
    """
    if context.invoked_subcommand is None:
        with Workshop.open(db, read_only=True) as workshop:
            listed = workshop.models()
        show({"models": listed.to_dict("records")}, frame(listed), as_json)


def compare(first: Model, second: Model, db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """Compare two models' scores side by side.

    Example: priorjobs models compare 0001 0002
    """
    with Workshop.open(db, read_only=True) as workshop:
        compared = workshop.compare_models(first, second)
    show({"scores": compared.to_dict("records")}, frame(compared), as_json)


def use(model: Model, db: Db = DEFAULT_DB, as_json: Json = False, quiet: Quiet = False) -> None:
    """Put a model in use; this is also how to go back to an earlier one.

    Example: priorjobs models use 0001
    """
    with Workshop.open(db, read_only=True) as workshop:
        used = workshop.use_model(model)
    show(used, pairs(used), as_json)
