"""The smoothed Bayes layer: what each cause's tables say when every small count leans on the causes like it.

For each column a table P(value | cause) is a Dirichlet estimate around the table that the causes' shared traits
foretell (`models.causes.traits`). How strongly it shrinks is read from the data, column by column.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.traits import trait_tables

SMALLEST = 1e-9  # of any estimated probability
STRENGTHS = np.geomspace(0.25, 256, 16)


@dataclass(frozen=True)
class BayesTables:
    """What the Bayes layer learned.

    Attributes
    ----------
    log_share
        Log share of each cause, smoothed.
    log_ratio
        cells × causes: log P(value | cause) − log P(value).
    chance
        cells × causes: P(value | cause).
    strengths
        Pseudo-jobs by which each column leans on what shared traits foretell.
    """

    log_share: np.ndarray
    log_ratio: np.ndarray
    chance: np.ndarray
    strengths: np.ndarray


def count_cells(at: np.ndarray, cause: np.ndarray, weight: np.ndarray, cells: int, causes: int) -> np.ndarray:
    """Weighted count of jobs by cell and cause: cells × causes."""
    rows, columns = np.nonzero(at != cells)
    flat = at[rows, columns] * causes + cause[rows]
    return np.bincount(flat, weights=weight[rows], minlength=cells * causes).reshape(cells, causes).astype(float)


def log_shares(cause: np.ndarray, weight: np.ndarray, causes: int, pseudo_jobs: float = 0.5) -> np.ndarray:
    """Log share of each cause, ``pseudo_jobs`` added to each."""
    counts = np.bincount(cause, weights=weight, minlength=causes) + pseudo_jobs
    shares: np.ndarray = np.log(counts / counts.sum())
    return shares


def fit_tables(counts: np.ndarray, log_share: np.ndarray, starts: np.ndarray) -> BayesTables:
    """Estimate every column's table around what the causes' shared traits say.

    Parameters
    ----------
    counts
        cells × causes from :func:`count_cells`.
    log_share
        From :func:`log_shares`.
    starts
        First cell of each column, last entry the number of cells.

    Notes
    -----
    The same jobs made the traits and the strengths, so the strength of highest likelihood is too sure of itself; its
    square root lost least on jobs not seen (PATHFINDER, 1,000 to 20,000 jobs).
    """
    log_ratio = np.zeros(counts.shape)
    widths = np.diff(starts)
    strengths = np.zeros(len(widths))
    told = widths >= 2
    if not told.any() or counts.shape[1] < 2:
        return BayesTables(log_share, log_ratio, np.ones(counts.shape), strengths)
    kept = np.repeat(told, widths)
    block = counts[kept]
    begin = np.concatenate([[0], np.cumsum(widths[told])])
    column = np.repeat(np.arange(len(begin) - 1), widths[told])
    means = trait_tables(block, begin)
    strengths[told] = np.sqrt(best_strengths(block, means, begin))
    lean = strengths[told][column][:, None]
    seen = np.add.reduceat(block, begin[:-1], axis=0)[column]
    pooled = block.sum(axis=1) + 0.5
    pooled /= np.add.reduceat(pooled, begin[:-1])[column]
    chance = np.ones(counts.shape)
    chance[kept] = np.maximum((block + lean * means) / (seen + lean), SMALLEST)
    log_ratio[kept] = np.log(chance[kept]) - np.log(pooled)[:, None]
    return BayesTables(log_share, log_ratio, chance, strengths)


def best_strengths(counts: np.ndarray, means: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Pseudo-jobs a column, of highest Dirichlet-multinomial likelihood on a grid (Minka 2000)."""
    from scipy.special import gammaln

    seen = np.add.reduceat(counts, starts[:-1], axis=0)
    scores = []
    for strength in STRENGTHS:
        prior = strength * means
        by_cell = (gammaln(prior + counts) - gammaln(prior)).sum(axis=1)
        by_column = (gammaln(strength) - gammaln(strength + seen)).sum(axis=1)
        scores.append(np.add.reduceat(by_cell, starts[:-1]) + by_column)
    found: np.ndarray = STRENGTHS[np.argmax(np.array(scores), axis=0)]
    return found
