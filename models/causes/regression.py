"""Regression on words, facts and their products: it starts at what the lists say and moves where jobs teach otherwise.

By kind of appliance one multinomial logistic regression, whose weights have a normal prior around zero, around an
offset: what the lists say of the same call, before any job corrected them, times a trust that the jobs decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes.by_kind import ByKind, OfKind, elsewhere
from models.causes.softmax import log_softmax
from models.causes.uninformative import count_shown, silent_cells

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

    from models.causes.facts import Facts

LEVEL = 3.0  # standard deviation of the level of a cause
TRUST = 0.5  # standard deviation of the trust in the offset around 1
STEPS, ENOUGH = 80, 1e-4  # at most; relative gain of a step below which the fit is done
NUMBERS, FEWEST_EXEMPLARS = 2_000_000, 400  # of jobs × exemplars; at least so many exemplars: with 2,200 jobs a kind
# of made towns 400 lost nothing against all, with 1,232 real texts 800 lost .03 nats
JITTER = 1e-5  # beside the jobs' squared lengths of ten or more, so that two jobs alike do no harm


@dataclass(frozen=True)
class Coordinates:
    """Jobs of one kind as points, as far apart as their features are: all that fits on the same jobs share.

    Attributes
    ----------
    rows
        Jobs of the kind.
    features
        Met in the kind, without those that are silent.
    few
        Exemplars × features.
    root, place
        Exemplars × exemplars and jobs × exemplars: points, whose products are what the jobs share.
    """

    rows: np.ndarray
    features: np.ndarray
    few: csr_matrix
    root: np.ndarray
    place: np.ndarray


def coordinates_of(
    facts: Facts, shown: csr_matrix, kind: np.ndarray, cause: np.ndarray, weight: np.ndarray
) -> dict[int, Coordinates]:
    """Place the jobs of each kind.

    The best weights of a feature are sums over the jobs that show it, so what is sought is a few numbers a job, not a
    few a feature: the jobs are told by how much they share with some of them, with all if ``NUMBERS`` allow.

    Parameters
    ----------
    facts
        Which features there are.
    shown
        Jobs × features, from ``facts.matrix``.
    kind, cause, weight
        Of each job; which circumstances are silent is decided by the causes of all of them.
    """
    from scipy.linalg import cholesky, solve_triangular

    found = {}
    for number in np.unique(kind[kind >= 0]):
        rows = np.flatnonzero(kind == number)
        mine = shown[rows]
        counts, jobs = count_shown(mine, np.unique(cause[rows], return_inverse=True)[1], weight[rows])
        features = np.flatnonzero(counts.any(axis=1))
        features = features[~silent_cells(facts, features, counts[features], jobs)]
        mine = mine[:, features]
        exemplars = max(NUMBERS // len(rows), FEWEST_EXEMPLARS)
        few = np.sort(np.random.default_rng(0).permutation(len(rows))[:exemplars])
        shared = (mine @ mine[few].T).toarray()
        root = cholesky(shared[few] + JITTER * np.eye(len(few)), lower=True)
        place = np.empty((len(rows), len(few)), dtype=np.float32)
        place[few] = root
        others = np.delete(np.arange(len(rows)), few)
        place[others] = solve_triangular(root, shared[others].T, lower=True).T
        found[int(number)] = Coordinates(rows, features, mine[few], root, place)
    return found


def fit_regression(
    facts: Facts,
    coordinates: dict[int, Coordinates],
    used: np.ndarray,
    offset: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
    freedom: float,
    begin: ByKind | None = None,
) -> ByKind:
    """Fit one regression a kind.

    Parameters
    ----------
    coordinates
        Of the jobs, from :func:`coordinates_of`.
    used
        Marks the jobs to learn from.
    offset
        As for :meth:`models.causes.by_kind.ByKind.scores`.
    cause, weight
        Of each job.
    freedom
        Standard deviation of the weights; small = stay near the offset.
    begin
        A regression on the same jobs, or fewer, from which the search begins: less is left to seek. One that knows
        more jobs would tell of them, for the search ends when little is gained.
    """
    of_kind = {}
    for number, mine in coordinates.items():
        here = used[mine.rows]
        if not here.any():
            continue
        rows = mine.rows[here]
        causes, place = np.unique(cause[rows], return_inverse=True)
        jobs = np.bincount(place, weights=weight[rows])
        told = log_softmax(offset[rows])[:, causes]
        first = _first(mine, causes, begin.of_kind.get(number) if begin else None)
        weights, level, trust = _fit(mine, here, told, place, weight[rows], freedom, first)
        of_kind[number] = OfKind(causes, mine.features, weights.astype(np.float32), level, trust, elsewhere(jobs))
    return ByKind(facts.size, of_kind)


def _first(mine: Coordinates, causes: np.ndarray, begin: OfKind | None) -> np.ndarray:
    """Numbers from which the search begins: exemplars × causes, levels, trust."""
    from scipy.linalg import solve_triangular

    weights, level = np.zeros((len(mine.root), len(causes))), np.zeros(len(causes))
    if begin is None:
        return np.concatenate([weights.ravel(), level, [1.0]])
    met = np.searchsorted(causes, begin.causes)
    weights[:, met] = solve_triangular(mine.root, mine.few @ begin.weights, lower=True)
    level[met] = begin.level
    return np.concatenate([weights.ravel(), level, [begin.trust]])


def _fit(
    mine: Coordinates,
    used: np.ndarray,
    offset: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
    freedom: float,
    first: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, float]:
    """Weights, levels and trust of highest posterior."""
    from scipy.linalg import solve_triangular
    from scipy.optimize import minimize

    causes = offset.shape[1]
    if causes == 1:
        return np.zeros((len(mine.features), 1)), np.zeros(1), 1.0
    place, offset = mine.place[used], offset.astype(np.float32)
    rows, cut, heavy = np.arange(len(offset)), len(mine.root) * causes, weight.astype(np.float32)
    spread = _spread(place, offset, cause, weight, freedom)

    def loss(sought: np.ndarray) -> tuple[float, np.ndarray]:
        flat = sought * spread
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
        return float(value), slope * spread

    options = {"maxiter": STEPS, "maxcor": 8, "ftol": ENOUGH}
    found = minimize(loss, first / spread, jac=True, method="L-BFGS-B", options=options).x * spread
    weights = solve_triangular(mine.root, found[:cut].reshape(-1, causes), lower=True, trans=1)
    return mine.few.T @ weights, found[cut:-1], float(found[-1])


def _spread(place: np.ndarray, offset: np.ndarray, cause: np.ndarray, weight: np.ndarray, freedom: float) -> np.ndarray:
    """How far each number sought may lie from the best, roughly; measured by it, half as many steps find the best."""
    share = np.bincount(cause, weight, minlength=offset.shape[1]) / max(weight.sum(), 1e-12)
    told = share * (1 - share)
    weights = np.outer(weight @ place**2, told) + 1 / freedom**2
    level = weight.sum() * told + 1 / LEVEL**2
    curved = np.concatenate([weights.ravel(), level, [weight @ offset.var(axis=1) + 1 / TRUST**2]])
    return np.asarray(1 / np.sqrt(curved))
