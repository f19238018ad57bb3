"""Whether older jobs weigh less, and how fast their weight halves: chosen by how well later jobs are foretold."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from models.causes.facts import entries
from models.causes.features import TEXT
from models.causes.jobs import all_causes, as_asked, code_jobs, naive_bayes_of, offset_of, regression_of
from models.causes.pool import job_losses, pool_weights

if TYPE_CHECKING:
    from collections.abc import Callable

    from models.causes.by_kind import ByKind
    from models.causes.jobs import Jobs

HALF_LIVES = (5.0, 2.0)  # years tried beside none, the longest first
STEPS = (0.7, 0.85, 1.0)  # learned from the first 70 % by time, asked up to 85 %; learned from 85 %, asked to the end
FREEDOM = 0.5  # of the regression; held-out jobs choose it later
FEWEST_ASKED = 150
MOST_JOBS = 10_000  # by which it is chosen, evenly spread over the history; more would say the same and take minutes
LEAST_GAIN = 0.002  # nats a later job, as for every part of the model
NEWEST = 0.99  # share of the jobs cured by the day that counts as now: one mistyped year ages no other job
DAYS_A_YEAR = 365.25


def weigh(cure_date: pd.Series, years: float | None) -> np.ndarray:
    """Weight of each job, 1 for the newest, half after ``years``; None = all weigh 1."""
    if years is None:
        return np.ones(len(cure_date))
    days = pd.to_datetime(cure_date).to_numpy().astype("datetime64[D]").astype(float)
    age = np.quantile(days, NEWEST, method="lower") - days
    return np.asarray(0.5 ** (np.maximum(age, 0.0) / DAYS_A_YEAR / years))


def choose(
    facts: pd.DataFrame, cause: pd.Series, cure_date: pd.Series, background: pd.DataFrame | None
) -> dict[str, Any]:
    """Choose a half-life for jobs in order of time, or none.

    Asking the whole model would multiply the time of training, so regression and naive Bayes are asked in its place,
    of which most is learned from jobs. Half of the later jobs are told as calls, before anybody has looked, where
    shares count most. Who is too sure is tempered by fewer jobs, so that a half-life would seem to help where nothing
    changed; so here the weights of the past jobs add to their number whatever the half-life, and both parts are pooled
    anew for each.

    Parameters
    ----------
    facts, cause, cure_date
        One row a job; columns as :func:`models.causes.features.wide` gives them.
    background
        As for :class:`models.CauseClassifier`.

    Returns
    -------
    years (None = all jobs weigh the same), asked (later jobs), log_loss (of all jobs alike; None = nothing was tried),
    tried (one row a half-life, the longest first until one loses: years, log_loss, gain over all jobs alike, error =
    standard error of that gain). A half-life is taken only when its gain, over all alike and over a longer one taken
    before it, is above ``LEAST_GAIN`` and two standard errors: a history that does not drift loses by forgetting.
    """
    chosen: dict[str, Any] = {"years": None, "asked": 0, "log_loss": None, "tried": []}
    if len(cause) * (STEPS[-1] - STEPS[0]) < FEWEST_ASKED:
        return chosen
    if len(cause) > MOST_JOBS:
        spread = np.linspace(0, len(cause) - 1, MOST_JOBS).astype(int)
        facts, cause, cure_date = facts.iloc[spread], cause.iloc[spread], cure_date.iloc[spread]
    names, code = all_causes(cause.to_numpy(dtype=str), background)
    jobs = code_jobs(facts, names, code, np.ones(len(code)), background, TEXT)
    losses_by = _judge(jobs, cure_date)
    alike = best = losses_by(None)
    if len(alike) < FEWEST_ASKED:
        return chosen
    chosen |= {"asked": len(alike), "log_loss": float(alike.mean())}
    for years in HALF_LIVES:
        losses = losses_by(years)
        gain, error = _gain(alike, losses)
        chosen["tried"].append({"years": years, "log_loss": float(losses.mean()), "gain": gain, "error": error})
        if gain < 0:
            break  # a shorter one would lose more
        gain, error = _gain(best, losses)
        if gain > max(LEAST_GAIN, 2 * error):
            chosen["years"], best = years, losses
    return chosen


def _gain(before: np.ndarray, losses: np.ndarray) -> tuple[float, float]:
    """Mean gain of one way over another, and its standard error."""
    apart = before - losses
    return float(apart.mean()), float(apart.std() / np.sqrt(len(apart)))


def _judge(jobs: Jobs, cure_date: pd.Series) -> Callable[[float | None], np.ndarray]:
    """Give, for a half-life, the log-loss of each later job whose cause had been met before."""
    as_calls, _ = as_asked(jobs, 0)
    asked_offset = offset_of(as_calls, jobs.lists)
    told = jobs.shown if jobs.written is not None else as_calls.shown  # beside lists no finding is read
    number, place = len(jobs.cause), np.arange(len(jobs.cause))
    before: dict[int, ByKind] = {}

    def losses(years: float | None) -> np.ndarray:
        found = []
        for begin, end in pairwise(int(number * step) for step in STEPS):
            used = place < begin
            asked = ~used & (place < end) & np.isin(jobs.cause, jobs.cause[:begin])
            weight = weigh(cure_date.iloc[:begin], years)
            weight = np.append(weight / weight.mean(), np.ones(number - begin))
            with threadpool_limits(limits=1):
                last = before.get(begin, next(reversed(before.values()), None))
                before[begin] = regression_of(jobs, used, FREEDOM, last, weight)
                layers = before[begin], naive_bayes_of(jobs, used, weight)
            opinions = [layer.scores(entries(told[asked]), jobs.kind[asked], asked_offset[asked]) for layer in layers]
            cause = jobs.cause[asked]
            if len(cause):
                found.append(job_losses(opinions, pool_weights(opinions, cause, np.ones(len(cause))), cause))
        return np.concatenate([np.zeros(0), *found])

    return losses
