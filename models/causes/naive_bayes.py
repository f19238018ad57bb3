"""Naive Bayes by kind on the same features as the regression, every count shrunk to the kind's own rate.

It is far too sure of itself, for words repeat one another; but it errs otherwise than the regression, and the pool,
which gives it little weight, is better than either, most of all with few jobs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.causes.by_kind import ByKind, OfKind, elsewhere

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

SHRINKAGE = 4.0  # jobs by which a cause's rate of a feature is shrunk to the kind's


def fit_naive_bayes(
    shown: csr_matrix, kind: np.ndarray, cause: np.ndarray, weight: np.ndarray, *, shrinkage: float = SHRINKAGE
) -> ByKind:
    """Count, by kind, how often the jobs of each cause show each feature.

    Parameters
    ----------
    shown
        Jobs × features, from :meth:`models.causes.facts.Facts.matrix`; what is shown counts once whatever its value.
    kind, cause, weight
        Of each job.
    """
    of_kind = {}
    for number in np.unique(kind[kind >= 0]):
        rows = np.flatnonzero(kind == number)
        causes, place = np.unique(cause[rows], return_inverse=True)
        mine = shown[rows]
        features = np.unique(mine.indices)
        entry = np.repeat(np.arange(len(rows)), np.diff(mine.indptr))
        at = np.searchsorted(features, mine.indices) * len(causes) + place[entry]
        counts = np.bincount(at, weight[rows][entry], minlength=len(features) * len(causes))
        counts = counts.reshape(len(features), len(causes))
        jobs = np.bincount(place, weight[rows], minlength=len(causes))
        usual = (counts.sum(axis=1, keepdims=True) + 0.5) / (jobs.sum() + 1.0)
        ratio = np.log((counts + shrinkage * usual) / (jobs + shrinkage)) - np.log(usual)
        level = np.log((jobs + 0.5) / (jobs.sum() + 0.5 * len(jobs)))
        of_kind[int(number)] = OfKind(causes, features, ratio.astype(np.float32), level, 0.0, elsewhere(jobs))
    return ByKind(shown.shape[1], of_kind)
