"""A finished chart with its words and table, as a page takes it, and rows whose words stand above their bars.

Altair draws each kind of chart once, of data that have a name alone and with the numbers that depend on them left open;
``filled`` puts both in.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

import altair as alt
import pandas as pd
from altair.utils.schemapi import debug_mode

from reports.render import theme
from reports.render.page import plain_frame
from reports.render.picture import Picture

Spec = dict[str, Any]
Rows = pd.DataFrame | list[Spec]

PART_LIMIT, NAME_LIMIT = 400, 130
ROOM = 1.9
_DRAWN_FIELD = re.compile(r'"field": "(\w+)"')
_TESTED_FIELD = re.compile(r"datum\.(\w+)")


def finished(
    name: str,
    chart: Spec,
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
    opens = () if rows is None or "jobs" not in rows else tuple(zip(rows["jobs"], rows["said"], strict=True))
    return Picture(name, title, alt_text, {**chart, "title": title, "description": alt_text}, plain_frame(table), opens)


def open_number(name: str) -> Any:
    """Stand for a number of a drawing that ``filled`` is to put in."""
    return f"{{{{{name}}}}}"


def filled(draw: Callable[..., alt.LayerChart], *kind: Any, rows: Mapping[str, Rows], **numbers: Any) -> Spec:
    """Put rows and numbers into a drawing.

    Parameters
    ----------
    draw
        Draws the chart with Altair; called once for each ``kind``.
    *kind
        What it is called with: words and choices, not data.
    rows
        Name of a data set -> what is drawn. Of its columns the chart keeps those that it draws: what is not shown is
        not given away.
    **numbers
        Name of an open number -> what it is.

    Returns
    -------
    dict
        The Vega-Lite specification. Its kind is not validated here: the tests check every one against the schema.
    """
    text, names = _written(draw, *kind)
    for name, value in numbers.items():
        text = text.replace(json.dumps(open_number(name)), json.dumps(value))
    spec: Spec = json.loads(text)
    return {**spec, "datasets": {name: _records(given, names) for name, given in rows.items()}}


@cache
def _written(draw: Callable[..., alt.LayerChart], *kind: Any) -> tuple[str, frozenset[str]]:
    """Write a drawing down, and name the columns it draws."""
    with debug_mode(False):
        text = json.dumps(draw(*kind).to_dict(validate=False))
    return text, frozenset(_DRAWN_FIELD.findall(text) + _TESTED_FIELD.findall(text))


def _records(rows: Rows, names: frozenset[str]) -> list[Spec]:
    """Write rows as JSON has them: missing as null, a day with its hour, which browsers read as local."""

    def written(value: Any) -> Any:
        if isinstance(value, dt.date):
            return dt.datetime(value.year, value.month, value.day).isoformat()
        return None if is_missing(value) else value

    records = rows if isinstance(rows, list) else records_of(rows[[name for name in rows if name in names]])
    return [{name: written(value) for name, value in row.items() if name in names} for row in records]


def records_of(frame: pd.DataFrame) -> list[Spec]:
    """Give a frame's rows as records."""
    columns = [frame[name].tolist() for name in frame]
    return [dict(zip(map(str, frame), row, strict=True)) for row in zip(*columns, strict=True)]


def is_missing(value: Any) -> bool:
    """Tell whether there is no value: None, NaN or infinity."""
    return value is None or (isinstance(value, float) and not math.isfinite(value))


def headed_above(title: str) -> dict[str, Any]:
    """Place an upright axis' title level, above its end."""
    return {
        "title": title,
        "titleAnchor": "end",
        "titleAngle": 0,
        "titleAlign": "left",
        "titleBaseline": "bottom",
        "titleX": 0,
        "titleY": -8,
    }


def share_axis(**more: Any) -> alt.Axis:
    """Make an axis for shares, in per cent."""
    return alt.Axis(format=".0%", tickCount=5, **more)


def said() -> dict[str, Any]:
    """Give the channels by which a mark says its sentence: tooltip and accessible description."""
    return {"tooltip": alt.Tooltip("said:N", title=" "), "description": alt.Description("said:N")}


def rows_chart(
    given: Rows,
    *,
    value_type: str,
    axis_title: str,
    currency_axis: bool = False,
    colour: str = "main",
) -> Spec:
    """Draw rows of words with a bar or an interval beneath each: readable at 320 pixels as on paper.

    Parameters
    ----------
    given
        One row a line, in order: ``words`` (above the bar), ``value``, ``low``, ``high`` (missing = no interval),
        ``label`` (after the bar, or at the right of a point's words), ``said``; optional ``is_heading`` (words only),
        ``is_other`` (drawn hollow), ``pale`` (a wider, paler bar behind), and ``least`` and ``most`` (a thin line
        beyond the interval).
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
    dict
        Specification of container width; no rows give an empty chart of one row.
    """
    is_point = value_type == "point"
    ends = ("value", "high", "most") if is_point else ("value", "pale", "high")
    records = given if isinstance(given, list) else records_of(given)
    rows = [
        {**_UNTOLD, **row, "row": place, "end": max((row[name] for name in ends if _has(row, name)), default=None)}
        for place, row in enumerate(records)
    ]
    has_interval, has_limits = (any(_has(row, name) for row in rows) for name in ("low", "least"))
    least, largest, top = _reach(rows, is_point and has_interval)
    spec = filled(
        _rows_drawn,
        is_point,
        axis_title,
        currency_axis,
        colour,
        has_interval,
        has_limits,
        rows={"rows": rows},
        least=least,
        top=top,
        ticks=_ticks(least, largest if currency_axis else min(largest, 1.0)),
    )
    return {**spec, "height": theme.ROW_HEIGHT * max(len(rows), 1)}


