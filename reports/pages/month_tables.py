"""The tables of a month's page, as ready text."""

from __future__ import annotations

from typing import Any

import pandas as pd

from reports.charts import technicians
from reports.pages.headline import figures
from reports.pages.month_figures import MonthFigures
from reports.render.plain_text import plain
from reports.render.wording import Wording

HALF = 0.5  # of what will come to light


def quality_rows(frame: pd.DataFrame, wording: Wording) -> list[dict[str, Any]]:
    """Say each line of the section on records: what, how many, of how many, share."""
    rows = []
    for name, count, of in zip(frame["name"], frame["count"], frame["of"], strict=True):
        has_base = pd.notna(of) and of > 0
        rows.append(
            {
                "words": wording.say(f"quality.{name}"),
                "count": wording.number(count),
                "of": wording.number(of) if has_base else "",
                "share": wording.percent(count / of, 1) if has_base else "",
                "jobs": f"quality-{name}" if name in ("no_cause", "left_truncated") else None,
            }
        )
    return rows


def swaps_table(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show the share of wrong parts by month; a month of which less than half has come to light says so."""
    frame = made.frames["swaps_by_month"]
    is_known = frame["rate"].notna()
    return pd.DataFrame(
        {
            wording.say("columns.month"): [wording.month(month) for month in frame["month"]],
            wording.say("columns.wrong"): [wording.number(n) for n in frame["wrong"]],
            wording.say("columns.judged"): [wording.number(n) for n in frame["judged"]],
            wording.say("columns.shown"): [wording.percent(share) for share in frame["shown"]],
            wording.say("columns.rate"): [
                f"{wording.percent(rate, 1)} ({wording.percent(low)} – {wording.percent(high)})"
                if known
                else wording.say("page.too_few" if share >= HALF else "swaps.too_early")
                for rate, low, high, known, share in zip(
                    *(frame[name] for name in ("rate", "low", "high")), is_known, frame["shown"], strict=True
                )
            ],
        }
    )


def people_swaps(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show wrong parts by technician, like work with like."""
    frame = made.frames["swaps_by_technician"]
    return pd.DataFrame(
        {
            wording.say("columns.technician"): [wording.term(name) for name in frame["technician"]],
            wording.say("columns.wrong"): [wording.number(n) for n in frame["wrong"]],
            wording.say("columns.judged"): [wording.number(n) for n in frame["judged"]],
            wording.say("columns.expected"): [wording.number(n, 1) for n in frame["expected"]],
            wording.say("columns.words"): technicians.in_words(frame["words"], frame["widened"].max(), wording),
        }
    )


def branches(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show first-time fixes and returns by branch."""
    frame = made.frames["branches"]

    def shares(hits: str, of: str, *limits: str) -> list[str]:
        said = []
        for n, m, *values in zip(*(frame[name] for name in (hits, of, *limits)), strict=True):
            counted = wording.say("units.per_cent_of", x=wording.number(n), y=wording.number(m))
            rate, low, high = (wording.percent(value) for value in values)
            few = wording.say("page.too_few")
            said.append(f"{counted}: {few if values[0] != values[0] else f'{rate} ({low} – {high})'}")
        return said

    return pd.DataFrame(
        {
            wording.say("columns.branch"): [plain(name, 60) for name in frame["branch"]],
            wording.say("sections.fix"): shares("fixed", "known", "rate", "low", "high"),
            wording.say("columns.expected"): [wording.number(n, 1) for n in frame["expected"]],
            wording.say("columns.words"): [wording.say(f"technicians.{words}") for words in frame["words"]],
            wording.say("sections.callbacks"): shares("returns", "fixes", "back", "back_low", "back_high"),
        }
    )


def margins(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show what a visit brings over its hours and its road, by kind."""
    frame = made.frames["margins"]
    return pd.DataFrame(
        {
            wording.say("columns.kind"): [wording.term(kind) for kind in frame["kind"]],
            wording.say("columns.visits"): [
                wording.say("units.per_cent_of", x=wording.number(visits), y=wording.number(of))
                for visits, of in zip(frame["visits"], frame["of"], strict=True)
            ],
            wording.say("columns.charged"): [wording.money(money) for money in frame["charged"]],
            wording.say("columns.cost"): [wording.money(money) for money in frame["cost"]],
            wording.say("columns.margin"): [
                f"{wording.money(money)} ({wording.money(low)} – {wording.money(high)})"
                for money, low, high in zip(frame["margin"], frame["low"], frame["high"], strict=True)
            ],
        }
    )


def families(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show faults by model family against what is usual for the kind."""
    frame = made.frames["model_families"]
    return pd.DataFrame(
        {
            wording.say("columns.kind"): [wording.term(kind) for kind in frame["kind"]],
            wording.say("columns.family"): [
                " ".join(plain(text, 40) for text in pair if isinstance(text, str))
                for pair in zip(frame["make"], frame["model_family"], strict=True)
            ],
            wording.say("columns.units"): [wording.number(n) for n in frame["units"]],
            wording.say("columns.faults"): [wording.number(n) for n in frame["faults"]],
            wording.say("columns.usual"): [wording.number(n, 1) for n in frame["usual"]],
            wording.say("columns.complaint"): [
                f"{wording.term(complaint)} ({wording.number(times)})" if isinstance(complaint, str) else ""
                for complaint, times in zip(frame["complaint"], frame["times"], strict=True)
            ],
            wording.say("columns.chance"): [wording.p_value(p) for p in frame["p"]],
        }
    )


def seasons(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show faults by kind and quarter of the year."""
    frame = made.frames["seasons"]
    quarters = {
        wording.say("columns.quarter", n=number): [wording.number(n) for n in frame[f"q{number}"]]
        for number in range(1, 5)
    }
    return pd.DataFrame(
        {
            wording.say("columns.kind"): [wording.term(kind) for kind in frame["kind"]],
            **quarters,
            wording.say("columns.whole_years"): [wording.number(n) for n in frame["years"]],
            wording.say("columns.chance"): [wording.p_value(p) for p in frame["p"]],
        }
    )


def comparison(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Put two periods side by side: each figure with its interval, and whether the difference is more than chance."""
    now = figures(made.now, made.before, made.changes, made.period, wording, made.window_days)
    other = figures(made.before, made.now, {}, made.period, wording, made.window_days)
    verdicts = []
    for figure in now:
        change = made.changes.get(figure.measure)
        if change is None or any(part != part for part in change):
            verdicts.append(wording.say("compare.unknown"))
        else:
            verdicts.append(wording.say("compare.chance" if change[1] <= 0 <= change[2] else "compare.real"))
    return pd.DataFrame(
        {
            wording.say("columns.figure"): [figure.label for figure in now],
            made.period.name(wording): [f"{figure.value} ({figure.interval})" for figure in now],
            made.period.before_name(wording): [f"{figure.value} ({figure.interval})" for figure in other],
            wording.say("columns.change"): verdicts,
        }
    )
