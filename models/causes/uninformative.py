"""Which circumstances say nothing about a kind's causes: counts that chance explains better than causes do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import offsets
from models.causes.features import FINDING, SYMPTOM
from models.causes.shrinkage import log_rising

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

    from models.causes.facts import Facts

HELD = 0.33  # jobs by which each count is held to what is expected


def count_shown(shown: csr_matrix, cause: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weighted jobs of each cause that show each feature, features × causes; and jobs of each cause."""
    causes = int(cause.max()) + 1
    entry = np.repeat(np.arange(shown.shape[0]), np.diff(shown.indptr))
    at = shown.indices.astype(np.int64) * causes + cause[entry]
    counts = np.bincount(at, weight[entry], minlength=shown.shape[1] * causes)
    return counts.reshape(-1, causes), np.bincount(cause, weight, minlength=causes)


def evidence(seen: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Log evidence, row by row, that each count has a rate of its own and not the expected one."""
    free = log_rising(HELD, seen) + HELD * np.log(HELD) - (seen + HELD) * np.log(expected + HELD) + expected
    return np.asarray(free.sum(axis=-1))


def silent_cells(facts: Facts, features: np.ndarray, counts: np.ndarray, jobs: np.ndarray) -> np.ndarray:
    """Of each feature: whether it is a value of a circumstance that says nothing beyond chance.

    Parameters
    ----------
    features
        Met in the kind, rising.
    counts, jobs
        Features × causes and causes, from :func:`count_shown`.
    """
    starts = offsets(facts.columns)
    column = np.minimum(np.searchsorted(starts, features, side="right") - 1, len(facts.columns))
    expected = counts.sum(axis=1, keepdims=True) * jobs / jobs.sum()
    told = np.bincount(column, evidence(counts, expected), minlength=len(facts.columns) + 1)
    plain = [not one.name.startswith((SYMPTOM, FINDING)) for one in facts.columns]
    return np.asarray((np.append(plain, False) & (told < 0))[column])
