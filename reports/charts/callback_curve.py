"""How soon do repairs come back? Cumulative incidence by day since the repair, this year against the year before."""

from __future__ import annotations

import altair as alt
import pandas as pd

from reports.charts.drawn import finished, said, share_axis
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "callback-curve"
LAST_DAY = 90
LABEL_GAP = 0.06  # of the height
DAYS_READ = (7, 14, 30, 60, 90)


def chart(frame: pd.DataFrame, wording: Wording) -> alt.LayerChart:
    """Draw the curves with their bands, labelled at their ends.

    Parameters
    ----------
    frame
        One row a period and day: period ("this", "last"), day, incidence, low, high, said.
    wording
        Language of the labels.
    """
    rows = frame.assign(is_this=frame["period"] == "this", share=frame["incidence"].astype(float))
    ends = rows.sort_values("day").groupby("period", sort=True).tail(1)
    top = max(0.05, float(rows["high"].max()) * 1.15) if rows["high"].notna().any() else 0.2
    ends = ends.assign(
        label=ends["period"].map(lambda period: wording.say(f"callbacks.{period}")),
        label_at=_label_places(ends["share"].tolist(), top),
    )
    shares = share_axis(
        wording.say("callbacks.axis_y"),
        titleAnchor="end",
        titleAngle=0,
        titleAlign="left",
        titleBaseline="bottom",
        titleX=0,
        titleY=-8,
    )
    scale = alt.Scale(domain=[0, top], nice=False)
    days = alt.X(
        "day:Q",
        axis=alt.Axis(title=wording.say("callbacks.axis_x"), values=[0, *DAYS_READ], grid=False),
        scale=alt.Scale(domain=[0, LAST_DAY], nice=False),
    )
    y = alt.Y("share:Q", axis=shares, scale=scale)
    base = alt.Chart(rows).encode(x=days)
    colour = alt.condition("datum.is_this", alt.value(theme.LIGHT["main"]), alt.value(theme.LIGHT["other"]))
    layers = [
        base.transform_filter("datum.is_this")
        .mark_area(interpolate="step-after", color=theme.LIGHT["main-pale"], opacity=0.7, aria=False)
        .encode(y=alt.Y("low:Q", axis=shares, scale=scale), y2="high:Q")
    ]
    for is_this, dash in ((False, [6, 4]), (True, [1, 0])):
        name = "main" if is_this else "other"
        layers.append(
            base.transform_filter(f"datum.is_this === {str(is_this).lower()}")
            .mark_line(interpolate="step-after", strokeDash=dash, color=theme.LIGHT[name], strokeWidth=2.5, aria=False)
            .encode(y=y)
        )
    layers.append(
        base.transform_filter(alt.FieldOneOfPredicate(field="day", oneOf=list(DAYS_READ)))
        .mark_point(size=45, opacity=1, strokeWidth=2)
        .encode(y=y, stroke=colour, fill=colour, **said())
    )
    layers.append(
        alt.Chart(ends)
        .mark_text(align="right", fontSize=13, fontWeight=700, aria=False)
        .encode(x=days, y=alt.Y("label_at:Q", axis=shares, scale=scale), text="label:N", color=colour)
    )
    return alt.LayerChart(layer=layers).properties(width="container", height=theme.CHART_HEIGHT)


def _label_places(shares: list[float], top: float) -> list[float]:
    """Put the upper curve's label above it and the lower one's below, or both above where the axis is too near."""
    if not shares:
        return []
    upper, line = max(range(len(shares)), key=shares.__getitem__), top * LABEL_GAP
    places = [share - line for share in shares]
    places[upper] = shares[upper] + line
    for place, share in enumerate(shares):
        if place != upper and share < 2 * line:
            places[place] = places[upper] + 1.6 * line
    return places


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
    rows = frame.assign(
        said=[
            wording.say(
                "callbacks.said",
                period=wording.say(f"callbacks.{row.period}"),
                day=row.day,
                share=wording.percent(row.incidence, 1),
                low=wording.percent(row.low, 1),
                high=wording.percent(row.high, 1),
            )
            for row in frame.itertuples()
        ]
    )
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
    return finished(NAME, chart(rows, wording), title, wording.say("callbacks.alt", title=title), table)
