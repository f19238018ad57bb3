"""The smoothed Bayes layer: what each cause's tables say when every small count leans on all jobs together.

For each column a table P(value | cause) is a Dirichlet estimate around the pooled table of that column. How strongly it leans
is read from the data (marginal likelihood of the Dirichlet-multinomial), column by column.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STRENGTHS = np.geomspace(0.25, 256, 21)


@dataclass(frozen=True)
class BayesTables:
    """What the Bayes layer learned.

    Attributes
    ----------
    log_share
        Log share of each cause, smoothed.
    log_ratio
        cells × causes: log P(value | cause) − log P(value).
    strengths
        Pseudo-jobs by which each column leans on the pooled table.
    """

    log_share: np.ndarray
    log_ratio: np.ndarray
    strengths: np.ndarray


def count_cells(at: np.ndarray, cause: np.ndarray, weight: np.ndarray, cells: int, causes: int) -> np.ndarray:
    """Weighted count of jobs by cell and cause: cells × causes."""
    rows, columns = np.nonzero(at != cells)
    flat = at[rows, columns] * causes + cause[rows]
    return np.bincount(flat, weights=weight[rows], minlength=cells * causes).reshape(cells, causes)


def log_shares(cause: np.ndarray, weight: np.ndarray, causes: int, pseudo_jobs: float = 0.5) -> np.ndarray:
    """Log share of each cause, ``pseudo_jobs`` added to each."""
    counts = np.bincount(cause, weights=weight, minlength=causes) + pseudo_jobs
    shares: np.ndarray = np.log(counts / counts.sum())
    return shares


def fit_tables(counts: np.ndarray, log_share: np.ndarray, starts: np.ndarray) -> BayesTables:
    """Estimate every column's table around its pooled table.

    Parameters
    ----------
    counts
        cells × causes from :func:`count_cells`.
    log_share
        From :func:`log_shares`.
    starts
        First cell of each column, last entry the number of cells.
    """
    log_ratio = np.zeros_like(counts)
    strengths = np.zeros(len(starts) - 1)
    for column, (first, end) in enumerate(zip(starts[:-1], starts[1:], strict=True)):
        if end - first < 2:
            continue
        block = counts[first:end]
        pooled = block.sum(axis=1) + 0.5
        pooled /= pooled.sum()
        strengths[column] = best_strength(block, pooled)
        estimate = (block + strengths[column] * pooled[:, None]) / (block.sum(axis=0) + strengths[column])
        log_ratio[first:end] = np.log(estimate) - np.log(pooled)[:, None]
    return BayesTables(log_share, log_ratio, strengths)


def best_strength(block: np.ndarray, pooled: np.ndarray) -> float:
    """Pseudo-jobs of highest Dirichlet-multinomial likelihood (Minka 2000, "Estimating a Dirichlet distribution"), on a grid."""
    from scipy.special import gammaln

    seen = block.sum(axis=0)
    block, seen = block[:, seen > 0], seen[seen > 0]
    at = STRENGTHS[:, None]
    scores = (gammaln(at) - gammaln(at + seen)).sum(axis=1)
    prior = STRENGTHS[:, None, None] * pooled[None, :, None]
    scores = scores + (gammaln(prior + block[None]) - gammaln(prior)).sum(axis=(1, 2))
    return float(STRENGTHS[int(np.argmax(scores))])
