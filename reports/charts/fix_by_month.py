"""Are more faults fixed at the first visit than before? Month by month, provisional months drawn hollow."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import altair as alt
import pandas as pd

from reports.charts.finished_chart import Spec, filled, finished, headed_above, records_of, said, share_axis
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "fix-by-month"
A_MONTH = dt.timedelta(days=31)  # a month left out is a gap in the line


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw the rate by month with its intervals.

    Parameters
    ----------
    frame
        One row a month: month, rate, low, high (missing = too few for a rate), is_provisional, said.
    wording
        Language of the labels.
    """
    months = records_of(frame.dropna(subset=["rate"]).sort_values("month"))
    is_open = [bool(row["is_provisional"]) for row in months] + [False]
    days = [row["month"] for row in months]
    rows: list[Spec] = [
        {
            **row,
            "stretch": sum(late - early > A_MONTH for early, late in pairwise(days[: place + 1])),
            "label": wording.percent(row["rate"]) if place == len(months) - 1 else "",
            "settled": None if is_open[place] else row["rate"],
            "on_trial": row["rate"] if is_open[place] or is_open[place + 1] else None,
        }
        for place, row in enumerate(months)
    ]
    return filled(_drawn, wording.say("fix.axis"), rows={"months": rows})


def _drawn(axis_title: str) -> alt.LayerChart:
    shares = share_axis(**headed_above(axis_title))
    scale = alt.Scale(domain=[0, 1], nice=False)

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", axis=shares, scale=scale)

    axis = alt.Axis(title=None, format="%b %y", grid=False, tickCount={"interval": "month", "step": 3}, labelFlush=True)
    base = alt.Chart(alt.NamedData("months")).encode(x=alt.X("month:T", axis=axis))
    return alt.LayerChart(
        layer=[
            base.mark_rule(strokeWidth=5, color=theme.LIGHT["main-pale"], aria=False).encode(y=up("low"), y2="high:Q"),
            base.mark_line(aria=False).encode(y=up("settled"), detail="stretch:N"),
            base.mark_line(strokeDash=[3, 4], aria=False).encode(y=up("on_trial"), detail="stretch:N"),
            base.mark_point(size=55, strokeWidth=2, stroke=theme.LIGHT["main"], opacity=1).encode(
                y=up("rate"),
                fill=alt.condition(
                    "datum.is_provisional", alt.value(theme.LIGHT["paper"]), alt.value(theme.LIGHT["main"])
                ),
                **said(),
            ),
            base.mark_text(align="left", dx=9, dy=0, fontSize=14, fontWeight=700, aria=False).encode(
                y=up("rate"), text="label:N"
            ),
        ]
    ).properties(width="container", height=theme.CHART_HEIGHT)


def title_of(frame: pd.DataFrame, wording: Wording) -> str:
    """State the finding: the last month against what was usual in the settled months before it.

    A month is above or below the usual only where the difference is more than chance allows; a month too small for a
    rate is named with its counts.
    """
    if frame.empty:
        return wording.say("fix.title_few")
    last = frame.sort_values("month").iloc[-1]
    month = wording.month(last["month"])
    if last["rate"] != last["rate"]:
        counts = {name: wording.number(last[name]) for name in ("fixed", "known")}
        return wording.say("fix.title_too_few", month=month, **counts)
    if not last["against"]:
        return wording.say("fix.title_few")
    rates = {"last": wording.percent(last["rate"]), "usual": wording.percent(last["usual"])}
    return wording.say(f"fix.title_{last['against']}", month=month, **rates)


def picture(frame: pd.DataFrame, wording: Wording) -> Picture:
    """Give the chart with its words and table.

    Parameters
    ----------
    frame
        One row a month: month (first day), fixed, known, not_yet_known, rate, low, high, is_provisional; rate is
        missing with fewer than ten faults; usual, against (up, down, same; "" = not known): the last month and those
        before.
    wording
        Language of the page.
    """
    rows = frame.assign(said=[_said(row, wording) for row in frame.itertuples()])
    shown = rows.dropna(subset=["rate"]).sort_values("month")
    title = title_of(frame, wording)
    table = pd.DataFrame(
        {
            wording.say("columns.month"): [wording.month(day) for day in frame["month"]],
            wording.say("columns.fixed"): [wording.number(n) for n in frame["fixed"]],
            wording.say("columns.known"): [wording.number(n) for n in frame["known"]],
            wording.say("columns.open"): [wording.number(n) for n in frame["not_yet_known"]],
            wording.say("columns.rate"): [
                wording.percent(rate, 1) if rate == rate else wording.say("page.too_few") for rate in frame["rate"]
            ],
            wording.say("columns.interval"): [
                f"{wording.percent(low, 1)} – {wording.percent(high, 1)}" if low == low else ""
                for low, high in zip(frame["low"], frame["high"], strict=True)
            ],
        }
    )
    alt_text = (
        wording.say(
            "fix.alt",
            first=wording.month(shown["month"].iloc[0]),
            last=wording.month(shown["month"].iloc[-1]),
            value=wording.percent(shown["rate"].iloc[-1]),
        )
        if len(shown)
        else wording.say("page.nothing")
    )
    return finished(NAME, chart(rows, wording), title, alt_text, table, rows)


def _said(row: object, wording: Wording) -> str:
    month = wording.month(row.month)  # type: ignore[attr-defined]
    fixed, known, still_open = (wording.number(getattr(row, name)) for name in ("fixed", "known", "not_yet_known"))
    rate = row.rate  # type: ignore[attr-defined]
    if rate != rate:
        return wording.say("fix.said_few", month=month, fixed=fixed, n=row.known)  # type: ignore[attr-defined]
    key = "fix.said_provisional" if row.is_provisional else "fix.said"  # type: ignore[attr-defined]
    return wording.say(
        key,
        month=month,
        rate=wording.percent(rate, 1),
        fixed=fixed,
        known=known,
        open=still_open,
        low=wording.percent(row.low, 1),  # type: ignore[attr-defined]
        high=wording.percent(row.high, 1),  # type: ignore[attr-defined]
    )
