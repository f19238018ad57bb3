"""A single chart as a PNG, drawn without a browser and without a network."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from reports.render import theme

if TYPE_CHECKING:
    from reports.render.page import Picture

TITLE_WIDTH = 70
SCALE = 2


def drawn(picture: Picture) -> bytes:
    """Draw a chart on white paper, with its finding as title; returns the PNG."""
    import vl_convert

    spec = {
        **picture.spec,
        "title": {"text": textwrap.wrap(picture.title, TITLE_WIDTH) or [""]},
        "width": theme.PNG_WIDTH,
        "background": theme.LIGHT["paper"],
        "padding": 16,
        "config": {**theme.chart_config(), "background": theme.LIGHT["paper"]},
    }
    image: bytes = vl_convert.vegalite_to_png(spec, scale=SCALE)
    return image


def write_png(picture: Picture, path: Path) -> Path:
    """Write a chart to a file.

    Parameters
    ----------
    picture
        The chart.
    path
        The file to write.
    """
    path.write_bytes(drawn(picture))
    return path
