"""Causes share traits: a few hidden traits explain most of how a cause differs from all jobs together.

log P(value | cause) = level of the value + traits of the cause · pull of each trait on the value, normalised within the
column. With a handful of jobs a cause its tables cannot be read one by one, but its few traits can: what is learned
from one cause tells about those like it. Models of several numbers of traits are averaged, because no single number is
right for few jobs and for many.
"""

from __future__ import annotations

import numpy as np

# number of traits, and how strongly they are held near zero; chosen on the networks of
# tests/benchmarks/truth/cause_limits.py
TRAITS = ((2, 1.0), (4, 1.0), (8, 1.5), (16, 2.0))
LEVEL_HOLD = 0.1
STEPS = 100


def trait_tables(counts: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Estimate P(value | cause) for every cell from shared traits.

    Parameters
    ----------
    counts
        cells × causes, weighted jobs; every column has at least two cells.
    starts
        First cell of each column, last entry the number of cells.

    Returns
    -------
    cells × causes; adds to one within a column.
    """
    causes = counts.shape[1]
    sizes = [(rank, hold) for rank, hold in TRAITS if rank < causes] or [(1, 1.0)]
    column = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    turned = np.ascontiguousarray(counts.T)
    pooled = turned.sum(axis=0) + 0.5
    pooled /= np.add.reduceat(pooled, starts[:-1])[column]
    left, size, right = _first_traits(turned, pooled, starts, column)
    tables = [_fit(turned, pooled, starts, column, rank, hold, left, size, right) for rank, hold in sizes]
    return np.asarray(np.mean(tables, axis=0)).T


def _first_traits(
    counts: np.ndarray, pooled: np.ndarray, starts: np.ndarray, column: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Start the search at singular vectors of the smoothed log ratios, the same whatever the order of causes."""
    seen = np.add.reduceat(counts, starts[:-1], axis=1)[:, column]
    apart = np.log((counts + 2 * pooled) / (seen + 2)) - np.log(pooled)
    left, size, right = np.linalg.svd(apart, full_matrices=False)
    return left, size, right


def _fit(
    counts: np.ndarray,
    pooled: np.ndarray,
    starts: np.ndarray,
    column: np.ndarray,
    rank: int,
    hold: float,
    left: np.ndarray,
    size: np.ndarray,
    right: np.ndarray,
) -> np.ndarray:
    from scipy.optimize import minimize

    causes, cells = counts.shape
    rank = min(rank, len(size))
    level = np.log(pooled)
    seen = np.add.reduceat(counts, starts[:-1], axis=1)[:, column]
    half = np.sqrt(size[:rank])
    cuts = (cells, cells + causes * rank)

    def split(flat: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return flat[: cuts[0]], flat[cuts[0] : cuts[1]].reshape(causes, rank), flat[cuts[1] :].reshape(cells, rank)

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        base, traits, pull = split(flat)
        table, log_table = _normalised(base + traits @ pull.T, starts, column)
        value = -(counts * log_table).sum() + hold / 2 * ((traits**2).sum() + (pull**2).sum())
        value += LEVEL_HOLD / 2 * ((base - level) ** 2).sum()
        apart = seen * table - counts
        slopes = (
            apart.sum(axis=0) + LEVEL_HOLD * (base - level),
            (apart @ pull + hold * traits).ravel(),
            (apart.T @ traits + hold * pull).ravel(),
        )
        return float(value), np.concatenate(slopes)

    first = np.concatenate([level, (left[:, :rank] * half).ravel(), (right[:rank].T * half).ravel()])
    found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": STEPS})
    base, traits, pull = split(np.asarray(found.x))
    return _normalised(base + traits @ pull.T, starts, column)[0]


def _normalised(scores: np.ndarray, starts: np.ndarray, column: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Softmax within each column of each cause's row, and its log."""
    shifted = scores - np.maximum.reduceat(scores, starts[:-1], axis=1)[:, column]
    powers = np.exp(shifted)
    total = np.add.reduceat(powers, starts[:-1], axis=1)[:, column]
    return powers / total, shifted - np.log(total)
