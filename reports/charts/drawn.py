"""A finished chart with its words and table, as a page takes it, and rows whose words stand above their bars.

Charts are written as Vega-Lite specifications, plain JSON; the tests check each against Vega-Lite's schema.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from reports.render import theme
from reports.render.page import plain_frame
from reports.render.picture import Picture

Spec = dict[str, Any]

PART_LIMIT = 400
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


def layered(layers: Sequence[Spec], rows: Mapping[str, pd.DataFrame | list[Spec]], height: float) -> Spec:
    """Lay marks over each other, as wide as the page has room.

    Parameters
    ----------
    layers
        As ``mark`` makes them.
    rows
        Name -> what is drawn; a layer that names none draws the first. Of their columns the chart keeps those that it
        draws: what is not shown is not given away.
    height
        In pixels.
    """
    drawing = json.dumps(layers)
    names = {*_DRAWN_FIELD.findall(drawing), *_TESTED_FIELD.findall(drawing)}
    return {
        "datasets": {name: _records(given, names) for name, given in rows.items()},
        "data": {"name": next(iter(rows))},
        "layer": list(layers),
        "width": "container",
        "height": height,
    }


def _records(rows: pd.DataFrame | list[Spec], names: set[str]) -> list[Spec]:
    """Write rows as JSON has them: missing as null, a day with its hour, which browsers read as local."""

    def written(value: Any) -> Any:
        if isinstance(value, dt.date):
            return dt.datetime(value.year, value.month, value.day).isoformat()
        return None if _is_missing(value) else value

    records = rows.to_dict("records") if isinstance(rows, pd.DataFrame) else rows
    return [{str(name): written(value) for name, value in row.items() if name in names} for row in records]


def _is_missing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and not math.isfinite(value))


def mark(kind: str, encoding: Spec, *, only: str | Spec | None = None, data: str | None = None, **look: Any) -> Spec:
    """Make a layer: a kind of mark with its channels and looks, of the rows for which ``only`` holds."""
    layer: Spec = {"mark": {"type": kind, **look}, "encoding": encoding}
    if only is not None:
        layer["transform"] = [{"filter": only}]
    return layer if data is None else {**layer, "data": {"name": data}}


def number(field: str, **more: Any) -> Spec:
    """Make a channel that shows a column of numbers."""
    return {"field": field, "type": "quantitative", **more}


def words(field: str, **more: Any) -> Spec:
    """Make a channel that shows a column of words."""
    return {"field": field, "type": "nominal", **more}


def either(test: str, then: str, otherwise: str) -> Spec:
    """Make a channel of one colour or another."""
    return {"condition": {"test": test, "value": then}, "value": otherwise}


def share_axis(title: str, **more: Any) -> Spec:
    """Make an axis for shares, in per cent."""
    return {"title": title, "format": ".0%", "tickCount": 5, **more}


def headed_above() -> Spec:
    """Place an upright axis' title level, above its end."""
    return {
        "titleAnchor": "end",
        "titleAngle": 0,
        "titleAlign": "left",
        "titleBaseline": "bottom",
        "titleX": 0,
        "titleY": -8,
    }


def said() -> Spec:
    """Give the channels by which a mark says its sentence: tooltip and accessible description."""
    return {"tooltip": words("said", title=" "), "description": words("said")}


