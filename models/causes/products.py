"""Interactions: pairs of facts that may mean together what neither means alone.

A code means something else in each model family, wear comes at another age in each make. Every pair of values that a
few jobs show is a fact of its own, which the regression shrinks harder than the two facts it is made of.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import cells, offsets
from models.causes.failure_modes import SCOPE
from models.causes.features import CODE, FINDING, SYMPTOM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from models.causes.encoding import Column

FEWEST = 3  # jobs that show a pair before it is kept
MOST_COLUMNS = 10  # circumstances; with more the pairs would outnumber the jobs, and are left to boosting


def paired_columns(columns: Sequence[Column]) -> list[tuple[int, int]]:
    """Pairs of columns whose products are taken: circumstances with one another, complaints with the code."""
    told = [position for position, column in enumerate(columns) if column.size >= 2]
    plain = [p for p in told if not columns[p].name.startswith((SYMPTOM, FINDING)) and columns[p].name != SCOPE]
    code = [p for p in plain if columns[p].name == CODE]
    said = [p for p in told if columns[p].name.startswith(SYMPTOM)]
    pairs = list(combinations(plain, 2)) if len(plain) <= MOST_COLUMNS else []
    return pairs + [(shown, one) for shown in code for one in said]


def pair_keys(codes: np.ndarray, columns: Sequence[Column]) -> tuple[np.ndarray, np.ndarray]:
    """Pairs that jobs show: job, and the two cells as one number."""
    starts = offsets(columns)
    at, size = cells(codes, starts), int(starts[-1])
    is_yes = {
        p: starts[p] + column.values.index("yes")
        for p, column in enumerate(columns)
        if column.name.startswith(SYMPTOM) and "yes" in column.values
    }
    jobs, keys = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for one, other in paired_columns(columns):
        shown = (at[:, one] != size) & (at[:, other] == is_yes[other] if other in is_yes else at[:, other] != size)
        job = np.flatnonzero(shown)
        jobs.append(job)
        keys.append(at[job, one].astype(np.int64) * size + at[job, other])
    return np.concatenate(jobs), np.concatenate(keys)


def learn_pairs(codes: np.ndarray, columns: Sequence[Column]) -> np.ndarray:
    """Pairs that at least ``FEWEST`` jobs show, as rising numbers of :func:`pair_keys`."""
    keys, counts = np.unique(pair_keys(codes, columns)[1], return_counts=True)
    return np.asarray(keys[counts >= FEWEST])
