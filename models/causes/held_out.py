"""Each part of the cause model earns its weight on jobs it has not seen, or is left out."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from models.causes.bayes import BayesTables, count_cells, fit_tables, log_shares
from models.causes.boosting import fit_trees
from models.causes.column_weights import Unseen, column_weights
from models.causes.encoding import NOT_KNOWN, gather, one_hot
from models.causes.facts import entries
from models.causes.failure_modes import is_unheard
from models.causes.jobs import as_asked, naive_bayes_of, offset_of, regression_of, ways_of
from models.causes.pairs import Pairs, find_pairs
from models.causes.pool import HEARD, HOLD, UNHEARD, job_losses, pool_loss, pool_weights, pooled
from models.causes.softmax import softmax
from models.causes.uncertainty import learn_width

if TYPE_CHECKING:
    from models.causes.by_kind import ByKind
    from models.causes.encoding import Column
    from models.causes.failure_modes import Ways
    from models.causes.jobs import Jobs

FREEDOMS = (0.3, 0.5, 0.7, 1.0, 1.5, 2.2)  # standard deviations tried for the weights of the regression
ENOUGH_TO_JUDGE = 500  # held-out jobs on which the freedom is chosen and widths are learned
LEAST_FREER = 0.005  # nats a held-out job that a freer regression must gain: later calls differ more than held-out jobs
MOST_FOR_WEIGHTS = 20_000  # held-out jobs on which column weights are fitted
ENOUGH = 1000  # held-out jobs on which the few pool weights are fitted well enough
HALVES = 7  # seed of the deal into halves
SEVERAL = 500  # jobs from which more folds cost little and tell more
LEAST_GAIN = 0.002  # nats a held-out job by which a part must improve the pool to be kept, and one standard error
LEAST_BESIDE_LISTS = 0.005  # the same for what only records teach: they hold cured jobs, questions come from all
FEWEST_OF_A_ROW, HOLD_UNHEARD = 40, 10.0  # held-out jobs for weights of their own; nats that hold those of own words to
# the weights of all jobs
JOBS_PER_CAUSE = 150  # fewer than these and boosting is not tried: it never earned its keep below,
FEW_CAUSES, JOBS_PER_FEW = 25, 30  # unless causes are few, so that trees are cheap (Soybean: accuracy .940 → .947)
MOST_FOR_TRIAL = 12_000  # jobs on which boosting is tried before it is fitted on all
BOOSTING_SECONDS, BESIDE_LISTS = 6.0, 2.0  # rough most for the trial's trees; beside lists, where it seldom wins
ORDER = ("share", "bayes", "pairs", "regression", "naive Bayes", "boosting", "ways")


@dataclass(frozen=True)
class Decided:
    """What held-out jobs decided.

    Attributes
    ----------
    heard
        Weight of each column by name.
    usual
        Weight of a column not met then.
    weights
        Of each opinion, in the order of ``ORDER``; zero = left out. Two rows, as :mod:`models.causes.pool` names them.
    freedom
        Standard deviation of the regression's weights.
    rounds
        Of boosting.
    gains
        Nats a held-out job by which each part that was tried lowered the pool's log-loss, kept or not.
    width
        How far probabilities may be off, as :mod:`models.causes.uncertainty` learns it.
    """

    heard: dict[str, float]
    usual: float
    weights: np.ndarray
    freedom: float = 0.0
    rounds: int = 0
    gains: dict[str, float] = field(default_factory=dict)
    width: np.ndarray = field(default_factory=lambda: np.zeros(0))

    @property
    def is_kept(self) -> np.ndarray:
        """Of each opinion: whether it speaks at all."""
        return np.asarray(self.weights.any(axis=0))


NOTHING_DECIDED = Decided({}, 1.0, np.tile([1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0], (2, 1)))
LISTS_ALONE = Decided({}, 1.0, np.tile([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0], (2, 1)))


def decide(jobs: Jobs, inputs: np.ndarray | None, folds: int, seed: int) -> tuple[Decided, ByKind | None]:
    """Let held-out jobs decide what each part is worth; ``inputs`` None leaves boosting out.

    Beside it a regression on some of the jobs, from which that on all of them may begin.
    """
    held = HeldOut(jobs, folds, seed)
    if jobs.written is not None:
        held.hear_lists()
    else:
        held.hear_tables()
    freedom = held.try_regression()
    rounds = held.try_boosting(inputs, jobs.columns, seed) if inputs is not None else 0
    heard = {column.name: float(weight) for column, weight in zip(jobs.columns, held.heard, strict=True)}
    usual = float(np.median(held.heard))
    decided = Decided(heard, usual, held.weights(), freedom, rounds, held.gains, held.width(freedom))
    return decided, held.regression


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
        if SEVERAL <= len(jobs.cause) < ENOUGH:
            folds *= 2  # so few jobs miss each one left out
        self.fold = np.random.default_rng(seed).permutation(len(jobs.cause)) % folds
        few = min(folds, -(-ENOUGH * folds // len(jobs.cause)))
        self.scored = self.fold < few
        self.asked, is_call = as_asked(jobs, seed)
        self.is_call = is_call[self.scored]
        row = np.where(is_unheard(jobs.codes, jobs.columns, jobs.texts), UNHEARD, HEARD)
        self.row = row[self.scored] if jobs.written is not None else np.full(int(self.scored.sum()), HEARD)
        self.cause, self.weight = jobs.cause[self.scored], jobs.weight[self.scored]
        self.heard = np.ones(len(jobs.starts) - 1)
        self.opinions: dict[str, np.ndarray] = {}
        self.gains: dict[str, float] = {}
        self.asked_offset = offset_of(self.asked, jobs.lists)
        self.regression: ByKind | None = None

    def hear_lists(self) -> None:
        """Begin with what the lists say, corrected by jobs."""
        jobs = self.jobs
        opinion = np.zeros((len(jobs.cause), jobs.causes))
        for part in np.unique(self.fold[self.scored]):
            mine = self.fold == part
            ways = self._ways(~mine)
            if ways is not None:
                opinion[mine] = ways.scores(self.asked.codes[mine], self.asked.at[mine], jobs.places, jobs.causes)
        self.opinions = {"ways": opinion[self.scored]}
        self.pool = np.ones((2, 1))
        self.losses = self._losses(list(self.opinions.values()), self.pool)

    def hear_tables(self) -> None:
        """Begin with the shares, the Bayes layer and pairs of facts, where no lists are."""
        jobs = self.jobs
        shape = (len(jobs.cause), jobs.causes)
        told_of = one_hot(self.asked.at, int(jobs.starts[-1]))
        self.share, self.told, paired = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        unseen = []
        for part in np.unique(self.fold):
            mine = self.fold == part
            tables, pairs = fit_layers(jobs, ~mine)
            self.share[mine] = tables.log_share
            self.told[mine] = told_of[mine] @ tables.log_ratio
            if pairs is not None:
                paired[mine] = pairs.scores(self.asked.codes[mine])
            unseen.append(
                Unseen(told_of[mine], tables.log_ratio, tables.log_share, jobs.cause[mine], jobs.weight[mine])
            )
        self._hear(unseen)
        self.keep("pairs", paired)

    def _hear(self, unseen: list[Unseen]) -> None:
        """Fit the weight of each column and rescale the Bayes layer's opinion by it."""
        self.opinions = {"share": self.share[self.scored], "bayes": self.told[self.scored]}
        together = pool_weights(list(self.opinions.values()), self.cause, self.weight)
        enough = max(1, min(len(unseen), MOST_FOR_WEIGHTS // max(len(unseen[0].cause), 1)))
        self.heard = column_weights(unseen[:enough], self.jobs.starts, float(together[1]))
        by_cell = np.repeat(self.heard, np.diff(self.jobs.starts))[:, None]
        for part, one in enumerate(unseen):
            self.told[self.fold == part] = one.shown @ (one.log_ratio * by_cell)
        self.opinions["bayes"] = self.told[self.scored]
        self.pool = self.weigh(self.opinions)
        self.losses = self._losses(list(self.opinions.values()), self.pool)

    def keep(self, name: str, opinion: np.ndarray) -> bool:
        """Take an opinion into the pool when it lowers the held-out log-loss enough; say whether it did.

        Beside lists it must do so on the jobs told as calls as well: a record holds what was looked at on the way to
        the cause, and who has learned that way answers records better and calls worse.
        """
        if not opinion.any():
            return False
        tried = [*self.opinions.values(), opinion[self.scored]]
        weights = self.weigh({**self.opinions, name: opinion[self.scored]})
        losses = self._losses(tried, weights)
        gain = self.losses - losses
        self.gains[name] = float(np.average(gain, weights=self.weight))
        if not weights[:, -1].any() or not self._is_won(gain, beside_lists="ways" in self.opinions):
            return False
        self.opinions[name] = opinion[self.scored]
        self.pool, self.losses = weights, losses
        return True

    def _is_won(self, gain: np.ndarray, *, beside_lists: bool) -> bool:
        """Whether a gain is worth its part and more than chance, beside lists on the jobs told as calls too."""
        judges = [np.ones(len(gain), dtype=bool)] + ([self.is_call] if beside_lists else [])
        least = LEAST_BESIDE_LISTS if beside_lists else LEAST_GAIN
        return all(_mean_is_at_least(least, gain[who], self.weight[who]) for who in judges)

    def _losses(self, opinions: list[np.ndarray], pool: np.ndarray) -> np.ndarray:
        return job_losses(opinions, pool[self.row], self.cause)

    def weigh(self, opinions: dict[str, np.ndarray]) -> np.ndarray:
        """Weights of opinions, of jobs the lists understand and of those told in own words: rows × opinions.

        Those of few jobs stay near the better of the lists and the regression beside them; those of own words, where
        the lists say little but shares, near the weights of all jobs.
        """
        told = list(opinions.values())
        usual = self._usual(opinions)
        of_all = pool_weights(told, self.cause, self.weight, usual)
        rows = np.stack([of_all, of_all])
        for row, near, hold in ((HEARD, usual, HOLD), (UNHEARD, of_all, HOLD_UNHEARD)):
            mine = self.row == row
            if FEWEST_OF_A_ROW <= mine.sum() < len(mine):
                rows[row] = pool_weights([o[mine] for o in told], self.cause[mine], self.weight[mine], near, hold)
        return rows

    def _usual(self, opinions: dict[str, np.ndarray]) -> np.ndarray | None:
        lists = [name for name in opinions if name in ("ways", "regression")] if "ways" in opinions else []
        if not lists:
            return None
        best = min(lists, key=lambda name: pool_loss([opinions[name]], np.ones(1), self.cause, self.weight))
        return np.array([float(name == best) for name in opinions])

    def weights(self) -> np.ndarray:
        """Weights of the pool in the order of the model's opinions, zero for what was left out."""
        fitted = dict(zip(self.opinions, self.pool.T, strict=True))
        return np.stack([fitted.get(name, np.zeros(len(self.pool))) for name in ORDER], axis=1)

    def try_regression(self) -> float:
        """Try regression and naive Bayes; how far the weights may move, 0 when regression did not earn its keep."""
        jobs = self.jobs
        parts, judges = self._parts(), self._judges()
        judging, counted = np.any(judges, axis=0), np.zeros((len(self.fold), jobs.causes))
        fitted: list[ByKind | None] = [None] * len(judges)
        opinions, losses = [], []
        for tried in FREEDOMS:
            opinions.append(np.zeros_like(counted))
            for place, mine in enumerate(judges):
                fitted[place] = layer = regression_of(jobs, ~mine, tried, fitted[place])
                opinions[-1][mine] = self._ask(layer, mine)
            losses.append(self._with(opinions[-1][judging], judging))
            if losses[-1] > min(losses):
                break
        self.regression = fitted[0]
        least_free = int(np.argmax(np.array(losses) <= min(losses) + LEAST_FREER))
        freedom, opinion = FREEDOMS[least_free], opinions[least_free]
        for mine in parts[len(judges) :]:
            opinion[mine] = self._ask(regression_of(jobs, ~mine, freedom), mine)
        for mine in parts:
            counted[mine] = self._ask(naive_bayes_of(jobs, ~mine), mine)
        is_kept = self.keep("regression", opinion)
        self.keep("naive Bayes", counted)
        return freedom if is_kept else 0.0

    def _ask(self, layer: ByKind, mine: np.ndarray) -> np.ndarray:
        """What a regression or naive Bayes says of the jobs marked ``mine``."""
        asked = self.jobs if self.jobs.written is not None else self.asked  # beside lists no finding is read
        return layer.scores(entries(asked.shown[mine]), self.jobs.kind[mine], self.asked_offset[mine])

    def width(self, freedom: float) -> np.ndarray:
        """How far probabilities may be off, from parts learned on half the jobs each.

        Lists, or tables and pairs, regression and naive Bayes; boosting stays as learned.
        """
        half = np.random.default_rng(HALVES).random(len(self.fold)) < 0.5
        told = [self._with_halves(mine, half, freedom) for mine in self._judges()]
        return learn_width(*(np.concatenate(one) for one in zip(*told, strict=True)))

    def _with_halves(self, mine: np.ndarray, half: np.ndarray, freedom: float) -> list[np.ndarray]:
        """Probabilities of the jobs marked ``mine``: by the pool, and with parts from either half of the others."""
        here = mine[self.scored]
        parts = ({}, *(self._of_half(~mine & one, mine, freedom) for one in (half, ~half)))
        pool = self.pool[self.row[here]]
        return [
            softmax(pooled([told.get(name, all_jobs[here]) for name, all_jobs in self.opinions.items()], pool))
            for told in parts
        ]

    def _parts(self) -> list[np.ndarray]:
        """Marks the jobs of each fold whose held-out opinions are scored."""
        return [self.fold == part for part in np.unique(self.fold[self.scored])]

    def _judges(self) -> list[np.ndarray]:
        """As many of the scored folds as hold enough jobs for what is costly."""
        parts = self._parts()
        return parts[: int(np.searchsorted(np.cumsum([part.sum() for part in parts]), ENOUGH_TO_JUDGE)) + 1]

    def _of_half(self, used: np.ndarray, mine: np.ndarray, freedom: float) -> dict[str, np.ndarray]:
        """Opinions on the jobs marked ``mine`` by parts that learned from those marked ``used``."""
        jobs, asked = self.jobs, self.asked
        told: dict[str, np.ndarray] = {}
        if (ways := self._ways(used)) is not None:
            told["ways"] = ways.scores(asked.codes[mine], asked.at[mine], jobs.places, jobs.causes)
        else:
            tables, pairs = fit_layers(jobs, used)
            by_cell = np.repeat(self.heard, np.diff(jobs.starts))[:, None]
            told["share"] = np.tile(tables.log_share, (int(mine.sum()), 1))
            told["bayes"] = gather(tables.log_ratio * by_cell, asked.at[mine])
            told["pairs"] = np.zeros_like(told["bayes"]) if pairs is None else pairs.scores(asked.codes[mine])
        if "regression" in self.opinions:
            told["regression"] = self._ask(regression_of(jobs, used, freedom), mine)
        if "naive Bayes" in self.opinions:
            told["naive Bayes"] = self._ask(naive_bayes_of(jobs, used), mine)
        return told

    def _ways(self, used: np.ndarray) -> Ways | None:
        """What the lists say, corrected by jobs; these are cured ones, so ways handed on count as often as cured."""
        written = self.jobs.written
        if written is None:
            return None
        return ways_of(
            replace(self.jobs, written=replace(written, is_handed_on=np.zeros_like(written.is_handed_on))), used
        )

    def _with(self, told: np.ndarray, mine: np.ndarray) -> float:
        """Log-loss of the pool with one more opinion, on one fold."""
        here = mine[self.scored]
        opinions = [*(opinion[here] for opinion in self.opinions.values()), told]
        cause, weight = self.cause[here], self.weight[here]
        return pool_loss(opinions, pool_weights(opinions, cause, weight), cause, weight)

    def try_boosting(self, inputs: np.ndarray, columns: list[Column], seed: int) -> int:
        """Try gradient boosting; rounds, 0 when there are too few jobs to try or it did not earn its keep."""
        jobs = self.jobs
        parts = np.unique(self.fold[self.scored])
        met = len(np.unique(jobs.cause))  # the lists' other causes cost boosting nothing
        seconds = BOOSTING_SECONDS if jobs.written is None else BESIDE_LISTS
        rounds = affordable_rounds(min(len(jobs.cause), MOST_FOR_TRIAL), met, len(columns), len(parts), seconds)
        if not rounds:
            return 0
        opinion = np.zeros((len(self.fold), self.jobs.causes))
        unknown = self.asked.codes == NOT_KNOWN
        for part in parts:
            mine = self.fold == part
            others = np.flatnonzero(~mine)[-MOST_FOR_TRIAL:]
            cause, weight = jobs.cause[others], jobs.weight[others]
            trees = fit_trees(inputs[others], columns, cause, weight, jobs.causes, rounds=rounds, seed=seed)
            opinion[mine] = trees.scores(np.where(unknown[mine], np.nan, inputs[mine]))
        return rounds if self.keep("boosting", opinion) else 0


def _mean_is_at_least(least: float, gain: np.ndarray, weight: np.ndarray) -> bool:
    if not weight.sum():
        return False
    won = float(np.average(gain, weights=weight))
    return won >= least and won >= float(gain.std()) / np.sqrt(len(gain))


def affordable_rounds(jobs: int, causes: int, columns: int, trials: int, seconds: float) -> int:
    """Rounds of boosting within about so many seconds for all trials; 0 = not tried."""
    if jobs < (JOBS_PER_FEW if causes <= FEW_CAUSES else JOBS_PER_CAUSE) * causes:
        return 0
    per_tree = 0.001 + 4e-9 * jobs * columns
    trees = 1 if causes == 2 else causes
    rounds = int(seconds / (per_tree * trees * trials))
    return min(rounds, 150) if rounds >= 10 else 0
