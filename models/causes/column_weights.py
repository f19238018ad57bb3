"""How much each column is worth: a column that repeats what others say, or that misleads, is heard less.

The Bayes layer adds up what each fact says as if facts were independent once the cause is known. One weight a column,
fitted on jobs the tables have not seen and held near a common weight, undoes most of the harm: the model family of a
machine repeats its make and kind, twenty complaint columns repeat one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

HOLD = 30.0  # how firmly the weights are held near the common one, in squared weight per nat
STEPS = 40


@dataclass(frozen=True)
class Unseen:
    """Jobs and the tables that have not seen them.

    Attributes
    ----------
    shown
        Jobs × cells of zeros and ones.
    log_ratio
        cells × causes, learned without these jobs.
    log_share
        Of each cause, learned without these jobs.
    cause, weight
        Of each job.
    """

    shown: csr_matrix
    log_ratio: np.ndarray
    log_share: np.ndarray
    cause: np.ndarray
    weight: np.ndarray


def column_weights(parts: list[Unseen], starts: np.ndarray, common: float) -> np.ndarray:
    """Weight of each column, between 0 and 2, for the lowest log-loss on unseen jobs.

    Parameters
    ----------
    parts
        Jobs in groups, each with tables that have not seen it.
    starts
        First cell of each column, last entry the number of cells.
    common
        The weight that fits best when all columns have the same.
    """
    from scipy.optimize import minimize

    columns = len(starts) - 1
    column = np.repeat(np.arange(columns), np.diff(starts))

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = 0.0, np.zeros(columns + 1)
        for part in parts:
            lost, by_column, by_share = one_part(part, flat[:columns], flat[columns], column)
            value += lost
            slope[:columns] += by_column
            slope[columns] += by_share
        apart = flat[:columns] - common
        slope[:columns] += HOLD * apart
        return value + HOLD / 2 * float(apart @ apart), slope

    first = np.append(np.full(columns, common), 1.0)
    found = minimize(
        loss, first, jac=True, method="L-BFGS-B", bounds=[(0.0, 2.0)] * (columns + 1), options={"maxiter": STEPS}
    )
    return np.asarray(found.x[:columns])


def one_part(part: Unseen, weights: np.ndarray, of_share: float, column: np.ndarray) -> tuple[float, np.ndarray, float]:
    """Loss of one group, and its slope by column weight and by the weight of the shares."""
    jobs = np.arange(len(part.cause))
    scores = of_share * part.log_share + part.shown @ (part.log_ratio * weights[column][:, None])
    scores -= scores.max(axis=1, keepdims=True)
    right = scores[jobs, part.cause]
    np.exp(scores, out=scores)
    total = scores.sum(axis=1)
    lost = float((part.weight * (np.log(total) - right)).sum())
    scores *= (part.weight / total)[:, None]
    scores[jobs, part.cause] -= part.weight
    by_cell = ((part.shown.T @ scores) * part.log_ratio).sum(axis=1)
    return lost, np.bincount(column, weights=by_cell, minlength=len(weights)), float((scores @ part.log_share).sum())
