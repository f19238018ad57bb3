"""Each part of the cause model earns its weight on jobs it has not seen, or is left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from threadpoolctl import threadpool_limits

from models.bayes import BayesTables, count_cells, fit_tables, log_shares
from models.boosting import Trees, fit_trees
from models.encoding import gather
from models.linear import fit_linear, one_hot
from models.pairs import Pairs, find_pairs
from models.pool import pool_loss, pool_weights

if TYPE_CHECKING:
    from models.encoding import Column

FREEDOMS = (0.03, 0.1, 0.25, 0.5)  # standard deviations tried for the linear layer
ENOUGH = 2000  # held-out jobs on which the few pool weights are fitted well enough
LEAST_GAIN = 0.002  # nats a held-out job by which a part must improve the pool to be kept
JOBS_PER_CAUSE = 100  # fewer than these and boosting is not tried: every trial below lost (references of the benchmark)
BOOSTING_SECONDS = 20.0  # rough most for all trees
ORDER = ("share", "bayes", "pairs", "linear", "boosting")


@dataclass(frozen=True)
class Jobs:
    """Coded training jobs.

    Attributes
    ----------
    codes, at
        Jobs × columns: codes, and positions among all cells.
    cause, weight
        Of each job.
    starts
        First cell of each column, last entry the number of cells.
    causes
        How many there are.
    """

    codes: np.ndarray
    at: np.ndarray
    cause: np.ndarray
    weight: np.ndarray
    starts: np.ndarray
    causes: int


def fit_layers(jobs: Jobs, used: np.ndarray) -> tuple[BayesTables, Pairs | None]:
    """Fit the Bayes layer and the pairs on the jobs marked ``used``."""
    with threadpool_limits(limits=1, user_api="blas"):  # many small products: more threads only wait for one another
        return _fit_layers(jobs, used)


def _fit_layers(jobs: Jobs, used: np.ndarray) -> tuple[BayesTables, Pairs | None]:
    at, cause, weight = jobs.at[used], jobs.cause[used], jobs.weight[used]
    counts = count_cells(at, cause, weight, int(jobs.starts[-1]), jobs.causes)
    tables = fit_tables(counts, log_shares(cause, weight, jobs.causes), jobs.starts)
    if jobs.causes < 2:
        return tables, None
    return tables, find_pairs(jobs.codes[used], at, cause, weight, jobs.starts, tables.chance)


class HeldOut:
    """Opinions on each job by parts fitted without it, and the pool's weights.

    Parameters
    ----------
    jobs
        The training jobs.
    folds
        Parts into which they are dealt.
    seed
        Of the deal.
    """

    def __init__(self, jobs: Jobs, folds: int, seed: int) -> None:
        self.jobs = jobs
        self.fold = np.random.default_rng(seed).permutation(len(jobs.cause)) % folds
        few = min(folds, -(-ENOUGH * folds // len(jobs.cause)))
        self.scored = self.fold < few
        shape = (len(jobs.cause), jobs.causes)
        self.share, self.told, self.paired = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        for part in range(folds):
            mine = self.fold == part
            tables, pairs = fit_layers(jobs, ~mine)
            self.share[mine] = tables.log_share
            self.told[mine] = gather(tables.log_ratio, jobs.at[mine])
            if pairs is not None:
                self.paired[mine] = pairs.scores(jobs.codes[mine])
        self.cause, self.weight = jobs.cause[self.scored], jobs.weight[self.scored]
        self.opinions = {"share": self.share[self.scored], "bayes": self.told[self.scored]}
        self.pool = pool_weights(list(self.opinions.values()), self.cause, self.weight)
        self.loss = pool_loss(list(self.opinions.values()), self.pool, self.cause, self.weight)

    def keep(self, name: str, opinion: np.ndarray) -> bool:
        """Take an opinion into the pool when it lowers the held-out log-loss enough; say whether it did."""
        if not opinion.any():
            return False
        tried = [*self.opinions.values(), opinion[self.scored]]
        weights = pool_weights(tried, self.cause, self.weight)
        loss = pool_loss(tried, weights, self.cause, self.weight)
        if weights[-1] == 0 or loss > self.loss - LEAST_GAIN:
            return False
        self.opinions[name] = opinion[self.scored]
        self.pool, self.loss = weights, loss
        return True

    def weights(self) -> np.ndarray:
        """Weights of the pool in the order of the model's opinions, zero for what was left out."""
        fitted = dict(zip(self.opinions, self.pool, strict=True))
        return np.array([fitted.get(name, 0.0) for name in ORDER])

    def try_linear(self) -> np.ndarray | None:
        """Fit the linear layer around the pool so far; None when it did not earn its keep."""
        jobs = self.jobs
        layers = {"share": self.share, "bayes": self.told, "pairs": self.paired}
        base = np.zeros_like(self.share)
        for name, weight in zip(self.opinions, self.pool, strict=True):
            base += weight * layers[name]
        shown = one_hot(jobs.at, int(jobs.starts[-1]))
        freedom, moved = self._best_freedom(shown, base)
        if moved is None or not self.keep("linear", moved):
            return None
        return fit_linear(shown, base, jobs.cause, jobs.weight, freedom)

    def _best_freedom(self, shown: Any, base: np.ndarray) -> tuple[float, np.ndarray | None]:
        """Choose how far the linear layer may move, on the first fold; then its opinion on every scored fold."""
        cause, weight = self.jobs.cause, self.jobs.weight
        mine = self.fold == 0
        best, weights = 0.0, None
        best_loss = pool_loss([base[mine]], np.ones(1), cause[mine], weight[mine])
        for freedom in FREEDOMS:
            tried = fit_linear(shown[~mine], base[~mine], cause[~mine], weight[~mine], freedom, weights)
            loss = pool_loss([base[mine] + shown[mine] @ tried], np.ones(1), cause[mine], weight[mine])
            if loss > best_loss:
                break
            best, best_loss, weights = freedom, loss, tried
        if weights is None:
            return 0.0, None
        moved = np.zeros_like(base)
        moved[mine] = shown[mine] @ weights
        for part in np.unique(self.fold[self.scored])[1:]:
            mine = self.fold == part
            fitted = fit_linear(shown[~mine], base[~mine], cause[~mine], weight[~mine], best, weights)
            moved[mine] = shown[mine] @ fitted
        return best, moved

    def try_boosting(self, inputs: np.ndarray, columns: list[Column], seed: int) -> Trees | None:
        """Fit gradient boosting; None when there are too few jobs to try, or when it did not earn its keep."""
        jobs = self.jobs
        rounds = affordable_rounds(len(jobs.cause), jobs.causes, len(columns))
        if not rounds:
            return None
        opinion = np.zeros_like(self.share)
        for part in np.unique(self.fold[self.scored]):
            mine = self.fold == part
            trees = fit_trees(
                inputs[~mine], columns, jobs.cause[~mine], jobs.weight[~mine], jobs.causes, rounds=rounds, seed=seed
            )
            opinion[mine] = trees.scores(inputs[mine])
        if not self.keep("boosting", opinion):
            return None
        return fit_trees(inputs, columns, jobs.cause, jobs.weight, jobs.causes, rounds=rounds, seed=seed)


def affordable_rounds(jobs: int, causes: int, columns: int) -> int:
    """Rounds of boosting within about ``BOOSTING_SECONDS``; 0 = not tried."""
    if jobs < JOBS_PER_CAUSE * causes:
        return 0
    per_tree = 0.002 + 4e-9 * jobs * columns
    trees = 1 if causes == 2 else causes
    rounds = int(BOOSTING_SECONDS / (per_tree * trees * 2))
    return min(rounds, 150) if rounds >= 10 else 0