def rows_chart(
    frame: pd.DataFrame | list[Spec],
    *,
    value_type: str,
    axis_title: str,
    currency_axis: bool = False,
    colour: str = "main",
) -> Spec:
    """Draw rows of words with a bar or an interval beneath each: readable at 320 pixels as on paper.

    Parameters
    ----------
    frame
        One row a line, in order, with columns ``words`` (above the bar), ``value``, ``low``, ``high`` (missing = no
        interval), ``label`` (after the bar), ``said``; optional ``is_heading`` (words only), ``is_other`` (drawn
        hollow), ``pale`` (a wider, paler bar behind), and ``least`` and ``most`` (a thin line beyond the interval).
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
    Spec
        Of container width; an empty frame gives an empty chart of one row.
    """
    is_point = value_type == "point"
    ends = ("value", "high", "most") if is_point else ("value", "pale", "high")
    given: list[Any] = frame.to_dict("records") if isinstance(frame, pd.DataFrame) else frame
    rows = [
        {**_UNTOLD, **row, "row": place, "end": max((row[name] for name in ends if _has(row, name)), default=None)}
        for place, row in enumerate(given)
    ]
    has_interval, has_limits = (any(_has(row, name) for row in rows) for name in ("low", "least"))
    low_end, largest, top = _reach(rows, is_point and has_interval)
    axis: Spec = (
        {"title": axis_title, "tickCount": 5, "format": ",.0f"} if currency_axis else share_axis(axis_title)
    ) | {"orient": "bottom", "values": _ticks(low_end, largest if currency_axis else min(largest, 1.0))}

    def across(column: str) -> Spec:
        return number(column, axis=axis, scale={"domain": [low_end, top], "nice": False})

    def row(kind: str, encoding: Spec, *, only: str = "", heading: bool = False, **look: Any) -> Spec:
        up = {"field": "row", "type": "ordinal", "axis": None, "scale": {"paddingInner": 0, "paddingOuter": 0}}
        tests = ["datum.is_heading" if heading else "!datum.is_heading", *([only] if only else [])]
        return mark(kind, {"y": up, **encoding}, only=" && ".join(tests), **look)

    main, paper = theme.LIGHT[colour], theme.LIGHT["paper"]
    fill = theme.LIGHT[f"{colour}-pale"] if has_interval else main
    beneath: Spec = {"yOffset": 11}
    unsaid: Spec = {"aria": False}
    text: Spec = {"align": "left", "limit": PART_LIMIT, **unsaid}
    layers: list[Spec] = []
    if not is_point:
        pale = theme.LIGHT["main-pale"]
        drawn = {"x": across("value"), "fill": either("datum.is_other", paper, fill), **said()}
        layers += [
            row(
                "bar",
                {"x": across("pale")},
                only="isValid(datum.pale)",
                height=16,
                color=pale,
                **beneath,
                **unsaid,
            ),
            row("bar", drawn, height=10, stroke=main, strokeWidth=1, fillOpacity=1, **beneath),
        ]
    if has_limits:
        layers.append(
            row(
                "rule",
                {"x": across("least"), "x2": {"field": "most"}},
                only="isValid(datum.least)",
                strokeWidth=1.5,
                color=theme.LIGHT["soft"],
                **beneath,
                **unsaid,
            )
        )
    look: Spec = (
        {"strokeWidth": 6, "opacity": 0.5, "color": main}
        if is_point
        else {"strokeWidth": 1.5, "opacity": 1, "color": theme.LIGHT["ink"]}
    )
    interval = {"x": across("low"), "x2": {"field": "high"}}
    layers.append(row("rule", interval, only="isValid(datum.low)", **look, **beneath, **unsaid))
    if is_point:
        drawn = {"x": across("value"), "fill": either("datum.is_other", paper, main), **said()}
        point: Spec = {"size": 80, "opacity": 1, "stroke": main, "strokeWidth": 2}
        layers.append(row("point", drawn, only="isValid(datum.value)", **point, **beneath))
    at_left = {"x": {"value": 0}, "text": words("words")}
    layers += [
        row("text", at_left, dy=-1, fontSize=13, baseline="bottom", **text),
        row("text", at_left, heading=True, dy=10, fontSize=13, fontWeight=700, baseline="bottom", **text),
        row(
            "text",
            {"x": across("end"), "text": words("label")},
            baseline="middle",
            dx=8,
            dy=11,
            color=theme.LIGHT["soft"],
            **text,
        ),
    ]
    return layered(layers, {"rows": rows}, theme.ROW_HEIGHT * max(len(rows), 1))


_UNTOLD: Spec = {
    "is_heading": False,
    "is_other": False,
    **dict.fromkeys(("value", "low", "high", "pale", "least", "most")),
}


def _has(row: Mapping[Any, Any], name: str) -> bool:
    return not _is_missing(row.get(name))


def _reach(rows: list[Spec], is_from_low: bool) -> tuple[float, float, float]:
    """Find where the values begin, where they end, and where the room for their labels does."""
    largest = max((row["end"] for row in rows if _has(row, "end")), default=1.0)
    if not is_from_low:
        return 0.0, largest, max(largest, 1e-9) * ROOM
    least = min(row[name] for row in rows for name in ("value", "low", "least") if _has(row, name))
    low_end = max(0.0, least // 0.1 * 0.1)
    return low_end, largest, low_end + (max(largest, low_end + 0.1) - low_end) * ROOM


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
