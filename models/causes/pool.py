"""How several opinions become one: a log-linear pool with weights fitted on held-out jobs, never below zero."""

from __future__ import annotations

import numpy as np

from models.causes.softmax import log_softmax, softmax

HOLD = 300.0  # questions come before visits and recorded jobs after them: what only records teach must show it on many


def pool_weights(
    opinions: list[np.ndarray],
    cause: np.ndarray,
    weight: np.ndarray,
    usual: np.ndarray | None = None,
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
        Weights held to: a squared unit away costs as much as ``HOLD`` nats over all jobs; None = none.
    lean
        Small ridge toward equal scale, for a stable answer where two opinions say the same.
    """
    from scipy.optimize import minimize

    stack = np.stack([opinion - opinion.mean(axis=1, keepdims=True) for opinion in opinions])
    right = stack[:, np.arange(len(cause)), cause]
    share = weight / max(float(weight.sum()), 1e-12)  # a fold of jobs that weigh nothing tells nothing
    centre = np.zeros(len(opinions)) if usual is None else usual
    hold = lean if usual is None else lean + HOLD / len(cause)

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        scores = np.tensordot(weights, stack, axes=1)
        top = scores.max(axis=1, keepdims=True)
        total = np.log(np.exp(scores - top).sum(axis=1)) + top[:, 0]
        value = (share * (total - weights @ right)).sum() + hold * ((weights - centre) @ (weights - centre))
        chance = softmax(scores)
        slope = (share * ((stack * chance).sum(axis=2) - right)).sum(axis=1) + 2 * hold * (weights - centre)
        return float(value), slope

    start = np.full(len(opinions), 1.0 / len(opinions)) if usual is None else usual
    found = minimize(loss, start, jac=True, method="L-BFGS-B", bounds=[(0.0, 4.0)] * len(opinions))
    return np.where(found.x < 1e-3, 0.0, found.x)


def job_losses(opinions: list[np.ndarray], weights: np.ndarray, cause: np.ndarray) -> np.ndarray:
    """Log-loss of the pooled opinion on each job, nats."""
    scores = np.zeros_like(opinions[0])
    for w, opinion in zip(weights, opinions, strict=True):
        scores += w * opinion
    return np.asarray(-log_softmax(scores)[np.arange(len(cause)), cause])


def pool_loss(opinions: list[np.ndarray], weights: np.ndarray, cause: np.ndarray, weight: np.ndarray) -> float:
    """Mean log-loss of the pooled opinion, nats."""
    if not weight.sum():
        return 0.0  # no job counts
    return float(np.average(job_losses(opinions, weights, cause), weights=weight))
