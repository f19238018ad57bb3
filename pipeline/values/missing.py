"""What is missing, as JSON, text and SQL take it."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import pandas as pd

    Held = TypeVar("Held", pd.DataFrame, pd.Series)


def none_where_missing(held: Held) -> Held:
    """Give a frame or column of objects in which every missing value is None."""
    return held.astype(object).where(held.notna(), None)
