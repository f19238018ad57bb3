"""How many repairs has a unit had by each age? Mean cumulative number, for the main kinds."""

from __future__ import annotations

import altair as alt
import pandas as pd

from reports.charts.drawn import finished, said, spread_apart
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "next-fault"
LABEL_GAP = 0.07
LEAST_TOP = 0.2  # repairs: a chart without any has an axis too
LINES = (("main", [1, 0]), ("other", [7, 4]), ("third", [2, 3]))


def chart(frame: pd.DataFrame, wording: Wording) -> alt.LayerChart:
    """Draw up to three kinds: line, band and label at the line's end; dash and label tell them apart without colour.

    Parameters
    ----------
    frame
        One row a kind and whole year of age: kind, age, repairs, low, high, said.
    wording
        Language of the labels.
    """
    kinds = list(dict.fromkeys(frame["kind"]))[: len(LINES)]
    ages = alt.X(
        "age:Q",
        axis=alt.Axis(title=wording.say("next_fault.axis_x"), grid=False, tickMinStep=1, format=".0f"),
        scale=alt.Scale(nice=False, domainMin=0),
    )
    axis = alt.Axis(
        title=wording.say("next_fault.axis_y"),
        tickCount=5,
        titleAnchor="end",
        titleAngle=0,
        titleAlign="left",
        titleBaseline="bottom",
        titleX=0,
        titleY=-8,
    )

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", axis=axis, scale=scale)

    ends = frame.groupby("kind", sort=False)["repairs"].last()
    top = max(LEAST_TOP, float(frame["high"].max())) if len(frame) else 1.0
    places = spread_apart(list(ends), top * LABEL_GAP)
    lowest = min(places, default=0.0)
    at = dict(zip(ends.index, [place - min(lowest, 0.0) for place in places], strict=True))
    scale = alt.Scale(domain=[0, max([top, *at.values()])], nice=True)
    layers: list[alt.Chart] = []
    for kind, (colour, dash) in zip(kinds, LINES, strict=False):
        rows = frame[frame["kind"] == kind]
        base = alt.Chart(rows).encode(x=ages)
        layers += [
            base.mark_area(color=theme.LIGHT[colour], opacity=0.12, aria=False).encode(y=up("low"), y2="high:Q"),
            base.mark_line(color=theme.LIGHT[colour], strokeDash=dash, strokeWidth=2.5, aria=False).encode(
                y=up("repairs")
            ),
            base.mark_point(color=theme.LIGHT[colour], size=30, opacity=1).encode(y=up("repairs"), **said()),
            alt.Chart(rows.tail(1).assign(label=wording.term(kind), label_at=at[kind]))
            .mark_text(
                align="left", dx=10, fontSize=13, limit=150, fontWeight=700, color=theme.LIGHT[colour], aria=False
            )
            .encode(x=ages, y=up("label_at"), text="label:N"),
        ]
    if not layers:
        layers = [alt.Chart(frame).mark_point().encode(x=ages, y=up("repairs"), **said())]
    return alt.LayerChart(layer=layers).properties(width="container", height=theme.CHART_HEIGHT)


def picture(frame: pd.DataFrame, again: pd.DataFrame, wording: Wording) -> Picture:
    """Give the chart with its words and table.

    Parameters
    ----------
    frame
        One row a kind and whole year of age, main kind first: kind, age, repairs (further ones, mean), low, high,
        units.
    again
        One row a kind, main kind first: kind, chance (of another repair within a year), low, high; NaN = not
        followed a year.
    wording
        Language of the page.
    """
    texts = [
        {
            "kind": wording.term(row.kind),
            "age": wording.number(row.age),
            "repairs": wording.number(row.repairs, 2),
            "low": wording.number(row.low, 2),
            "high": wording.number(row.high, 2),
        }
        for row in frame.itertuples()
    ]
    units = [int(n) for n in frame["units"]]
    rows = frame.assign(
        said=[wording.say("next_fault.said", n=n, **text) for text, n in zip(texts, units, strict=True)]
    )
    title = wording.say("next_fault.title_none")
    if len(again) and again["chance"].notna().iloc[0]:
        title = wording.say(
            "next_fault.title",
            chance=wording.percent(again["chance"].iloc[0]),
            low=wording.percent(again["low"].iloc[0]),
            high=wording.percent(again["high"].iloc[0]),
            kind=wording.term(again["kind"].iloc[0]),
        )
    table = pd.DataFrame(
        {
            wording.say("columns.kind"): [text["kind"] for text in texts],
            wording.say("columns.years"): [text["age"] for text in texts],
            wording.say("columns.repairs"): [text["repairs"] for text in texts],
            wording.say("columns.interval"): [f"{text['low']} – {text['high']}" for text in texts],
            wording.say("columns.units"): [wording.number(n) for n in units],
        }
    )
    return finished(NAME, chart(rows, wording), title, wording.say("next_fault.alt", title=title), table)
