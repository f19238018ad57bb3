"""The backtest as a page: how well it would have done, month by month, and how far its probabilities can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from reports.pages.model_card import (
    HEADINGS,
    RELIABILITY_CSS,
    broken_down,
    half_life_line,
    reliability_chart,
    reliability_table,
    score_table,
)
from reports.render.page import render

HOW = (
    "Everything learns from the jobs cured before a quarter begins and is asked about each job of that quarter, then "
    "the next; nothing ever sees a job it is asked about, nor a later one."
)


def backtest_page(told: Mapping[str, Any]) -> str:
    """Make the page of a backtest that could ask about at least one job.

    Parameters
    ----------
    told
        What `pipeline.train.backtest.backtest` returns.

    Returns
    -------
    One self-contained HTML page.
    """
    return render(
        "backtest.html",
        title="Backtest",
        css=RELIABILITY_CSS,
        scope=f"{told['months'][0]['month']} to {told['months'][-1]['month']}, {told['scores']['jobs']:,} jobs",
        headline=headline(told),
        how=HOW,
        weights=half_life_line(told["half_life"]),
        scores=score_table(told, "priorjobs"),
        score_columns=list(HEADINGS.values()),
        brier=brier_line(told),
        chart=reliability_chart(told["reliability"]),
        reliability=reliability_table(told["reliability"]),
        months=pd.DataFrame(
            [
                (
                    row["month"],
                    f"{row['jobs']:,}",
                    f"{row['learned_from']:,}",
                    f"{row['log_loss']:.2f}",
                    f"{row['top1']:.0%}",
                    f"{row['top3']:.0%}",
                )
                for row in told["months"]
            ],
            columns=["month", "jobs", "learned from", "log-loss", "first cause right", "among first three"],
        ),
        by_kind=broken_down(told["by_kind"], "kind"),
        by_facts=broken_down(told["by_facts"], "facts known"),
        curve=pd.DataFrame(
            [
                (f"{row['learned_from']:,}", f"{row['asked']:,}", f"{row['log_loss']:.3f}", f"{row['top1']:.1%}")
                for row in told["learning_curve"]
            ],
            columns=["learned from", "asked about", "log-loss", "first cause right"],
        ),
    )


def headline(told: Mapping[str, Any]) -> str:
    """Say what came out in one sentence."""
    scores = told["scores"]
    name, best = min(told["baselines"].items(), key=lambda row: row[1]["log_loss"])
    apart = best["log_loss"] - scores["log_loss"]
    return (
        f"The first cause was right in {scores['top1']:.0%} of {scores['jobs']:,} later jobs, one of the first three "
        f"in {scores['top3']:.0%}; log-loss {scores['log_loss']:.2f}, {abs(apart):.2f} "
        f"{'better' if apart > 0 else 'worse'} than {name}"
    )


def brier_line(told: Mapping[str, Any]) -> str:
    """Brier score of the first cause in its parts, and what no score holds."""
    part = told["scores"]["first_cause"]
    within = f"{'-' if part['within'] < 0 else '+'} within bands {abs(part['within']):.3f}"
    line = (
        f"Brier score of the first cause {part['brier']:.3f} = reliability {part['reliability']:.3f} - resolution "
        f"{part['resolution']:.3f} + uncertainty {part['uncertainty']:.3f} {within}."
    )
    never = told["never_seen_causes"]
    missed = f" {never} jobs turned out to be a cause never met before; they are in no score." if never else ""
    return line + missed
