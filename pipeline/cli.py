"""The command line: the commands in the order in which the help lists them."""

from __future__ import annotations

import typer

from pipeline.commands import books, models, month, pages, upkeep, visit
from pipeline.terminal.exit_message import ended

app = typer.Typer(
    help="What a complaint usually turned out to be, what to look at first, what to carry, what wrong swaps cost.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for command in (
    upkeep.demo,
    books.load,
    models.train,
    visit.causes,
    visit.round,
    month.report,
    models.backtest,
    upkeep.review,
    month.advice,
    books.batches,
    books.tables,
    books.take_back,
    books.export,
    books.forget,
    upkeep.status,
    books.backup,
    books.restore,
):
    app.command()(command)

app.command("open")(pages.open_)

models_app = typer.Typer(rich_markup_mode=None)
models_app.callback(invoke_without_command=True)(models.models)
models_app.command()(models.compare)
models_app.command()(models.use)
app.add_typer(models_app, name="models")

words_app = typer.Typer(
    rich_markup_mode=None, help="Word lists of your own.\n\nExample: priorjobs words new fr", no_args_is_help=True
)
words_app.callback()(lambda: None)
words_app.command(name="new")(upkeep.new_words)
app.add_typer(words_app, name="words")


def main() -> None:
    """Run the command line; whatever happens, it ends in one message and the right exit status."""
    raise SystemExit(ended(lambda: app(prog_name="priorjobs", standalone_mode=False)))


if __name__ == "__main__":
    main()
