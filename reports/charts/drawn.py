"""A finished chart with its words and table, as a page takes it, and rows whose words stand above their bars."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from reports.render import theme
from reports.render.page import plain_frame
from reports.render.picture import Picture

PART_LIMIT, NAME_LIMIT = 400, 130
ROOM = 1.9
_DRAWN_FIELD = re.compile(r'"field": "(\w+)"')
_TESTED_FIELD = re.compile(r"datum\.(\w+)")


def finished(
    name: str,
    chart: alt.Chart | alt.LayerChart,
    title: str,
    alt_text: str,
    table: pd.DataFrame,
    rows: pd.DataFrame | None = None,
) -> Picture:
    """Turn a chart into a picture: its title the finding, its description the alt text.

    Parameters
    ----------
    name
        Short name, unique on a page.
    chart
        The chart; it is not changed.
    title, alt_text
        The finding, and what a reader who does not see it is told.
    table
        The figures as ready text.
    rows
        Rows of the table with ``said`` and ``jobs``, the key of the list of jobs each opens to.
    """
    title = title[:1].upper() + title[1:]
    titled = chart.properties(title=title, description=alt_text)
    opens = () if rows is None or "jobs" not in rows else tuple(zip(rows["jobs"], rows["said"], strict=True))
    return Picture(name, title, alt_text, only_drawn(titled.to_dict(validate=False)), plain_frame(table), opens)


def only_drawn(spec: dict[str, Any]) -> dict[str, Any]:
    """Keep in a specification's data only the columns that are drawn: what is not shown is not given away."""
    drawing = json.dumps({key: part for key, part in spec.items() if key != "datasets"})
    names = set(_DRAWN_FIELD.findall(drawing)) | set(_TESTED_FIELD.findall(drawing))
    kept = {
        name: [{field: value for field, value in record.items() if field in names} for record in records]
        for name, records in spec.get("datasets", {}).items()
    }
    return {**spec, "datasets": kept}


def share_axis(title: str, **more: Any) -> alt.Axis:
    """Make an axis for shares, in per cent."""
    return alt.Axis(title=title, format=".0%", tickCount=5, **more)


def said() -> dict[str, Any]:
    """Give the channels by which a mark says its sentence: tooltip and accessible description."""
    return {"tooltip": alt.Tooltip("said:N", title=" "), "description": alt.Description("said:N")}


