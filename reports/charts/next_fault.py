"""How many repairs has a unit had by each age? Mean cumulative number, for the main kinds."""

from __future__ import annotations

import altair as alt
import pandas as pd

from reports.charts.finished_chart import (
    Spec,
    filled,
    finished,
    headed_above,
    open_number,
    records_of,
    said,
    spread_apart,
)
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "next-fault"
LABEL_GAP = 0.07
LEAST_TOP = 0.2  # repairs: a chart without any has an axis too
LINES = (("main", [1, 0]), ("other", [7, 4]), ("third", [2, 3]))


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw up to three kinds: line, band and label at the line's end; dash and label tell them apart without colour.

    Parameters
    ----------
    frame
        One row a kind and whole year of age: kind, age, repairs, low, high, said.
    wording
        Language of the labels.
    """
    places = {kind: place for place, kind in enumerate(dict.fromkeys(frame["kind"]))}
    rows: list[Spec] = [{**row, "place": places[row["kind"]]} for row in records_of(frame)]
    rows = [row for row in rows if row["place"] < len(LINES)]
    ends = list({row["place"]: row for row in rows}.values())
    top = max((LEAST_TOP, *(row["high"] for row in rows))) if rows else 1.0
    label_at = spread_apart([row["repairs"] for row in ends], top * LABEL_GAP)
    label_at = [place - min(0.0, *label_at) for place in label_at]
    labels = [
        {**row, "label": wording.term(row["kind"]), "label_at": place}
        for row, place in zip(ends, label_at, strict=True)
    ]
    axes = (wording.say("next_fault.axis_x"), wording.say("next_fault.axis_y"))
    return filled(_drawn, *axes, rows={"years": rows, "ends": labels}, top=max([top, *label_at]))


def _drawn(title_across: str, title_up: str) -> alt.LayerChart:
    ages = alt.X(
        "age:Q",
        axis=alt.Axis(title=title_across, grid=False, tickMinStep=1, format=".0f"),
        scale=alt.Scale(nice=False, domainMin=0),
    )
    axis = alt.Axis(tickCount=5, **headed_above(title_up))
    scale = alt.Scale(domain=[0, open_number("top")], nice=True)

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", axis=axis, scale=scale)

    layers: list[alt.Chart] = []
    for place, (name, dash) in enumerate(LINES):
        colour = theme.LIGHT[name]
        base, end = (
            alt.Chart(alt.NamedData(data)).encode(x=ages).transform_filter(f"datum.place === {place}")
            for data in ("years", "ends")
        )
        layers += [
            base.mark_area(color=colour, opacity=0.12, aria=False).encode(y=up("low"), y2="high:Q"),
            base.mark_line(color=colour, strokeDash=dash, strokeWidth=2.5, aria=False).encode(y=up("repairs")),
            base.mark_point(color=colour, size=30, opacity=1).encode(y=up("repairs"), **said()),
            end.mark_text(align="left", dx=10, fontSize=13, limit=150, fontWeight=700, color=colour, aria=False).encode(
                y=up("label_at"), text="label:N"
            ),
        ]
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
    if len(frame) and len(again) and again["chance"].notna().iloc[0]:
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
