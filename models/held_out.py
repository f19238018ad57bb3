"""Each part of the cause model earns its weight on jobs it has not seen, or is left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from models.bayes import BayesTables, count_cells, fit_tables, log_shares
from models.boosting import Trees, fit_trees
from models.column_weights import Unseen, column_weights
from models.linear import fit_linear, one_hot
from models.pairs import Pairs, find_pairs
from models.pool import pool_loss, pool_weights

if TYPE_CHECKING:
    from models.encoding import Column

FREEDOMS = (0.3, 0.7, 1.5)  # standard deviations tried for the linear layer
MOST_FOR_WEIGHTS = 20_000  # held-out jobs on which column weights are fitted
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
        self.shown = one_hot(jobs.at, int(jobs.starts[-1]))
        self.share, self.told, self.paired = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        unseen = []
        for part in range(folds):
            mine = self.fold == part
            tables, pairs = fit_layers(jobs, ~mine)
            self.share[mine] = tables.log_share
            self.told[mine] = self.shown[mine] @ tables.log_ratio
            if pairs is not None:
                self.paired[mine] = pairs.scores(jobs.codes[mine])
            unseen.append(Unseen(self.shown[mine], tables.log_ratio, tables.log_share, jobs.cause[mine], jobs.weight[mine]))
        self.cause, self.weight = jobs.cause[self.scored], jobs.weight[self.scored]
        self.heard = np.ones(len(jobs.starts) - 1)
        self._hear(unseen)

    def _hear(self, unseen: list[Unseen]) -> None:
        """Fit the weight of each column and rescale the Bayes layer's opinion by it."""
        self.opinions = {"share": self.share[self.scored], "bayes": self.told[self.scored]}
        self.pool = pool_weights(list(self.opinions.values()), self.cause, self.weight)
        enough = max(1, min(len(unseen), MOST_FOR_WEIGHTS // max(len(unseen[0].cause), 1)))
        self.heard = column_weights(unseen[:enough], self.jobs.starts, float(self.pool[1]))
        by_cell = np.repeat(self.heard, np.diff(self.jobs.starts))[:, None]
        for part, one in enumerate(unseen):
            self.told[self.fold == part] = one.shown @ (one.log_ratio * by_cell)
        self.opinions["bayes"] = self.told[self.scored]
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
        """Fit the linear layer, which starts from the shares alone; None when it did not earn its keep."""
        jobs = self.jobs
        freedom, opinion, weights = self._freest()
        for part in np.unique(self.fold[self.scored])[1:]:
            mine = self.fold == part
            opinion[mine] = self.shown[mine] @ self._linear(~mine, freedom, weights)
        if not self.keep("linear", opinion):
            return None
        return self._linear(np.ones(len(jobs.cause), dtype=bool), freedom, weights)

    def _linear(self, used: np.ndarray, freedom: float, start: np.ndarray | None = None) -> np.ndarray:
        jobs = self.jobs
        share = np.tile(log_shares(jobs.cause[used], jobs.weight[used], jobs.causes), (int(used.sum()), 1))
        return fit_linear(self.shown[used], share, jobs.cause[used], jobs.weight[used], freedom, start)

    def _freest(self) -> tuple[float, np.ndarray, np.ndarray]:
        """Choose on the first fold how far from the shares the layer may move: freedom, opinion on that fold, weights."""
        mine = self.fold == 0
        cause, weight = self.jobs.cause[mine], self.jobs.weight[mine]
        best, best_loss, weights = FREEDOMS[0], np.inf, None
        for freedom in FREEDOMS:
            tried = self._linear(~mine, freedom, weights)
            told = self.shown[mine] @ tried
            pool = pool_weights([self.share[mine], self.told[mine], told], cause, weight)
            loss = pool_loss([self.share[mine], self.told[mine], told], pool, cause, weight)
            if loss > best_loss:
                break
            best, best_loss, weights = freedom, loss, tried
        opinion = np.zeros_like(self.share)
        opinion[mine] = self.shown[mine] @ weights
        return best, opinion, np.asarray(weights)

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
