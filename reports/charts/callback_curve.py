"""How soon do repairs come back? Cumulative incidence by day since the repair, this year against the year before."""

from __future__ import annotations

import altair as alt
import pandas as pd

from reports.charts.finished_chart import (
    Spec,
    filled,
    finished,
    headed_above,
    is_missing,
    open_number,
    records_of,
    said,
    share_axis,
)
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "callback-curve"
LAST_DAY = 90
LABEL_GAP = 0.06  # of the height
LABEL_FROM = 45  # the day at which a label begins on the narrowest screen
DAYS_READ = (7, 14, 30, 60, 90)
_SHARES = {"share": "incidence", "low": "low", "high": "high"}


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw the curves with their bands, labelled at their ends.

    Parameters
    ----------
    frame
        One row a period and day: period ("this", "last"), day, incidence, low, high.
    wording
        Language of the labels.
    """
    rows: list[Spec] = [
        {**row, "is_this": row["period"] == "this", "share": row["incidence"]} for row in records_of(frame)
    ]
    ends = list({row["period"]: row for row in sorted(rows, key=lambda row: (row["period"], row["day"]))}.values())
    highest = max((row["high"] for row in rows if not is_missing(row["high"])), default=None)
    top = 0.2 if highest is None else max(0.05, highest * 1.15)
    labels = [
        {**row, "label": wording.say(f"callbacks.{row['period']}"), "label_at": place}
        for row, place in zip(ends, _label_places(rows, ends, top), strict=True)
    ]
    read = [{**row, "said": _said(row, wording)} for row in rows if row["day"] in DAYS_READ]
    axes = (wording.say("callbacks.axis_x"), wording.say("callbacks.axis_y"))
    return filled(_drawn, *axes, rows={"days": rows, "read": read, "ends": labels}, top=top)


def _drawn(title_across: str, title_up: str) -> alt.LayerChart:
    shares = share_axis(**headed_above(title_up))
    scale = alt.Scale(domain=[0, open_number("top")], nice=False)
    days = alt.X(
        "day:Q",
        axis=alt.Axis(title=title_across, values=[0, *DAYS_READ], grid=False),
        scale=alt.Scale(domain=[0, LAST_DAY], nice=False),
    )

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", axis=shares, scale=scale)

    base = alt.Chart(alt.NamedData("days")).encode(x=days)
    colour = alt.condition("datum.is_this", alt.value(theme.LIGHT["main"]), alt.value(theme.LIGHT["other"]))
    layers = [
        base.transform_filter("datum.is_this")
        .mark_area(interpolate="step-after", color=theme.LIGHT["main-pale"], opacity=0.7, aria=False)
        .encode(y=up("low"), y2="high:Q")
    ]
    for is_this, dash in ((False, [6, 4]), (True, [1, 0])):
        name = "main" if is_this else "other"
        layers.append(
            base.transform_filter(f"datum.is_this === {str(is_this).lower()}")
            .mark_line(interpolate="step-after", strokeDash=dash, color=theme.LIGHT[name], strokeWidth=2.5, aria=False)
            .encode(y=up("share"))
        )
    layers += [
        alt.Chart(alt.NamedData("read"))
        .mark_point(size=45, opacity=1, strokeWidth=2)
        .encode(x=days, y=up("share"), stroke=colour, fill=colour, **said()),
        alt.Chart(alt.NamedData("ends"))
        .mark_text(align="right", fontSize=13, fontWeight=700, aria=False)
        .encode(x=days, y=up("label_at"), text="label:N", color=colour),
    ]
    return alt.LayerChart(layer=layers).properties(width="container", height=theme.CHART_HEIGHT)


def _label_places(rows: list[Spec], ends: list[Spec], top: float) -> list[float]:
    """Put the upper curve's label above its end and the lower one's below where that label begins.

    Where the axis is too near both stand above.
    """
    if not ends:
        return []
    line = top * LABEL_GAP
    upper = max(range(len(ends)), key=lambda place: ends[place]["share"])
    above = ends[upper]["share"] + line
    places = []
    for place, end in enumerate(ends):
        begun = [row["share"] for row in rows if row["period"] == end["period"] and row["day"] >= LABEL_FROM]
        beneath = min(begun, default=end["share"]) - line
        places.append(above if place == upper else beneath if beneath >= line else above + 1.6 * line)
    return places


def _said(row: Spec, wording: Wording) -> str:
    return wording.say(
        "callbacks.said",
        period=wording.say(f"callbacks.{row['period']}"),
        day=row["day"],
        **{gap: wording.percent(row[name], 1) for gap, name in _SHARES.items()},
    )


def picture(frame: pd.DataFrame, wording: Wording, window: int) -> Picture:
    """Give the chart with its words and table.

    Parameters
    ----------
    frame
        One row a period and day, day 0 to 90 as far as follow-up reaches: period ("this", "last"), day, incidence,
        low, high; against ("more", "less", "chance"; "" = not both years known).
    wording
        Language of the page.
    window
        Callback window, days: the day the title speaks of.
    """
    at_window = frame[frame["day"] == window].set_index("period")["incidence"]
    shares = {period: wording.percent(at_window[period], 1) for period in at_window.index}
    against = str(frame["against"].iloc[0]) if len(frame) else ""
    key = f"title_{against}" if against and len(shares) == 2 else "title_one" if "this" in shares else "title_none"
    title = wording.say(f"callbacks.{key}", window=window, **shares)
    read = frame[frame["day"].isin({*DAYS_READ, window})]
    table = pd.DataFrame(
        {
            wording.say("columns.period"): [wording.say(f"callbacks.{period}") for period in read["period"]],
            wording.say("columns.day"): [wording.number(day) for day in read["day"]],
            wording.say("columns.share"): [wording.percent(share, 1) for share in read["incidence"]],
            wording.say("columns.interval"): [
                f"{wording.percent(low, 1)} – {wording.percent(high, 1)}"
                for low, high in zip(read["low"], read["high"], strict=True)
            ],
        }
    )
    return finished(NAME, chart(frame, wording), title, wording.say("callbacks.alt", title=title), table)
