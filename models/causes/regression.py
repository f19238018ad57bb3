"""Regression on words, facts and their products: it starts at what the lists say and moves where jobs teach otherwise.

By kind of appliance one multinomial logistic regression, whose weights have a normal prior around zero, around an
offset: what the lists say of the same call, before any job corrected them, times a trust that the jobs decide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.causes.by_kind import ByKind, OfKind, elsewhere
from models.causes.silence import count_shown, silent_cells
from models.causes.softmax import log_softmax

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

    from models.causes.facts import Facts

LEVEL = 3.0  # standard deviation of the level of a cause
TRUST = 0.5  # standard deviation of the trust in the offset around 1
STEPS, ENOUGH = 80, 2e-5  # at most; relative gain of a step below which the fit is done
NUMBERS, FEWEST_EXEMPLARS = 2_000_000, 400  # of jobs × exemplars; at least so many exemplars: with 2,200 jobs a kind
# of made towns 400 lost nothing against all, with 1,232 real texts 800 lost .03 nats
JITTER = 1e-5  # beside the jobs' squared lengths of ten or more, so that two jobs alike do no harm


def fit_regression(
    facts: Facts,
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
    facts
        Which features there are.
    shown
        Jobs × features, from ``facts.matrix``.
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
        counts, jobs = count_shown(mine, place, weight[rows])
        features = np.flatnonzero(counts.any(axis=1))
        features = features[~silent_cells(facts, features, counts[features], jobs)]
        weights, level, trust = _fit(mine[:, features], told[rows][:, causes], place, weight[rows], freedom)
        of_kind[int(number)] = OfKind(causes, features, weights.astype(np.float32), level, trust, elsewhere(jobs))
    return ByKind(shown.shape[1], of_kind)


def _fit(
    shown: csr_matrix, offset: np.ndarray, cause: np.ndarray, weight: np.ndarray, freedom: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Weights, levels and trust of highest posterior.

    The best weights of a feature are sums over the jobs that show it, so what is sought is a few numbers a job, not a
    few a feature: the jobs are told by how much they share with some of them, with all if ``NUMBERS`` allow.
    """
    from scipy.linalg import cholesky, solve_triangular
    from scipy.optimize import minimize

    causes = offset.shape[1]
    if causes == 1:
        return np.zeros((shown.shape[1], 1)), np.zeros(1), 1.0
    exemplars = max(NUMBERS // len(offset), FEWEST_EXEMPLARS)
    few = np.sort(np.random.default_rng(0).permutation(len(offset))[:exemplars])
    shared = (shown @ shown[few].T).toarray()
    root = cholesky(shared[few] + JITTER * np.eye(len(few)), lower=True)
    place = np.ascontiguousarray(solve_triangular(root, shared.T, lower=True).T, dtype=np.float32)
    offset = offset.astype(np.float32)
    rows, cut, heavy = np.arange(len(offset)), len(few) * causes, weight.astype(np.float32)

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights, level, trust = flat[:cut].reshape(-1, causes), flat[cut:-1], flat[-1]
        scores = place @ weights.astype(np.float32)
        scores += np.float32(trust) * offset + level.astype(np.float32)
        scores -= scores.max(axis=1, keepdims=True)
        np.exp(scores, out=scores)
        total = scores.sum(axis=1)
        right = scores[rows, cause] / total
        value = -(weight * np.log(np.maximum(right, 1e-30))).sum() + (flat[:cut] @ flat[:cut]) / (2 * freedom**2)
        value += (level @ level) / (2 * LEVEL**2) + (trust - 1) ** 2 / (2 * TRUST**2)
        scores *= (heavy / total)[:, None]
        scores[rows, cause] -= heavy
        slope = np.empty_like(flat)
        slope[:cut] = (place.T @ scores).ravel() + flat[:cut] / freedom**2
        slope[cut:-1] = scores.sum(axis=0) + level / LEVEL**2
        slope[-1] = (scores * offset).sum() + (trust - 1) / TRUST**2
        return float(value), slope

    first = np.append(np.zeros(cut + causes), 1.0)
    found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": STEPS, "maxcor": 8, "ftol": ENOUGH})
    weights = solve_triangular(root, found.x[:cut].reshape(-1, causes), lower=True, trans=1)
    return shown[few].T @ weights, found.x[cut:-1], float(found.x[-1])
