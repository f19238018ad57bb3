"""Whether older jobs weigh less, and how fast their weight halves: chosen by how well later jobs are foretold."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from models.causes.features import CODE, TEXT
from models.causes.jobs import all_causes, code_jobs, ways_of

if TYPE_CHECKING:
    from models.causes.jobs import Jobs

HALF_LIVES = (5.0, 2.0)  # years tried beside none, the longest first
STEPS = (0.6, 0.8, 1.0)  # learned from the first 60 % by time, asked up to 80 %; learned from 80 %, asked to the end
FEWEST_ASKED = 50
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

    Asking the whole model would multiply the time of training, so what the lists say, corrected by the weighted jobs
    and without fault codes, is asked in its place. It carries most of the answer, takes a second, and is about as sure
    as it should be. A part that is too sure of itself is tempered by fewer jobs, so that a half-life seems to help
    where nothing changed: the Bayes layer by itself did so, codes a little. Without lists nothing is tried.

    Parameters
    ----------
    facts, cause, cure_date
        One row a job; columns as :func:`models.causes.features.wide` gives them.
    background
        As for :class:`models.CauseClassifier`.

    Returns
    -------
    years (None = all jobs weigh the same), asked (later jobs), log_loss (of all jobs alike; None = nothing was tried),
    tried (one row a half-life: years, log_loss, gain over all jobs alike, error = standard error of that gain). A
    half-life is taken only when its gain, over all alike and over a longer one taken before it, is above ``LEAST_GAIN``
    and two standard errors: a history that does not drift loses by forgetting.
    """
    chosen: dict[str, Any] = {"years": None, "asked": 0, "log_loss": None, "tried": []}
    if len(cause) * (STEPS[-1] - STEPS[0]) < FEWEST_ASKED:
        return chosen
    names, code = all_causes(cause.to_numpy(dtype=str), background)
    jobs = code_jobs(facts.drop(columns=[CODE, TEXT], errors="ignore"), names, code, np.ones(len(code)), background)
    alike = best = _losses(jobs, cure_date, None)
    if len(alike) < FEWEST_ASKED:
        return chosen
    chosen |= {"asked": len(alike), "log_loss": float(alike.mean())}
    for years in HALF_LIVES:
        losses = _losses(jobs, cure_date, years)
        gain, error = _gain(alike, losses)
        chosen["tried"].append({"years": years, "log_loss": float(losses.mean()), "gain": gain, "error": error})
        gain, error = _gain(best, losses)
        if gain > max(LEAST_GAIN, 2 * error):
            chosen["years"], best = years, losses
    return chosen


def _gain(before: np.ndarray, losses: np.ndarray) -> tuple[float, float]:
    """Mean gain of one way over another, and its standard error."""
    apart = before - losses
    return float(apart.mean()), float(apart.std() / np.sqrt(len(apart)))


def _losses(jobs: Jobs, cure_date: pd.Series, years: float | None) -> np.ndarray:
    """Log-loss of each later job whose cause had been met, nats."""
    number = len(jobs.cause)
    losses = []
    for begin, end in pairwise(STEPS):
        past, place = int(number * begin), np.arange(number)
        used = place < past
        asked = ~used & (place < int(number * end)) & np.isin(jobs.cause, jobs.cause[:past])
        weight = np.concatenate([weigh(cure_date.iloc[:past], years), np.ones(number - past)])
        with threadpool_limits(limits=1):
            ways = ways_of(replace(jobs, weight=weight), used)
        if ways is None:
            return np.zeros(0)
        scores = ways.scores(jobs.codes[asked], jobs.at[asked], jobs.places, jobs.causes)
        top = scores.max(axis=1)
        total = top + np.log(np.exp(scores - top[:, None]).sum(axis=1))
        losses.append(total - scores[np.arange(len(scores)), jobs.cause[asked]])
    return np.concatenate(losses)
