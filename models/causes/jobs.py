"""Training jobs as small whole numbers, with what the lists say coded beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import NOT_KNOWN, cells, encode, learn_columns, offsets
from models.causes.facts import Facts, learn_facts
from models.causes.failure_modes import kind_of, places_of
from models.causes.features import FINDING, SYMPTOM
from models.causes.fit_failure_modes import fit_ways
from models.causes.listed_modes import HANDED_ON, PART, read_background
from models.causes.naive_bayes import fit_naive_bayes
from models.causes.regression import coordinates_of, fit_regression
from models.causes.softmax import log_softmax
from models.causes.words import texts_of

if TYPE_CHECKING:
    import pandas as pd
    from scipy.sparse import csr_matrix

    from models.causes.by_kind import ByKind
    from models.causes.encoding import Column
    from models.causes.failure_modes import Places, Ways
    from models.causes.listed_modes import Written
    from models.causes.regression import Coordinates


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
    texts
        What was told at each call, "" when nothing is known.
    facts
        What regression and naive Bayes read.
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
    texts: list[str]
    facts: Facts

    @cached_property
    def shown(self) -> csr_matrix:
        """Jobs × features."""
        return self.facts.matrix(self.codes, self.texts)

    @cached_property
    def lists(self) -> Ways | None:
        """What the lists say before any job corrected them; None without lists."""
        return ways_of(self, np.zeros(len(self.cause), dtype=bool))

    @cached_property
    def offset(self) -> np.ndarray:
        """Log probability of each cause by the lists alone, jobs × causes."""
        return offset_of(self, self.lists)

    @cached_property
    def coordinates(self) -> dict[int, Coordinates]:
        """The jobs as points, by kind, for the regression."""
        return coordinates_of(self.facts, self.shown, self.kind, self.cause, self.weight)

    @cached_property
    def kind(self) -> np.ndarray:
        """Kind of each job, −1 = not known."""
        return kind_of(self.codes, self.places)


def all_causes(y: np.ndarray, background: pd.DataFrame | None) -> tuple[np.ndarray, np.ndarray]:
    """Causes of the jobs and of the background, sorted, and the place of each job's."""
    if background is None:
        return np.unique(y, return_inverse=True)
    names = np.unique(np.concatenate([y.astype(str), background["cause"].to_numpy(dtype=str)]))
    return names, np.searchsorted(names, y.astype(str))


def code_jobs(
    frame: pd.DataFrame,
    names: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
    background: pd.DataFrame | None,
    text: str | None = None,
) -> Jobs:
    """Code jobs; values only the background knows get codes too, the column ``text`` is read word by word."""
    texts = texts_of(frame, text)
    frame = frame.drop(columns=[text], errors="ignore")
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
    facts = learn_facts(codes, texts, columns, beside_lists=written is not None)
    return Jobs(codes, cells(codes, starts), cause, weight, starts, len(names), columns, written, places, texts, facts)


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


def offset_of(jobs: Jobs, lists: Ways | None) -> np.ndarray:
    """Log probability of each cause by the lists alone, jobs × causes; all alike without lists."""
    if lists is None:
        return np.zeros((len(jobs.codes), jobs.causes))
    return log_softmax(lists.scores(jobs.codes, jobs.at, jobs.places, jobs.causes))


def regression_of(
    jobs: Jobs, used: np.ndarray, freedom: float, begin: ByKind | None = None, weight: np.ndarray | None = None
) -> ByKind:
    """Fit the regression on the jobs marked ``used``; ``weight`` None = their own."""
    weight = jobs.weight if weight is None else weight
    return fit_regression(jobs.facts, jobs.coordinates, used, jobs.offset, jobs.cause, weight, freedom, begin)


def naive_bayes_of(jobs: Jobs, used: np.ndarray, weight: np.ndarray | None = None) -> ByKind:
    """Fit naive Bayes on the jobs marked ``used``; ``weight`` None = their own."""
    weight = jobs.weight if weight is None else weight
    return fit_naive_bayes(jobs.facts, jobs.shown[used], jobs.kind[used], jobs.cause[used], weight[used])
