"""Backtest: how good the answers would have been, month by month, trained on the past alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.errors import ModelError
from pipeline.terminal.progress import bar
from pipeline.train.examples import FEWEST, examples, left_out
from pipeline.train.word_background import background

if TYPE_CHECKING:
    from pipeline.load.load_request import Told
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words


def backtest(
    database: Database, words: Words, settings: Settings, *, months: int = 12, tell: Told | None = None
) -> dict[str, Any]:
    """Score month by month, trained on the past; baselines in the same table; a learning curve.

    ``tell`` is told how far it is.

    Raises
    ------
    ModelError
        Too few cured jobs.
    """
    from models.evaluate.backtest import learning_curve, roll

    jobs = examples(database)
    if len(jobs) < FEWEST:
        raise ModelError(
            f"There are {len(jobs)} cured jobs; a backtest needs at least {FEWEST}.", "Load more job records."
        )
    lists, say = background(words), tell or (lambda _: None)
    say("Learning from more and more of the jobs …")
    curve = learning_curve(jobs, background=lists, tell=lambda done, of: say(bar(done, of, "shares of the jobs")))
    say("Learning from the past, asking about what came next …")
    rolled = roll(jobs, months, background=lists, tell=lambda done, of: say(bar(done, of, "quarters")))
    return rolled | {"learning_curve": curve, "episodes": len(jobs), "left_out": left_out(database)}
