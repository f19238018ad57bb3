"""How every page and chart looks: colours, type and sizes, and nothing else.

One palette serves paper, light screen and dark screen. Charts are made with the light colours (so a PNG or a printed
page is right as it stands); ``for_page`` turns each of them into a CSS variable, so that one chart follows the reader's
dark mode and turns light again on paper. Blue-green and copper differ in lightness as well as in hue, and no chart
relies on either: shape, dash or a word says the same thing.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

LIGHT = {
    "ink": "#16262c",
    "soft": "#4b5c62",
    "paper": "#fbfcfb",
    "panel": "#eff3f2",
    "line": "#c9d3d2",
    "main": "#0b5d74",
    "main-pale": "#cbe0e6",
    "other": "#a8480a",
    "other-pale": "#f2d9c4",
    "third": "#67467a",
    "mark": "#fff3c4",
}
DARK = {
    "ink": "#e7edec",
    "soft": "#a9b9bb",
    "paper": "#11191c",
    "panel": "#1a2529",
    "line": "#3a4a4f",
    "main": "#74c6d9",
    "main-pale": "#1d4654",
    "other": "#f0a460",
    "other-pale": "#573a20",
    "third": "#c8a8da",
    "mark": "#4a4012",
}

TYPE = "Seravek, 'Gill Sans Nova', 'Segoe UI', Ubuntu, Calibri, 'Noto Sans', 'DejaVu Sans', sans-serif"
LABEL_SIZE = 12
ROW_HEIGHT = 42
CHART_HEIGHT = 250
PNG_WIDTH = 720


def chart_config() -> dict[str, Any]:
    """Vega-Lite settings for every chart, in the light colours.

    Returns
    -------
    dict
        The ``config`` block: quiet axes, no frame, text in ink, marks in the first colour.
    """
    text = {"font": TYPE, "fontSize": LABEL_SIZE}
    return {
        "background": None,
        "font": TYPE,
        "view": {"stroke": None},
        "padding": 4,
        "axis": {
            "labelFont": TYPE,
            "titleFont": TYPE,
            "labelFontSize": LABEL_SIZE,
            "titleFontSize": LABEL_SIZE,
            "titleFontWeight": "normal",
            "labelColor": LIGHT["soft"],
            "titleColor": LIGHT["soft"],
            "gridColor": LIGHT["line"],
            "gridOpacity": 0.7,
            "domain": False,
            "tickColor": LIGHT["line"],
            "labelPadding": 6,
            "titlePadding": 8,
            "labelOverlap": "greedy",
        },
        "title": {
            "font": TYPE,
            "fontSize": 16,
            "fontWeight": 600,
            "color": LIGHT["ink"],
            "anchor": "start",
            "offset": 12,
        },
        "text": {**text, "color": LIGHT["ink"]},
        "line": {"color": LIGHT["main"], "strokeWidth": 2},
        "point": {"color": LIGHT["main"], "filled": True, "size": 50},
        "bar": {"color": LIGHT["main"]},
        "area": {"color": LIGHT["main-pale"]},
        "rule": {"color": LIGHT["line"]},
        "legend": {"disable": True},
    }


def for_page(value: Any) -> Any:
    """Replace the light colours in a chart by CSS variables.

    Parameters
    ----------
    value
        A Vega-Lite specification or any part of one. It is not changed.

    Returns
    -------
    Any
        A copy in which each colour of ``LIGHT`` has become ``var(--name)``.
    """
    variables = {colour: f"var(--{name})" for name, colour in LIGHT.items()}

    def changed(part: Any) -> Any:
        if isinstance(part, dict):
            return {key: item if key in ("data", "datasets") else changed(item) for key, item in part.items()}
        if isinstance(part, list):
            return [changed(item) for item in part]
        return variables.get(part, part) if isinstance(part, str) else part

    return changed(value)


def style() -> str:
    """Give the style sheet of every page: the palette as variables, then ``templates/page.css``."""
    light, dark = ("".join(f"--{name}:{colour};" for name, colour in palette.items()) for palette in (LIGHT, DARK))
    return (
        f":root{{color-scheme:light dark;--type:{TYPE};{light}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n"
        + (files("reports") / "templates" / "page.css").read_text(encoding="utf-8")
    )
