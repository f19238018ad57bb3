"""How a column of facts becomes small whole numbers: one code a value, −1 for not known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from scipy.sparse import csr_matrix

MOST_BINS = 8  # quantile bins of a number column; a trade age curve needs no more (common practice, no source)
NOT_KNOWN = -1
FEW = 2000  # jobs: no answer adds up more, and none waits for scipy to be imported


@dataclass(frozen=True)
class Column:
    """One column as it was learned.

    Attributes
    ----------
    name
        Name in the frame.
    values
        Values of a categorical column in code order, as text; empty for a number column.
    edges
        Inner bin edges of a number column, rising; empty for a categorical column.
    lowest, highest
        Range seen of a number column, to notice a far value; NaN when categorical.
    """

    name: str
    values: tuple[str, ...]
    edges: tuple[float, ...]
    lowest: float = float("nan")
    highest: float = float("nan")

    @cached_property
    def is_number(self) -> bool:
        """True for a column of numbers."""
        return not self.values and math.isfinite(self.lowest)

    @cached_property
    def size(self) -> int:
        """Codes in use."""
        return len(self.edges) + 1 if self.is_number else len(self.values)

    @cached_property
    def code_of(self) -> dict[str, int]:
        """Code of each value of a categorical column."""
        return {value: code for code, value in enumerate(self.values)}

    def label(self, code: int) -> str:
        """Name a code in words: the value, or the range of numbers."""
        if not self.is_number:
            return self.values[code]
        low = self.lowest if code == 0 else self.edges[code - 1]
        high = self.highest if code == len(self.edges) else self.edges[code]
        return f"{low:g} to {high:g}"


def as_text(values: pd.Series) -> pd.Series:
    """Values as text, True/False spelt ``yes``/``no``, whole numbers without a decimal point; NaN stays NaN."""
    places, distinct = pd.factorize(values)
    texts = np.array([*(_text(value) for value in distinct), None], dtype=object)
    return pd.Series(texts[places], index=values.index, dtype=object)


def _text(value: Any) -> str:
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, float, np.number)):
        return f"{value:g}"
    return str(value)


def learn_columns(
    frame: pd.DataFrame, most_bins: int = MOST_BINS, also: Mapping[str, Iterable[str]] | None = None
) -> list[Column]:
    """Learn each column: categories in order of text, or quantile bins of a number column.

    Columns without any known value keep no codes and say nothing. ``also``: values by column that are heard although
    no row shows them.
    """
    learnt = [_learn(str(name), frame.iloc[:, position], most_bins) for position, name in enumerate(frame.columns)]
    more = {name: set(values) for name, values in (also or {}).items()}
    told = [_with_more(column, more.pop(column.name, set())) for column in learnt]
    return told + [Column(name, tuple(sorted(values)), ()) for name, values in sorted(more.items())]


def _with_more(column: Column, values: set[str]) -> Column:
    if column.is_number or not values:
        return column
    return Column(column.name, tuple(sorted({*column.values, *values})), ())


def _learn(name: str, values: pd.Series, most_bins: int) -> Column:
    known = values.dropna()
    is_number = pd.api.types.is_numeric_dtype(values.dtype) and not pd.api.types.is_bool_dtype(values.dtype)
    if not is_number:
        return Column(name, tuple(sorted(set(as_text(known)))), ())
    numbers = known.to_numpy(dtype=float)
    numbers = numbers[np.isfinite(numbers)]
    if len(numbers) == 0:
        return Column(name, (), ())
    lowest, highest = float(numbers.min()), float(numbers.max())
    distinct = np.unique(numbers)
    if len(distinct) <= most_bins:
        edges = (distinct[1:] + distinct[:-1]) / 2
    else:
        edges = np.unique(np.quantile(numbers, np.linspace(0, 1, most_bins + 1)[1:-1]))
    return Column(name, (), tuple(float(edge) for edge in edges), lowest, highest)


def encode(frame: pd.DataFrame, columns: Sequence[Column]) -> np.ndarray:
    """Code a frame by the columns learned: rows × columns, −1 where not known, never seen, or the column is missing."""
    codes, told = np.full((len(frame), len(columns)), NOT_KNOWN, dtype=np.int32), set(frame.columns)
    for position, column in enumerate(columns):
        if column.name in told and column.size:
            codes[:, position] = encode_column(frame[column.name], column)
    return codes


def encode_column(values: pd.Series, column: Column) -> np.ndarray:
    """Code one column; −1 where not known or never seen."""
    if not column.is_number:
        held = values.tolist()
        told = [value for value in set(held) if not pd.isna(value)]
        code_of = {value: column.code_of.get(_text(value), NOT_KNOWN) for value in told}
        return np.array([code_of.get(value, NOT_KNOWN) for value in held], dtype=np.int32)
    numbers = numbers_of(values)
    coded = np.searchsorted(np.asarray(column.edges), numbers, side="right").astype(np.int32)
    coded[~np.isfinite(numbers)] = NOT_KNOWN
    return coded


def numbers_of(values: pd.Series) -> np.ndarray:
    """A number column as floats, NaN where not a number."""
    return pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)


def never_seen(frame: pd.DataFrame, columns: Sequence[Column]) -> list[dict[str, Any]]:
    """Of each question, by column: the value never seen in training, or outside the range learned."""
    strange: list[dict[str, Any]] = [{} for _ in range(len(frame))]
    place_of = {name: place for place, name in enumerate(frame.columns)}
    told, is_told = frame.to_numpy(dtype=object), frame.notna().to_numpy()
    for column in columns:
        if (place := place_of.get(column.name)) is None:
            continue
        for row in np.flatnonzero(is_told[:, place]):
            value = told[row, place]
            is_number = column.is_number
            is_seen = column.lowest <= float(value) <= column.highest if is_number else _text(value) in column.code_of
            if not is_seen:
                strange[row][column.name] = value
    return strange


def offsets(columns: Sequence[Column]) -> np.ndarray:
    """First cell of each column in the row of all cells; the last entry is the number of cells."""
    return np.concatenate([[0], np.cumsum([column.size for column in columns])]).astype(np.int64)


def cells(codes: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Turn codes into positions in the row of all cells; not known becomes the empty cell after the last."""
    empty = starts[-1]
    return np.asarray(np.where(codes == NOT_KNOWN, empty, codes + starts[:-1]))


def one_hot(at: np.ndarray, cells: int) -> csr_matrix:
    """Jobs × cells, one where the job shows the cell."""
    from scipy.sparse import csr_matrix

    known = at != cells
    ends = np.concatenate([[0], np.cumsum(known.sum(axis=1))])
    columns = at[known]
    return csr_matrix((np.ones(len(columns)), columns, ends), shape=(len(at), cells))


def gather(weights: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Sum a table's rows over each job's known cells.

    Parameters
    ----------
    weights
        cells × classes, without the empty cell.
    at
        jobs × columns, positions from :func:`cells`.

    Returns
    -------
    jobs × classes.
    """
    if len(at) > FEW:
        return np.asarray(one_hot(at, len(weights)) @ weights)
    total = np.zeros((len(at), weights.shape[1]))
    is_known = at != len(weights)
    for position in np.flatnonzero(is_known.any(axis=0)):
        known = np.flatnonzero(is_known[:, position])
        total[known] += weights[at[known, position]]
    return total