def rows_chart(
    frame: pd.DataFrame,
    *,
    value_type: str,
    axis_title: str,
    currency_axis: bool = False,
    colour: str = "main",
) -> alt.LayerChart:
    """Draw rows of words with a bar or an interval beneath each: readable at 320 pixels as on paper.

    Parameters
    ----------
    frame
        One row a line, in order, with columns ``words`` (above the bar), ``value``, ``low``, ``high`` (missing = no
        interval), ``label`` (after the bar, or at the right of a point's words), ``said``; optional ``is_heading``
        (words only), ``is_other`` (drawn hollow), ``pale`` (a wider, paler bar behind), and ``least`` and ``most`` (a
        thin line beyond the interval).
    value_type
        ``bar`` from zero, or ``point`` with its interval.
    axis_title
        What the values are, with their unit.
    currency_axis
        The values are money or counts, not shares.
    colour
        Name of a colour of the theme.

    Returns
    -------
    alt.LayerChart
        Of container width; an empty frame gives an empty chart of one row.
    """
    rows = frame.assign(row=range(len(frame)))
    for column, missing in (
        ("is_heading", False),
        ("is_other", False),
        ("pale", None),
        ("least", None),
        ("most", None),
    ):
        if column not in rows:
            rows[column] = missing
    rows = rows.astype({"pale": float, "least": float, "most": float})
    rows["end"] = rows[["value", "high", "most"] if value_type == "point" else ["value", "pale", "high"]].max(axis=1)
    largest = float(rows["end"].max()) if rows["end"].notna().any() else 1.0
    top = max(largest, 1e-9) * ROOM
    low_end = 0.0
    if value_type == "point" and rows["low"].notna().any():
        low_end = max(0.0, float(rows[["value", "low", "least"]].min().min()) // 0.1 * 0.1)
        top = max(largest, low_end + 0.1)
    axis = (
        alt.Axis(title=axis_title, tickCount=5, format=",.0f", orient="bottom", values=_ticks(low_end, largest))
        if currency_axis
        else share_axis(axis_title, orient="bottom", values=_ticks(low_end, min(largest, 1.0)))
    )
    fill = theme.LIGHT[f"{colour}-pale" if rows["low"].notna().any() else colour]
    base = alt.Chart(rows).encode(y=alt.Y("row:O", axis=None, scale=alt.Scale(paddingInner=0, paddingOuter=0)))
    across = alt.X("value:Q", axis=axis, scale=alt.Scale(domain=[low_end, top], nice=False))
    drawn = base.transform_filter("!datum.is_heading")
    headings = base.transform_filter("datum.is_heading")
    layers: list[alt.Chart] = []
    if value_type == "bar":
        layers.append(
            drawn.transform_filter("isValid(datum.pale)")
            .mark_bar(height=16, yOffset=11, color=theme.LIGHT["main-pale"], aria=False)
            .encode(x=alt.X("pale:Q", axis=axis, scale=alt.Scale(domain=[low_end, top], nice=False)))
        )
        layers.append(
            drawn.mark_bar(height=10, yOffset=11, stroke=theme.LIGHT[colour], strokeWidth=1, fillOpacity=1).encode(
                x=across,
                fill=alt.condition("datum.is_other", alt.value(theme.LIGHT["paper"]), alt.value(fill)),
                **said(),
            )
        )
    if rows["least"].notna().any():
        layers.append(
            drawn.transform_filter("isValid(datum.least)")
            .mark_rule(yOffset=11, strokeWidth=1.5, color=theme.LIGHT["soft"], aria=False)
            .encode(x=alt.X("least:Q", axis=axis, scale=alt.Scale(domain=[low_end, top], nice=False)), x2="most:Q")
        )
    layers.append(
        drawn.transform_filter("isValid(datum.low)")
        .mark_rule(
            yOffset=11,
            strokeWidth=6 if value_type == "point" else 1.5,
            opacity=0.5 if value_type == "point" else 1,
            color=theme.LIGHT[colour] if value_type == "point" else theme.LIGHT["ink"],
            aria=False,
        )
        .encode(x=alt.X("low:Q", axis=axis, scale=alt.Scale(domain=[low_end, top], nice=False)), x2="high:Q")
    )
    if value_type == "point":
        layers.append(
            drawn.transform_filter("isValid(datum.value)")
            .mark_point(yOffset=11, size=80, opacity=1, stroke=theme.LIGHT[colour], strokeWidth=2)
            .encode(
                x=across,
                fill=alt.condition("datum.is_other", alt.value(theme.LIGHT["paper"]), alt.value(theme.LIGHT[colour])),
                **said(),
            )
        )
    is_point = value_type == "point"
    limit = NAME_LIMIT if is_point else PART_LIMIT
    words: dict[str, Any] = {"align": "left", "baseline": "bottom", "limit": limit, "aria": False}
    soft: dict[str, Any] = {"color": theme.LIGHT["soft"], "limit": PART_LIMIT, "aria": False}
    layers += [
        drawn.mark_text(dy=-1, fontSize=13, **words).encode(x=alt.value(0), text="words:N"),
        headings.mark_text(dy=10, fontSize=13, fontWeight=700, **words).encode(x=alt.value(0), text="words:N"),
        drawn.mark_text(align="right", baseline="bottom", dy=-1, **soft).encode(x=alt.value("width"), text="label:N")
        if is_point
        else drawn.mark_text(align="left", baseline="middle", dx=8, dy=11, **soft).encode(
            x=alt.X("end:Q", axis=axis, scale=alt.Scale(domain=[low_end, top], nice=False)), text="label:N"
        ),
    ]
    return alt.LayerChart(layer=layers).properties(width="container", height=theme.ROW_HEIGHT * max(len(rows), 1))


def _ticks(low: float, high: float) -> list[float]:
    """Choose round tick values from ``low`` to ``high``, so that the axis stops where the bars do."""
    span = max(high - low, 1e-9)
    size = next(step * 10.0**power for power in range(-3, 12) for step in (1, 2, 5) if span / (step * 10.0**power) <= 5)
    return [round(low + size * count, 6) for count in range(int(span / size + 1e-9) + 1)]


def spread_apart(values: Sequence[float], gap: float) -> list[float]:
    """Move places along one line until neighbours are ``gap`` apart, so that labels at them do not overlap.

    Parameters
    ----------
    values
        Where the labels would stand.
    gap
        Least distance between two.

    Returns
    -------
    list of float
        New places in the order given; the order along the line is kept, and a crowd stays centred on its middle.

    Examples
    --------
    >>> spread_apart([5.0, 0.0, 5.0], 2)
    [4.0, 0.0, 6.0]
    """
    order = sorted(range(len(values)), key=lambda place: values[place])
    crowds: list[list[float]] = []
    for place in order:
        crowds.append([values[place], 1])
        while len(crowds) > 1 and crowds[-1][0] - crowds[-2][0] < gap * (crowds[-1][1] + crowds[-2][1]) / 2:
            middle, size = crowds.pop()
            before, before_size = crowds[-1]
            crowds[-1] = [(before * before_size + middle * size) / (before_size + size), before_size + size]
    moved = [middle + gap * (number - (size - 1) / 2) for middle, size in crowds for number in range(int(size))]
    placed = dict(zip(order, moved, strict=True))
    return [placed[place] for place in range(len(values))]
