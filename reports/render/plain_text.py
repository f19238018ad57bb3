"""Text from records made safe to show, wherever it is shown."""

from __future__ import annotations

import re
from functools import lru_cache

LONGEST_TEXT = 300
_ACTING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff]"
)


def plain(value: object, limit: int = LONGEST_TEXT) -> str:
    """Make text from a record safe to show: control and direction characters become U+FFFD, long text is cut.

    Parameters
    ----------
    value
        Anything; a missing value becomes the empty string.
    limit
        Most characters kept; a cut ends in an ellipsis.
    """
    return "" if is_missing(value) else _safe(str(value), limit)


def is_missing(value: object) -> bool:
    """Tell whether a cell holds nothing: None, NaN, or pandas' own ways of saying so."""
    if value is None or isinstance(value, str):
        return value is None
    import pandas as pd

    return value is pd.NA or value is pd.NaT or (isinstance(value, float) and value != value)


@lru_cache(maxsize=20_000)
def _safe(text: str, limit: int) -> str:
    if len(text) > limit:
        text = text[: limit - 1] + "…"
    return _ACTING.sub("\N{REPLACEMENT CHARACTER}", text)
