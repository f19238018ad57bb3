"""How many repairs has a unit had by each age? Mean cumulative number, for the main kinds."""

from __future__ import annotations

import pandas as pd

from reports.charts.drawn import Spec, finished, headed_above, layered, mark, number, said, spread_apart, words
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
    kinds = list(dict.fromkeys(frame["kind"]))[: len(LINES)]
    ages = number(
        "age",
        axis={"title": wording.say("next_fault.axis_x"), "grid": False, "tickMinStep": 1, "format": ".0f"},
        scale={"nice": False, "domainMin": 0},
    )
    axis = {"title": wording.say("next_fault.axis_y"), "tickCount": 5, **headed_above()}
    ends = frame.groupby("kind", sort=False)["repairs"].last()
    top = max(LEAST_TOP, float(frame["high"].max())) if len(frame) else 1.0
    places = spread_apart(list(ends), top * LABEL_GAP)
    lowest = min(places, default=0.0)
    label_at = dict(zip(ends.index, [place - min(lowest, 0.0) for place in places], strict=True))
    scale = {"domain": [0, max([top, *label_at.values()])], "nice": True}

    def at(column: str, **more: Spec) -> Spec:
        return {"x": ages, "y": number(column, axis=axis, scale=scale), **more}

    layers: list[Spec] = []
    frames: dict[str, pd.DataFrame] = {}
    for place, (kind, (name, dash)) in enumerate(zip(kinds, LINES, strict=False)):
        rows, end = frame[frame["kind"] == kind], f"end-{place}"
        line, colour = {"data": f"kind-{place}"}, {"color": theme.LIGHT[name]}
        frames |= {
            line["data"]: rows,
            end: rows.tail(1).assign(label=wording.term(kind), label_at=label_at[kind]),
        }
        label: Spec = {"align": "left", "dx": 10, "fontSize": 13, "limit": 150, "fontWeight": 700}
        layers += [
            mark("area", at("low", y2={"field": "high"}), opacity=0.12, aria=False, **line, **colour),
            mark("line", at("repairs"), strokeDash=dash, strokeWidth=2.5, aria=False, **line, **colour),
            mark("point", at("repairs", **said()), size=30, opacity=1, **line, **colour),
            mark("text", at("label_at", text=words("label")), data=end, aria=False, **label, **colour),
        ]
    if not layers:
        return layered([mark("point", at("repairs", **said()))], {"none": frame}, theme.CHART_HEIGHT)
    return layered(layers, frames, theme.CHART_HEIGHT)


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
