"""How several opinions become one: a log-linear pool with weights fitted on held-out jobs, never below zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.causes.softmax import log_softmax

if TYPE_CHECKING:
    from collections.abc import Sequence

HOLD = 300.0  # questions come before visits and recorded jobs after them: what only records teach must show it on many
HEARD, UNHEARD = (
    0,
    1,
)  # rows of weights: of jobs of which the lists understand something, and of those told in own words


def pool_weights(
    opinions: list[np.ndarray],
    cause: np.ndarray,
    weight: np.ndarray,
    usual: np.ndarray | None = None,
    hold: float = HOLD,
    lean: float = 1e-3,
) -> np.ndarray:
    """Weights of Σ w·score that give the lowest held-out log-loss; an opinion that does not help gets exactly zero.

    Parameters
    ----------
    opinions
        Log scores, jobs × causes each, made without the jobs they are scored on.
    cause
        Code of each job's cause.
    weight
        Weight of each job.
    usual
        Weights held to; None = none.
    hold
        What a squared unit away from them costs, in nats over all jobs.
    lean
        Small ridge toward equal scale, for a stable answer where two opinions say the same.
    """
    from scipy.optimize import minimize

    stack = np.stack([opinion - opinion.mean(axis=1, keepdims=True) for opinion in opinions])
    right = stack[:, np.arange(len(cause)), cause]
    share = weight / max(float(weight.sum()), 1e-12)  # a fold of jobs that weigh nothing tells nothing
    centre = np.zeros(len(opinions)) if usual is None else usual
    held = lean if usual is None else lean + hold / len(cause)

    rows = np.arange(len(cause))
    told = share @ right.T

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        chance = np.tensordot(weights, stack, axes=1)
        chance -= chance.max(axis=1, keepdims=True)
        of_cause = chance[rows, cause]
        np.exp(chance, out=chance)
        total = chance.sum(axis=1)
        value = share @ (np.log(total) - of_cause) + held * ((weights - centre) @ (weights - centre))
        chance *= (share / total)[:, None]
        slope = np.tensordot(stack, chance, axes=2) - told + 2 * held * (weights - centre)
        return float(value), slope

    start = np.full(len(opinions), 1.0 / len(opinions)) if usual is None else usual
    found = minimize(loss, start, jac=True, method="L-BFGS-B", bounds=[(0.0, 4.0)] * len(opinions))
    return np.where(found.x < 1e-3, 0.0, found.x)


def pooled(opinions: Sequence[np.ndarray], weights: np.ndarray) -> np.ndarray:
    """Weighted sum of opinions; the weights are those of all jobs, or jobs × opinions."""
    scores = np.zeros_like(opinions[0])
    for place, opinion in enumerate(opinions):
        scores += weights[..., place, None] * opinion
    return scores


def job_losses(opinions: Sequence[np.ndarray], weights: np.ndarray, cause: np.ndarray) -> np.ndarray:
    """Log-loss of the pooled opinion on each job, nats; weights as for :func:`pooled`."""
    return np.asarray(-log_softmax(pooled(opinions, weights))[np.arange(len(cause)), cause])


def pool_loss(opinions: list[np.ndarray], weights: np.ndarray, cause: np.ndarray, weight: np.ndarray) -> float:
    """Mean log-loss of the pooled opinion, nats."""
    if not weight.sum():
        return 0.0  # no job counts
    return float(np.average(job_losses(opinions, weights, cause), weights=weight))
