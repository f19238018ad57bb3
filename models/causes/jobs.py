"""Training jobs as small whole numbers, with what the lists say coded beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import NOT_KNOWN, cells, encode, learn_columns, offsets
from models.causes.features import FINDING, SYMPTOM
from models.causes.fit_ways import fit_ways
from models.causes.listed import HANDED_ON, PART, read_background
from models.causes.ways import places_of

if TYPE_CHECKING:
    import pandas as pd

    from models.causes.encoding import Column
    from models.causes.listed import Written
    from models.causes.ways import Places, Ways


@dataclass(frozen=True)
class Jobs:
    """Coded training jobs.

    Attributes
    ----------
    codes, at
        Jobs × columns: codes, and positions among all cells.
    cause, weight
        Of each job.
    starts
        First cell of each column, last entry the number of cells.
    causes
        How many there are.
    columns
        What was learned of each.
    written
        What the lists say; None without lists.
    places
        Where the columns with a part of their own stand.
    """

    codes: np.ndarray
    at: np.ndarray
    cause: np.ndarray
    weight: np.ndarray
    starts: np.ndarray
    causes: int
    columns: list[Column]
    written: Written | None
    places: Places


def all_causes(y: np.ndarray, background: pd.DataFrame | None) -> tuple[np.ndarray, np.ndarray]:
    """Causes of the jobs and of the background, sorted, and the place of each job's."""
    if background is None:
        return np.unique(y, return_inverse=True)
    names = np.unique(np.concatenate([y.astype(str), background["cause"].to_numpy(dtype=str)]))
    return names, np.searchsorted(names, y.astype(str))


def code_jobs(
    frame: pd.DataFrame, names: np.ndarray, cause: np.ndarray, weight: np.ndarray, background: pd.DataFrame | None
) -> Jobs:
    """Code jobs; values only the background knows get codes too."""
    also: dict[str, set[str]] = {}
    if background is not None:
        told = background[~background["column"].isin([PART, HANDED_ON])].groupby("column")["value"]
        also = {str(name): set(values) for name, values in told}
        also |= {name: values | {"no"} for name, values in also.items() if name.startswith(SYMPTOM)}
    columns = learn_columns(frame, also=also)
    codes, starts, places = encode(frame, columns), offsets(columns), places_of(columns)
    written = None
    if background is not None:
        written = read_background(background, columns, starts, places, [str(name) for name in names])
    return Jobs(codes, cells(codes, starts), cause, weight, starts, len(names), columns, written, places)


def as_asked(jobs: Jobs, seed: int) -> tuple[Jobs, np.ndarray]:
    """Tell half of the jobs as the telephone does, without their findings, and say which half; all, if none has any."""
    is_finding = np.array([column.name.startswith(FINDING) for column in jobs.columns], dtype=bool)
    is_call = (np.random.default_rng([seed, 1]).random(len(jobs.codes)) < 0.5) | (not is_finding.any())
    codes = np.where(is_finding & is_call[:, None], NOT_KNOWN, jobs.codes)
    return replace(jobs, codes=codes, at=cells(codes, jobs.starts)), is_call


def ways_of(jobs: Jobs, used: np.ndarray) -> Ways | None:
    """Correct what the lists say by the jobs marked ``used``; None without lists."""
    if jobs.written is None:
        return None
    part = jobs.codes[used], jobs.at[used], jobs.cause[used], jobs.weight[used]
    return fit_ways(jobs.written, jobs.columns, jobs.starts, jobs.places, *part)
