"""All months on one page: one row a month, each leading to its own report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reports.pages.headline import MEASURES, STRIP_WIDTH, shown_value, state
from reports.pages.month_figures import MonthFigures
from reports.render.page import render
from reports.render.wording import Wording


def index_page(months: Sequence[tuple[MonthFigures, str]], wording: Wording) -> str:
    """Write the index page.

    Parameters
    ----------
    months
        Figures of each month, oldest first, and the file name of its page beside the index.
    wording
        Language and money.
    """
    rows = [_row(made, file, wording) for made, file in reversed(months)]
    return render(
        "index.html",
        title=wording.say("index.title"),
        language=wording.language,
        words=wording.section("page"),
        wording=wording,
        headings=[
            wording.say(f"figure.{measure}", window=months[-1][0].window_days if months else "") for measure in MEASURES
        ],
        sentence=wording.say("index.sentence", n=len(rows)),
        years=_by_year(rows),
    )


def _row(made: MonthFigures, file: str, wording: Wording) -> dict[str, Any]:
    fix = made.now["first_time_fix"]
    has_rate = fix["value"] == fix["value"]
    moves = any(made.now[measure]["is_provisional"] for measure in MEASURES)
    values = [shown_value(measure, made.now[measure]["value"], wording) for measure in MEASURES]
    if not has_rate:
        values[0] = wording.say("units.per_cent_of", x=wording.number(fix["fixed"]), y=wording.number(fix["known"]))
    return {
        "year": made.period.last.year,
        "month": wording.month(made.period.last),
        "file": file,
        "visits": wording.number(made.visits),
        "values": values,
        "is_provisional": fix["is_provisional"],
        "state": state(made.now, wording) if moves else "",
        "now": f"{STRIP_WIDTH * fix['value']:.1f}" if has_rate else None,
        "low": f"{STRIP_WIDTH * fix['low']:.1f}" if has_rate else None,
        "high": f"{STRIP_WIDTH * fix['high']:.1f}" if has_rate else None,
    }


def _by_year(rows: list[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    years = dict.fromkeys(row["year"] for row in rows)
    return [(str(year), [row for row in rows if row["year"] == year]) for year in years]
