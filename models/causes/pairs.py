"""Facts that go together whatever the cause: what two known facts say jointly beyond what each says alone.

The smoothed Bayes layer takes facts as independent once the cause is known. Where two facts come together more often
than their causes explain, the joint table of the pair under each cause is made to keep the cause's own two tables and
the odds ratios that all causes together show (iterative proportional fitting; Deming & Stephan 1940). Half the answer
of a pair counted twice is worse than none, so the pool gives all pairs one weight, fitted on held-out jobs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.encoding import NOT_KNOWN

MOST_PAIRS = 200
MOST_VALUES = 32  # columns with more values take no part
CALM = 5.0  # pseudo-jobs by which a pair's table leans on independence
ROUNDS, INNER = 4, 4


@dataclass(frozen=True)
class Pairs:
    """Pairs of columns and what each adds.

    Attributes
    ----------
    columns
        pairs × 2, positions of the columns.
    starts
        First row of each pair in ``table``; last entry the number of rows.
    widths
        Values of the second column of each pair.
    table
        rows × causes: log P(u, v | cause) − log P(u | cause) − log P(v | cause).
    """

    columns: np.ndarray
    starts: np.ndarray
    widths: np.ndarray
    table: np.ndarray

    def scores(self, codes: np.ndarray) -> np.ndarray:
        """Sum of what the known pairs add, jobs × causes."""
        total = np.zeros((len(codes), self.table.shape[1]))
        for (one, other), start, width in zip(self.columns, self.starts[:-1], self.widths, strict=True):
            known = np.flatnonzero((codes[:, one] != NOT_KNOWN) & (codes[:, other] != NOT_KNOWN))
            if len(known):
                total[known] += self.table[start + codes[known, one] * width + codes[known, other]]
        return total


def find_pairs(
    codes: np.ndarray, at: np.ndarray, cause: np.ndarray, weight: np.ndarray, starts: np.ndarray, chance: np.ndarray
) -> Pairs | None:
    """Find the pairs of columns that go together, and their tables; None when there are none.

    A pair is kept when its likelihood ratio against independence given the cause exceeds what its number of cells would
    cost (Schwarz 1978).

    Parameters
    ----------
    codes, at
        Jobs × columns: codes, and positions among all cells.
    cause, weight
        Of each job.
    starts
        First cell of each column, last entry the number of cells.
    chance
        cells × causes: P(value | cause) of the Bayes layer.
    """
    widths = np.diff(starts)
    fit = np.flatnonzero((widths >= 2) & (widths <= MOST_VALUES))
    if len(fit) < 2:
        return None
    together, expected, both = _together(at, cause, weight, starts, chance, fit)
    begin = np.concatenate([[0], np.cumsum(widths[fit])])
    told = np.where(together > 0, together * np.log(np.maximum(together, 1e-9) / np.maximum(expected, 1e-9)), 0.0)
    gain = _by_pair(told - (together - expected), begin)
    jobs = _by_pair(together, begin)
    cost = (widths[fit][:, None] - 1) * (widths[fit][None] - 1) * np.log(np.maximum(jobs, 2.0))
    first, second = np.triu_indices(len(fit), 1)
    score = (2 * gain - cost)[first, second]
    chosen = np.lexsort((second, first, -score))[:MOST_PAIRS]
    chosen = chosen[score[chosen] > 0]
    if len(chosen) == 0:
        return None
    tables, rows = [], [0]
    for one, other in zip(first[chosen], second[chosen], strict=True):
        mine, its = slice(begin[one], begin[one + 1]), slice(begin[other], begin[other + 1])
        own = slice(starts[fit[one]], starts[fit[one] + 1])
        that = slice(starts[fit[other]], starts[fit[other] + 1])
        extra = _pair_table(chance[own].T, chance[that].T, together[mine, its], both[:, one, other])
        tables.append(extra.reshape(len(extra), -1).T)
        rows.append(rows[-1] + len(tables[-1]))
    columns = np.stack([fit[first[chosen]], fit[second[chosen]]], axis=1)
    return Pairs(columns, np.array(rows), widths[columns[:, 1]], np.concatenate(tables))


def _together(
    at: np.ndarray, cause: np.ndarray, weight: np.ndarray, starts: np.ndarray, chance: np.ndarray, fit: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Count jobs by pair of cells, expect them were facts independent, and count jobs by cause and pair of columns."""
    from models.causes.encoding import one_hot

    size, causes = int(starts[-1]), chance.shape[1]
    kept = np.concatenate([np.arange(starts[c], starts[c + 1]) for c in fit])
    column = np.repeat(np.arange(len(fit)), np.diff(starts)[fit])
    shown = one_hot(at, size)[:, kept]
    together = np.asarray((shown.T @ shown.multiply(weight[:, None]).tocsr()).todense())
    is_known = (at[:, fit] != size).astype(np.float32)
    both = np.zeros((causes, len(fit), len(fit)))
    expected = np.zeros_like(together)
    for one in range(causes):
        mine = cause == one
        both[one] = is_known[mine].T @ (is_known[mine] * weight[mine, None])
        table = chance[kept, one]
        expected += table[:, None] * table[None] * both[one][column][:, column]
    return together, expected, both


def _by_pair(cells: np.ndarray, begin: np.ndarray) -> np.ndarray:
    return np.asarray(np.add.reduceat(np.add.reduceat(cells, begin[:-1], axis=0), begin[:-1], axis=1))


def _pair_table(first: np.ndarray, second: np.ndarray, seen: np.ndarray, jobs: np.ndarray) -> np.ndarray:
    """Log ratio of the joint table to its margins' product, causes × u × v, all causes sharing odds ratios."""
    alone = first[:, :, None] * second[:, None, :]
    joint = alone
    pull = np.zeros_like(seen)
    for _ in range(ROUNDS):
        expected = np.tensordot(jobs, joint, axes=1)
        lean = CALM / expected.sum()
        pull = np.clip(pull + np.log((seen + lean * expected) / np.maximum(expected * (1 + lean), 1e-12)), -8.0, 8.0)
        joint = alone * np.exp(pull)
        for _ in range(INNER):
            joint = joint * (first / np.maximum(joint.sum(axis=2), 1e-300))[:, :, None]
            joint = joint * (second / np.maximum(joint.sum(axis=1), 1e-300))[:, None, :]
    return np.asarray(np.log(np.maximum(joint, 1e-12)) - np.log(np.maximum(alone, 1e-12)))
