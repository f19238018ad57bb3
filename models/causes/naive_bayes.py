"""Naive Bayes by kind on the regression's features but pieces of words, every count shrunk to the kind's rate.

It is too sure of itself, for words repeat one another, and pieces of words would most; but it errs otherwise than the
regression, and the pool, which gives it little weight where words tell most, is better than either. Columns that mean
together what neither means alone (a code and the model family, an age and the make) are taken as one: the joint counts
of each cause correct what the two say apart. Each column joins one other at most, the pair of most evidence first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.causes.by_kind import ByKind, OfKind, elsewhere
from models.causes.encoding import offsets
from models.causes.facts import PRODUCTS
from models.causes.uninformative import HELD, count_shown, evidence

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

    from models.causes.facts import Facts

SHRINKAGE = 4.0  # jobs by which a cause's rate of a feature is shrunk to the kind's


def fit_naive_bayes(facts: Facts, shown: csr_matrix, kind: np.ndarray, cause: np.ndarray, weight: np.ndarray) -> ByKind:
    """Count, by kind, how often the jobs of each cause show each feature.

    Parameters
    ----------
    facts
        Which features there are.
    shown
        Jobs × features, from ``facts.matrix``; what is shown counts once whatever its value.
    kind, cause, weight
        Of each job.
    """
    of_kind = {}
    for number in np.unique(kind[kind >= 0]):
        rows = np.flatnonzero(kind == number)
        causes, place = np.unique(cause[rows], return_inverse=True)
        counts, jobs = count_shown(shown[rows], place, weight[rows])
        features = np.flatnonzero(counts.any(axis=1) & ~facts.is_piece)
        counts = counts[features]
        usual = (counts.sum(axis=1, keepdims=True) + 0.5) / (jobs.sum() + 1.0)
        ratio = np.log((counts + SHRINKAGE * usual) / (jobs + SHRINKAGE)) - np.log(usual)
        is_pair = (features >= len(facts.is_read)) & (features < len(facts.is_read) + len(facts.pairs))
        ratio[is_pair] = _together(facts, features, counts, jobs, is_pair) / PRODUCTS
        level = np.log((jobs + 0.5) / (jobs.sum() + 0.5 * len(jobs)))
        of_kind[int(number)] = OfKind(causes, features, ratio.astype(np.float32), level, 0.0, elsewhere(jobs))
    return ByKind(shown.shape[1], of_kind)


def _together(
    facts: Facts, features: np.ndarray, counts: np.ndarray, jobs: np.ndarray, is_pair: np.ndarray
) -> np.ndarray:
    """Log of how much oftener a cause shows two values together than they and their usual bond lead to expect."""
    starts = offsets(facts.columns)
    cells = np.stack(np.divmod(facts.pairs[features[is_pair] - len(facts.is_read)], starts[-1]))
    seen = counts[is_pair]
    one, other = counts[np.searchsorted(features, cells)]
    expected = one * other / np.maximum(jobs, HELD)
    expected *= (seen.sum(axis=1) / np.maximum(expected.sum(axis=1), HELD))[:, None]
    columns = np.searchsorted(starts, cells, side="right") - 1
    chosen, group = np.unique(columns, axis=1, return_inverse=True)
    gain = np.bincount(group.ravel(), evidence(seen, expected), minlength=chosen.shape[1])
    is_taken = np.zeros(len(gain), dtype=bool)
    joined: set[int] = set()
    for pair in np.argsort(-gain, kind="stable"):
        if gain[pair] > 0 and joined.isdisjoint(chosen[:, pair].tolist()):
            is_taken[pair] = True
            joined.update(chosen[:, pair].tolist())
    told = np.log((seen + HELD) / (expected + HELD))
    return np.where(is_taken[group.ravel()][:, None], told, 0.0)
