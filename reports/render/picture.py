"""A chart as a page shows it, and as a PNG."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any

import pandas as pd

from reports.render import theme

TITLE_WIDTH = 70
SCALE = 2


@dataclass(frozen=True)
class Picture:
    """A chart as a page shows it.

    Parameters
    ----------
    name
        Short name, unique on the page; also the name of its PNG.
    title
        The finding in a sentence.
    alt
        What the chart shows, for readers who do not see it.
    spec
        Vega-Lite specification in the light colours, with its title.
    table
        The same figures as ready text, one row a mark; the column names are the headings.
    opens
        For each row of the table the key of its list of jobs and the list's heading; empty = the rows open to nothing.
    """

    name: str
    title: str
    alt: str
    spec: dict[str, Any]
    table: pd.DataFrame
    opens: tuple[tuple[str, str], ...] = ()

    @property
    def has_marks(self) -> bool:
        """There is something to draw; without, a page says so in words."""
        return any(self.spec.get("datasets", {}).values())

    def _repr_png_(self) -> bytes:
        """Show it in a notebook; nothing is fetched."""
        return self.png()

    def png(self) -> bytes:
        """Draw it as a PNG on white paper, with its finding as title; no browser, no network."""
        import vl_convert

        spec = {
            **self.spec,
            "title": {"text": textwrap.wrap(self.title, TITLE_WIDTH) or [""]},
            "width": theme.PNG_WIDTH,
            "background": theme.LIGHT["paper"],
            "padding": 16,
            "config": {**theme.chart_config(), "background": theme.LIGHT["paper"]},
        }
        image: bytes = vl_convert.vegalite_to_png(spec, scale=SCALE)
        return image
