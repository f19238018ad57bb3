"""Regression on words, facts and their products: it starts at what the lists say and moves where jobs teach otherwise.

By kind of appliance one multinomial logistic regression, whose weights have a normal prior around zero, around an
offset: what the lists say of the same call, before any job corrected them, times a trust that the jobs decide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.causes.by_kind import ByKind, OfKind, elsewhere
from models.causes.softmax import log_softmax

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

LEVEL = 3.0  # standard deviation of the level of a cause
TRUST = 0.5  # standard deviation of the trust in the offset around 1
STEPS = 80


def fit_regression(
    shown: csr_matrix,
    kind: np.ndarray,
    offset: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
    freedom: float,
) -> ByKind:
    """Fit one regression a kind.

    Parameters
    ----------
    shown
        Jobs × features, from :meth:`models.causes.facts.Facts.matrix`.
    kind, cause, weight
        Of each job.
    offset
        As for :meth:`models.causes.by_kind.ByKind.scores`.
    freedom
        Standard deviation of the weights; small = stay near the offset.
    """
    of_kind = {}
    told = log_softmax(offset)
    for number in np.unique(kind[kind >= 0]):
        rows = np.flatnonzero(kind == number)
        causes, place = np.unique(cause[rows], return_inverse=True)
        mine = shown[rows]
        features = np.unique(mine.indices)
        jobs = np.bincount(place, weight[rows])
        weights, level, trust = _fit(mine[:, features], told[rows][:, causes], place, weight[rows], freedom)
        of_kind[int(number)] = OfKind(causes, features, weights.astype(np.float32), level, trust, elsewhere(jobs))
    return ByKind(shown.shape[1], of_kind)


def _fit(
    shown: csr_matrix, offset: np.ndarray, cause: np.ndarray, weight: np.ndarray, freedom: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Weights, levels and trust of highest posterior."""
    from scipy.optimize import minimize

    features, causes = shown.shape[1], offset.shape[1]
    if causes == 1:
        return np.zeros((features, 1)), np.zeros(1), 1.0
    turned = shown.T.tocsr()
    rows = np.arange(len(offset))
    cut = features * causes

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights, level, trust = flat[:cut].reshape(features, causes), flat[cut:-1], flat[-1]
        scores = shown @ weights
        scores += trust * offset + level
        scores -= scores.max(axis=1, keepdims=True)
        np.exp(scores, out=scores)
        total = scores.sum(axis=1)
        right = scores[rows, cause] / total
        value = -(weight * np.log(np.maximum(right, 1e-300))).sum() + (flat[:cut] @ flat[:cut]) / (2 * freedom**2)
        value += (level @ level) / (2 * LEVEL**2) + (trust - 1) ** 2 / (2 * TRUST**2)
        scores *= (weight / total)[:, None]
        scores[rows, cause] -= weight
        slope = np.empty_like(flat)
        slope[:cut] = (turned @ scores + weights / freedom**2).ravel()
        slope[cut:-1] = scores.sum(axis=0) + level / LEVEL**2
        slope[-1] = (scores * offset).sum() + (trust - 1) / TRUST**2
        return float(value), slope

    first = np.append(np.zeros(cut + causes), 1.0)
    found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": STEPS, "maxcor": 8, "ftol": 1e-7})
    return found.x[:cut].reshape(features, causes), found.x[cut:-1], float(found.x[-1])
