"""The distinct values of a column, cleaned, and the way back to its rows."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    import pyarrow as pa
    from numpy.typing import NDArray

LONGEST_VALUE = 120  # characters; a date, price or age is never longer, and patterns stay quick on what is left

NOT_KNOWN = frozenset(
    {
        *("", "-", "--", "---", ".", "?", "??", "???", "/", "n/a", "na", "n.a.", "n/k", "nk", "n.k.", "none", "null"),
        *("nan", "nat", "<na>", "#n/a", "unknown", "unk", "not known", "not given", "not recorded", "dk", "tbc", "tba"),
        *("unbekannt", "k.a.", "k. a.", "keine angabe", "onbekend"),
    }
)

_IS_UNCLEAN = re.compile("[^ -~]|^ | $|  ")


@dataclass(frozen=True)
class Distinct:
    """A column as its distinct values.

    Attributes
    ----------
    values
        Distinct values, compatibility characters and white space made plain; distinct before cleaning.
    counts
        Rows in which each stands.
    codes
        For each row the position of its value; -1 = missing.
    index
        Index of the column.
    """

    values: list[str]
    counts: NDArray[np.int64]
    codes: NDArray[np.intp]
    index: pd.Index[Any]

    def numbers(self, per_value: Sequence[float] | NDArray[np.float64]) -> pd.Series[float]:
        """Spread a number per distinct value over the rows; NaN where the row is missing."""
        import pandas as pd

        held = np.append(np.asarray(per_value, dtype=np.float64), np.nan)
        return pd.Series(held[self.codes], index=self.index)

    def texts(self, per_value: Sequence[str | None]) -> pd.Series[str]:
        """Spread a text per distinct value over the rows; missing where the row or the text is."""
        import pandas as pd

        held = pd.array(np.array([*per_value, None], dtype=object), dtype="str")
        return pd.Series(held.take(np.where(self.codes < 0, len(held) - 1, self.codes)), index=self.index)

    def days(self, per_value: Sequence[np.datetime64] | NDArray[np.datetime64]) -> pd.Series[pd.Timestamp]:
        """Spread a day per distinct value over the rows; NaT where the row is missing."""
        import pandas as pd

        held = np.append(np.asarray(per_value, dtype="datetime64[s]"), np.datetime64("NaT", "s"))
        return pd.Series(held[self.codes], index=self.index)


def plain(text: str) -> str:
    """Make compatibility characters (full-width digits, no-break spaces) and runs of white space plain."""
    if not text.isascii():
        text = re.sub("(?<=[0-9])(?=[¼½¾])", " ", text)
        text = unicodedata.normalize("NFKC", text).replace("\N{FRACTION SLASH}", "/")
        text = re.sub("[\u2010-\u2015\u2212]", "-", text)
    return " ".join(text.split())


def distinct(written: pd.Series[str]) -> Distinct:
    """Split a column into its distinct values, each cleaned once.

    Parameters
    ----------
    written
        Text as written; other types are read as the text they print as.

    Returns
    -------
    Distinct
        Missing rows have code -1; a blank cell is the value "".
    """
    import pandas as pd

    if not isinstance(written.dtype, pd.StringDtype):
        held = written.astype(object)
        written = held.where(held.isna(), held.map(str)).astype(object)
    codes, uniques = pd.factorize(written)
    values: list[str] = uniques.tolist()
    if any(map(_IS_UNCLEAN.search, values)):
        values = [plain(value) for value in values]
    return Distinct(
        values,
        np.bincount(codes[codes >= 0], minlength=len(uniques)).astype(np.int64),
        codes,
        written.index,
    )


def arrow_text(written: pd.Series[str]) -> pa.LargeStringArray:
    """Give a column of text as one Arrow array; null where the row is missing."""
    import pandas as pd
    import pyarrow as pa

    if not isinstance(written.dtype, pd.StringDtype):
        held = written.astype(object)
        written = held.where(held.isna(), held.map(str)).astype("str")
    array = pa.array(written.array, type=pa.large_string(), from_pandas=True)
    return array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array
