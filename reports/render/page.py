"""One self-contained page: a template, its ready numbers, and a policy that forbids the network.

Anything a page shows passes through ``plain`` first, so text from records cannot act: no control or direction
characters, no endless words. The page's style and scripts are allowed by their hashes and nothing else is: no address,
no ``eval``, no inline handler, no style attribute. Use ``render`` with a template that extends ``base.html``:

>>> html = render("base.html", title="Example", language="en")
>>> "default-src 'none'" in html
True
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup

from reports.render import theme
from reports.render.chart_code import chart_code
from reports.render.picture import Picture
from reports.render.plain_text import LONGEST_TEXT, plain

LONGEST_SHOWN = 3000
DEFAULT_WORDS = {
    "close": "Close",
    "skip": "To the figures",
    "show_table": "Show the figures as a table",
    "table": "Table",
}


def plain_frame(frame: pd.DataFrame, limit: int = LONGEST_TEXT) -> pd.DataFrame:
    """Copy a frame with ``plain`` applied to every text column (missing text stays missing)."""
    changed: dict[str, pd.Series] = {}
    for column, dtype in frame.dtypes.items():
        if pd.api.types.is_string_dtype(dtype) or pd.api.types.is_object_dtype(dtype):
            values = frame[column].tolist()
            made = [plain(value, limit) or value for value in values]
            if made != values:
                changed[str(column)] = pd.Series(made, index=frame.index)
    return frame.assign(**changed) if changed else frame


def data_block(value: Any) -> Markup:
    """Write a value as JSON that may stand inside a ``script`` data block: no ``<``, ``>`` or ``&`` in it."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), default=str, allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)  # noqa: S704 - every character that HTML reads has just been escaped


@cache
def environment() -> jinja2.Environment:
    """Open the templates: escaping on, missing names are errors, and every value shown passes ``plain``."""
    opened = jinja2.Environment(
        loader=jinja2.PackageLoader("reports", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: (
            value if isinstance(value, (Markup, int, jinja2.Undefined)) else plain(value, LONGEST_SHOWN)
        ),
    )
    opened.filters["data_block"] = data_block
    opened.filters["rows"] = lambda frame: zip(*(frame[column].tolist() for column in frame.columns), strict=True)
    return opened


def content_policy(styles: Sequence[str], scripts: Sequence[str]) -> str:
    """State what the page may do: run these scripts, use these styles, and nothing from anywhere."""
    allowed_scripts = " ".join(_hash_source(text) for text in scripts) or "'none'"
    allowed_styles = " ".join(_hash_source(text) for text in styles) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed_scripts}; style-src {allowed_styles}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _hash_source(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def render(
    template: str,
    *,
    title: str,
    language: str = "en",
    pictures: Sequence[Picture] = (),
    jobs: Mapping[str, Any] | None = None,
    words: Mapping[str, str] | None = None,
    css: str = "",
    script: str = "",
    **ready: Any,
) -> str:
    """Fill a template that extends ``base.html``.

    Parameters
    ----------
    template
        Name of a file in ``reports/templates``.
    title, language
        Of the page; the language as a code.
    pictures
        Charts; the template places each with the macro ``picture`` of ``parts.html``. Without any, the drawing code is
        left out and the page stays small.
    jobs
        Lists of jobs that figures open to; see ``reports.pages.job_lists``.
    words, css, script
        What this page has besides: words its script shows, style rules, and code that runs after what all pages share.
    **ready
        Ready values for the template. No arithmetic is done in templates.

    Returns
    -------
    str
        The whole page.
    """
    styles = [theme.style() + css]
    shared = (files("reports") / "templates" / "page.js").read_text(encoding="utf-8")
    drawn = [picture for picture in pictures if picture.has_marks]
    scripts = [*([chart_code()] if drawn else []), shared, *([script] if script else [])]
    return (
        environment()
        .get_template(template)
        .render(
            title=title,
            language=language,
            policy=Markup(content_policy(styles, scripts)),  # noqa: S704 - hashes and our own words
            styles=[Markup(text) for text in styles],  # noqa: S704 - our own files
            scripts=[Markup(text) for text in scripts],  # noqa: S704 - our own files and the packaged drawing code
            pictures={picture.name: picture for picture in pictures},
            chart_data={picture.name: _drawing(picture) for picture in drawn},
            jobs=jobs or {"rows": [], "lists": {}},
            words={**DEFAULT_WORDS, **(words or {})},
            **ready,
        )
    )


def _drawing(picture: Picture) -> dict[str, Any]:
    """What the page draws of a chart; its title stands above it as text."""
    untitled = {name: value for name, value in picture.spec.items() if name != "title"}
    drawing: dict[str, Any] = theme.for_page({**untitled, "config": theme.chart_config()})
    return drawing