def _rows_drawn(
    is_point: bool, axis_title: str, currency_axis: bool, colour: str, has_interval: bool, has_limits: bool
) -> alt.LayerChart:
    below: dict[str, Any] = {"title": axis_title, "orient": "bottom", "values": open_number("ticks")}
    axis = alt.Axis(tickCount=5, format=",.0f", **below) if currency_axis else share_axis(**below)
    scale = alt.Scale(domain=[open_number("least"), open_number("top")], nice=False)

    def across(column: str) -> alt.X:
        return alt.X(f"{column}:Q", axis=axis, scale=scale)

    main, paper = theme.LIGHT[colour], theme.LIGHT["paper"]
    base = alt.Chart(alt.NamedData("rows")).encode(
        y=alt.Y("row:O", axis=None, scale=alt.Scale(paddingInner=0, paddingOuter=0))
    )
    drawn = base.transform_filter("!datum.is_heading")

    def hollow(fill: str) -> Any:
        return alt.condition("datum.is_other", alt.value(paper), alt.value(fill))

    layers: list[alt.Chart] = []
    if not is_point:
        fill = hollow(theme.LIGHT[f"{colour}-pale"] if has_interval else main)
        layers += [
            drawn.transform_filter("isValid(datum.pale)")
            .mark_bar(height=16, yOffset=11, color=theme.LIGHT["main-pale"], aria=False)
            .encode(x=across("pale")),
            drawn.mark_bar(height=10, yOffset=11, stroke=main, strokeWidth=1, fillOpacity=1).encode(
                x=across("value"), fill=fill, **said()
            ),
        ]
    if has_limits:
        layers.append(
            drawn.transform_filter("isValid(datum.least)")
            .mark_rule(yOffset=11, strokeWidth=1.5, color=theme.LIGHT["soft"], aria=False)
            .encode(x=across("least"), x2="most:Q")
        )
    layers.append(
        drawn.transform_filter("isValid(datum.low)")
        .mark_rule(
            yOffset=11,
            strokeWidth=6 if is_point else 1.5,
            opacity=0.5 if is_point else 1,
            color=main if is_point else theme.LIGHT["ink"],
            aria=False,
        )
        .encode(x=across("low"), x2="high:Q")
    )
    if is_point:
        layers.append(
            drawn.transform_filter("isValid(datum.value)")
            .mark_point(yOffset=11, size=80, opacity=1, stroke=main, strokeWidth=2)
            .encode(x=across("value"), fill=hollow(main), **said())
        )
    layers += _texts(base, is_point, across("end"))
    return alt.LayerChart(layer=layers).properties(width="container")


def _texts(base: alt.Chart, is_point: bool, end: alt.X) -> list[alt.Chart]:
    """Names above their rows, headings, and the numbers: at the right of points, behind the end of bars."""
    drawn, headings = base.transform_filter("!datum.is_heading"), base.transform_filter("datum.is_heading")
    limit = NAME_LIMIT if is_point else alt.ExprRef(f"min(width, {PART_LIMIT})")  # cut with an ellipsis on a phone
    words: dict[str, Any] = {"align": "left", "baseline": "bottom", "limit": limit, "aria": False}
    soft: dict[str, Any] = {"color": theme.LIGHT["soft"], "limit": PART_LIMIT, "aria": False}
    return [
        drawn.mark_text(dy=-1, fontSize=13, **words).encode(x=alt.value(0), text="words:N"),
        headings.mark_text(dy=10, fontSize=13, fontWeight=700, **words).encode(x=alt.value(0), text="words:N"),
        drawn.mark_text(align="right", baseline="bottom", dy=-1, **soft).encode(x=alt.value("width"), text="label:N")
        if is_point
        else drawn.mark_text(align="left", baseline="middle", dx=8, dy=11, **soft).encode(x=end, text="label:N"),
    ]


_UNTOLD: Spec = {
    "is_heading": False,
    "is_other": False,
    **dict.fromkeys(("value", "low", "high", "pale", "least", "most")),
}


def _has(row: Mapping[Any, Any], name: str) -> bool:
    return not is_missing(row.get(name))


def _reach(rows: list[Spec], is_from_low: bool) -> tuple[float, float, float]:
    """Find where the values begin, where they end, and where the room for their labels does."""
    largest = max((row["end"] for row in rows if _has(row, "end")), default=1.0)
    if not is_from_low:
        return 0.0, largest, max(largest, 1e-9) * ROOM
    least = min(row[name] for row in rows for name in ("value", "low", "least") if _has(row, name))
    low_end = max(0.0, least // 0.1 * 0.1)
    return low_end, largest, max(largest, low_end + 0.1)


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
