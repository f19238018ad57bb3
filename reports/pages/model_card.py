"""A model's card as a page: what it learned from, how good it was on jobs it had not seen, and where it stops."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from reports.render.page import plain_frame, render

RELIABILITY_CSS = """
.reliability{max-width:24rem;width:100%;height:auto}
.reliability text{font-size:10px;fill:var(--soft)}
.reliability .axis{stroke:var(--line)}
.reliability .even{stroke:var(--soft);stroke-dasharray:4 3}
.reliability .bar{stroke:var(--main);stroke-width:2;opacity:.5}
.reliability circle{fill:var(--main)}
"""
LEFT, BOTTOM, SIDE = 40.0, 280.0, 280.0
FEW_JOBS = 100  # later jobs below which a difference in log-loss is mostly chance (common practice, no source)
HEADINGS = {
    "log_loss": "log-loss",
    "top1": "first cause right",
    "top3": "among first three",
    "brier": "Brier",
    "calibration_error": "calibration error",
}
LEAST_FOR_A_KIND = 10


def card_page(card: Mapping[str, Any]) -> str:
    """Make the page of a model card.

    Parameters
    ----------
    card
        What ``train`` stores: model, made_at, snapshot, episodes, causes, first_date, as_of, exam_jobs, half_life,
        jobs_by_cause, and where there were jobs to examine it on, scores, baselines, reliability, by_kind, by_facts.

    Returns
    -------
    One self-contained HTML page.
    """
    rows = card.get("reliability") or []
    return render(
        "model_card.html",
        title=f"Model {card['model']}",
        css=RELIABILITY_CSS,
        card={key: card[key] for key in ("model", "made_at", "snapshot")},
        scope=(
            f"Learned from {card['episodes']} cured jobs of {card['first_date']} to {card['as_of']} "
            f"with {card['causes']} causes. "
            "Labels are the causes confirmed by the cure, never the part that was swapped first."
        ),
        exam_jobs=str(card["exam_jobs"]),
        verdict=_verdict(card),
        scores=score_table(card, "this model"),
        score_columns=list(HEADINGS.values()),
        chart=reliability_chart(rows),
        reliability=reliability_table(rows),
        by_kind=broken_down(card.get("by_kind") or {}, "kind"),
        by_facts=broken_down(card.get("by_facts") or {}, "facts known"),
        weights=" ".join([half_life_line(card["half_life"]), *left_out_line(card)]),
        causes=_causes(card["jobs_by_cause"]),
        limits=_limits(card),
    )


def worse_line(told: Mapping[str, Any]) -> list[str]:
    """Say that a plain way foretold the held-out jobs better; nothing to say where none did."""
    if not told.get("scores") or not told.get("baselines"):
        return []
    name, best = min(told["baselines"].items(), key=lambda item: item[1]["log_loss"])
    if told["scores"]["log_loss"] <= best["log_loss"]:
        return []
    compared = f"{told['scores']['log_loss']:.3f} against {best['log_loss']:.3f} on {told['exam_jobs']:,} later jobs"
    few = "; so few jobs tell little" if told["exam_jobs"] < FEW_JOBS else ""
    return [f"Worse than {name}: log-loss {compared}{few}. Trust its odds less, and train again with more cured jobs."]


def _verdict(card: Mapping[str, Any]) -> str:
    scores, baselines = card.get("scores"), card.get("baselines") or {}
    if not scores or not baselines:
        return "There were no held-out jobs to examine it on, so its quality is not known."
    name, best = min(baselines.items(), key=lambda item: item[1]["log_loss"])
    apart = best["log_loss"] - scores["log_loss"]
    compared = "better" if apart > 0 else "worse"
    return (
        f"Its first cause was right in {scores['top1']:.0%} of held-out jobs. "
        f"Its log-loss, {scores['log_loss']:.3f}, is "
        f"{abs(apart):.3f} {compared} than the best of the plain ways tried, {name} ({best['log_loss']:.3f})."
    )


def half_life_line(told: Mapping[str, Any]) -> str:
    """Say how much older jobs weigh and by which figures that was chosen: gain in log-loss ± its standard error."""
    asked, tried = f"{told['asked']:,} later jobs", {row["years"]: row for row in told["tried"]}
    gains = {years: f"{row['gain']:.3f} ± {row['error']:.3f}" for years, row in tried.items()}
    if not tried:
        return "All jobs are weighted equally: there is too little to choose a half-life by."
    if told["years"] is None:
        listed = ", ".join(f"{years:g} years {gain}" for years, gain in gains.items())
        return f"All jobs are weighted equally: on {asked} a half-life gained too little ({listed})."
    others = "".join(f"; {years:g} years {gain}" for years, gain in gains.items() if years != told["years"])
    return f"A job weighs half after {told['years']:g} years: gain {gains[told['years']]} on {asked}{others}."


def left_out_line(told: Mapping[str, Any]) -> list[str]:
    """Say that older jobs are not learned from; nothing to say where all are."""
    older = told.get("left_out") or 0
    newest = f"Learned from the newest {told['episodes']:,} cured jobs: more would take long and add little."
    return [f"{newest} {older:,} older ones are left out."] if older else []


def score_table(told: Mapping[str, Any], name: str) -> pd.DataFrame:
    """Scores beside those of the baselines, one row a way of guessing; ``name`` is what the model is called."""
    if not told.get("scores"):
        return pd.DataFrame(columns=["", *HEADINGS.values()])
    all_rows = {name: told["scores"], **told["baselines"]}
    rows = [[way, *(f"{table[key]:.3f}" for key in HEADINGS)] for way, table in all_rows.items()]
    return pd.DataFrame(rows, columns=["", *HEADINGS.values()])


def reliability_chart(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What the macro of ``reliability.html`` draws: points with their intervals, ticks, all of it in words."""
    return {
        "points": [_point(row) for row in rows],
        "ticks": [
            {"x": LEFT + SIDE * t, "y": BOTTOM - SIDE * t + 4, "label": f"{t:.0%}"} for t in (0, 0.25, 0.5, 0.75, 1)
        ],
        "words": "; ".join(_said(row) for row in rows),
    }


