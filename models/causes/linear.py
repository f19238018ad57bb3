"""A linear layer that starts at the Bayes layer and moves away only as far as held-out jobs allow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix


def one_hot(at: np.ndarray, cells: int) -> csr_matrix:
    """Jobs × cells, one where the job shows the cell."""
    from scipy.sparse import csr_matrix

    known = at != cells
    ends = np.concatenate([[0], np.cumsum(known.sum(axis=1))])
    columns = at[known]
    return csr_matrix((np.ones(len(columns)), columns, ends), shape=(len(at), cells))


def softmax(scores: np.ndarray) -> np.ndarray:
    """Probabilities from log scores, row by row."""
    powers = np.exp(scores - scores.max(axis=1, keepdims=True))
    shares: np.ndarray = powers / powers.sum(axis=1, keepdims=True)
    return shares


def fit_linear(
    shown: csr_matrix,
    base: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
    freedom: float,
    start: np.ndarray | None = None,
    steps: int = 40,
) -> np.ndarray:
    """Fit weights W of softmax(base + shown·W) with a normal prior of standard deviation ``freedom`` around zero.

    Parameters
    ----------
    shown
        jobs × cells of zeros and ones.
    base
        jobs × causes, log scores of the Bayes layer learned without the job itself.
    cause
        Code of each job's cause.
    weight
        Weight of each job.
    freedom
        Standard deviation of the prior; small = stay near the Bayes layer.
    start
        Weights to start from.
    steps
        Most steps of L-BFGS.

    Returns
    -------
    cells × causes.
    """
    from scipy.optimize import minimize

    cells, causes = shown.shape[1], base.shape[1]
    turned = shown.T.tocsr()
    rows = np.arange(len(base))

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights = flat.reshape(cells, causes)
        scores = base + shown @ weights
        scores -= scores.max(axis=1, keepdims=True)
        np.exp(scores, out=scores)
        total = scores.sum(axis=1)
        right = scores[rows, cause] / total
        value = -(weight * np.log(np.maximum(right, 1e-300))).sum() + (flat @ flat) / (2 * freedom**2)
        scores *= (weight / total)[:, None]
        scores[rows, cause] -= weight
        slope = (turned @ scores) + weights / freedom**2
        return float(value), np.asarray(slope).ravel()

    first = np.zeros(cells * causes) if start is None else start.ravel()
    found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": steps, "maxcor": 8, "ftol": 1e-7})
    return np.asarray(found.x).reshape(cells, causes)