def _point(row: Mapping[str, Any]) -> dict[str, Any]:
    half = 1.96 * math.sqrt(max(row["came"] * (1 - row["came"]), 0.25 / row["jobs"]) / row["jobs"])
    low, high = max(row["came"] - half, 0.0), min(row["came"] + half, 1.0)
    place = {"x": LEFT + SIDE * row["said"], "y": BOTTOM - SIDE * row["came"]}
    drawn = {**place, "low": BOTTOM - SIDE * low, "high": BOTTOM - SIDE * high}
    return {**{key: round(value, 1) for key, value in drawn.items()}, "said": _said(row)}


def _said(row: Mapping[str, Any]) -> str:
    return f"stated {row['said']:.0%}, came true {row['came']:.0%} of {row['jobs']}"


def reliability_table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """One row a band of stated probability: jobs, mean stated, share that came true."""
    told = [
        (f"{r['low']:.0%} to {r['high']:.0%}", str(r["jobs"]), f"{r['said']:.0%}", f"{r['came']:.0%}") for r in rows
    ]
    return pd.DataFrame(told, columns=["probability", "jobs", "stated", "came true"])


def broken_down(groups: Mapping[str, Mapping[str, Any]], heading: str) -> pd.DataFrame:
    """One row a group of jobs with its scores; groups of few jobs are counted only."""
    rows = [
        (
            name,
            str(t["jobs"]),
            *(
                (f"{t['log_loss']:.2f}", f"{t['top1']:.0%}", f"{t['top3']:.0%}")
                if t["jobs"] >= LEAST_FOR_A_KIND
                else ("too few",) * 3
            ),
        )
        for name, t in groups.items()
    ]
    return plain_frame(
        pd.DataFrame(rows, columns=[heading, "jobs", "log-loss", "first cause right", "among first three"])
    )


def _causes(jobs: Mapping[str, float]) -> pd.DataFrame:
    ordered = sorted(jobs.items(), key=lambda item: (-item[1], item[0]))
    return plain_frame(pd.DataFrame([(cause, f"{count:g}") for cause, count in ordered], columns=["cause", "jobs"]))


def _limits(card: Mapping[str, Any]) -> list[str]:
    few = sum(count < 5 for count in card["jobs_by_cause"].values())
    limits = [
        "It knows only causes this workshop has met; the share kept for none of these is shown with every answer.",
        f"{few} of its {card['causes']} causes have fewer than five jobs: these lean on causes like them.",
        "The range beside a cause is how far its figure would move had as many other jobs been learned from, widened. "
        "In trials in made workshops the true odds lay inside in 72 to 98 of 100 calls: least often with few jobs and "
        "where causes hang on combinations of facts.",
        "What was looked at was not chosen at random: a check is written down because somebody thought it worth doing.",
        "It says what the cause probably is, not what is safe to do; the cautions with each step come first.",
    ]
    if "boosting" in card.get("gains", {}):
        weight, gain = card["pool"]["boosting"], card["gains"]["boosting"]
        limits.append(
            f"Gradient boosting, tried on held-out jobs, lowered the log-loss by {gain:.3f}: "
            + (f"it stands in the pool with a weight of {weight:.2f}." if weight else "too little, so it is left out.")
        )
    if card.get("never_seen_causes"):
        limits.append(
            f"{card['never_seen_causes']} of the {card['exam_jobs']} held-out jobs had a cause never met before; "
            "they are in no score above. "
            f"Before them it had kept {card['none_of_these']:.1%} a job for that."
        )
    return limits
