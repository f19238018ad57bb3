"""Which cause a job has: an estimator that is honest with few jobs and learns what many can teach."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data

from models.bayes import BayesTables, count_cells, fit_tables, log_shares
from models.boosting import boosting_inputs, fit_trees
from models.cause_model import CauseModel, Unseen
from models.encoding import cells, encode, gather, learn_columns, offsets
from models.linear import fit_linear, one_hot
from models.pool import pool_weights

FREEDOMS = (0.1, 0.25, 0.5)  # standard deviations tried for the linear layer; held-out jobs choose
ENOUGH_HELD_OUT = 2000  # jobs on which four pool weights are fitted well enough
LEAST_GAIN = 0.002  # nats a held-out job by which a part must improve the pool to be kept


class CauseClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Probabilities of causes from facts of which most are not known.

    A smoothed Bayes layer carries small counts; a linear layer may move away from it; gradient boosting stands beside them; a
    log-linear pool, fitted on jobs that none of them has seen, gives each its weight. A part that does not lower the held-out
    log-loss is left out of the fitted model.

    Parameters
    ----------
    scope
        Column whose values have causes of their own (``"kind"``), for :meth:`none_of_these`; None = one estimate for all.
    boosting
        False leaves gradient boosting out.
    folds
        Parts into which the jobs are dealt; each opinion about a part comes from the others.
    random_state
        Seed of the deal. The same seed and jobs give the same model.
    threads
        Most threads used while fitting.

    Attributes
    ----------
    classes_
        Causes, sorted.
    model_
        The fitted :class:`models.cause_model.CauseModel`, which predicts without scikit-learn.

    Notes
    -----
    X is a DataFrame (or array) of categorical, boolean and number columns; NaN = not known and is the usual case. ``sample_weight``
    counts a job as several or as part of one. With one cause only, that cause gets probability one.
    """

    def __init__(
        self,
        *,
        scope: str | None = None,
        boosting: bool = True,
        folds: int = 5,
        random_state: int = 0,
        threads: int = 2,
    ) -> None:
        self.scope = scope
        self.boosting = boosting
        self.folds = folds
        self.random_state = random_state
        self.threads = threads

    def fit(self, X: Any, y: Any, sample_weight: Any = None) -> CauseClassifier:
        """Learn from jobs whose cause is known.

        Parameters
        ----------
        X
            One row a job.
        y
            Its cause.
        sample_weight
            How much each job counts; None = one each.
        """
        from threadpoolctl import threadpool_limits

        frame = self._frame(X, reset=True)
        y = np.asarray(y)
        if y.ndim == 2 and y.shape[1] == 1:
            import warnings

            from sklearn.exceptions import DataConversionWarning

            warnings.warn(
                "y has one column too many; it was taken as one cause a job.", DataConversionWarning, stacklevel=2
            )
            y = y.ravel()
        if y.ndim != 1 or len(y) != len(frame):
            raise ValueError(f"y must hold one cause a job: {len(frame)} jobs, y has shape {y.shape}.")
        check_classification_targets(y)
        weight = _check_sample_weight(sample_weight, frame, dtype=float, ensure_non_negative=True)
        self.classes_, cause = np.unique(y, return_inverse=True)
        with threadpool_limits(limits=self.threads):
            self.model_ = self._learn(frame, cause, weight)
        return self

    def predict_proba(self, X: Any) -> np.ndarray:
        """Probability of each of ``classes_``, one row a job, adding to one."""
        check_is_fitted(self, "model_")
        return self.model_.predict_proba(self._frame(X, reset=False))

    def predict(self, X: Any) -> np.ndarray:
        """Return the likeliest cause of each job."""
        return np.asarray(self.classes_[np.argmax(self.predict_proba(X), axis=1)])

    def none_of_these(self, X: Any) -> np.ndarray:
        """Probability, one a job, that the cause is one never seen for its kind."""
        check_is_fitted(self, "model_")
        return self.model_.none_of_these(self._frame(X, reset=False))

    def __sklearn_tags__(self) -> Any:
        """Say what scikit-learn's checks may expect: not-known cells and text are welcome."""
        tags = super().__sklearn_tags__()
        tags.input_tags.allow_nan = True
        tags.input_tags.categorical = True
        tags.input_tags.string = True
        return tags

    def _frame(self, X: Any, *, reset: bool) -> pd.DataFrame:
        if isinstance(X, pd.DataFrame):
            validate_data(self, X, reset=reset, skip_check_array=True)
            if X.shape[0] == 0:
                raise ValueError("Found array with 0 sample(s) while a minimum of 1 is required.")
            return X.reset_index(drop=True)
        checked = validate_data(self, X, reset=reset, dtype=None, ensure_all_finite="allow-nan")
        return pd.DataFrame(checked, columns=[f"x{k}" for k in range(checked.shape[1])]).infer_objects()

    def _learn(self, frame: pd.DataFrame, cause: np.ndarray, weight: np.ndarray) -> CauseModel:
        columns = learn_columns(frame)
        starts = offsets(columns)
        causes, size = len(self.classes_), int(starts[-1])
        at = cells(encode(frame, columns), starts)
        counts = count_cells(at, cause, weight, size, causes)
        share = log_shares(cause, weight, causes)
        tables = fit_tables(counts, share, starts)
        unseen = _unseen(frame, cause, weight, self.scope)
        jobs = np.bincount(cause, weights=weight, minlength=causes)
        silent = np.array([1.0, 1.0, 0.0, 0.0])
        if causes < 2 or len(frame) < 2 * self.folds:
            return CauseModel(self.classes_, columns, share, tables.log_ratio, None, None, silent, jobs, unseen)

        fold = np.random.default_rng(self.random_state).permutation(len(frame)) % self.folds
        told, shares = _told_by_others(at, cause, weight, fold, starts, counts)
        held_out = np.isin(fold, np.arange(min(self.folds, -(-ENOUGH_HELD_OUT * self.folds // len(frame)))))
        opinions = [shares[held_out], told[held_out]]
        y, w = cause[held_out], weight[held_out]
        weights = pool_weights(opinions, y, w)
        best = _pool_loss(opinions, weights, y, w)

        linear = None
        shown = one_hot(at, size)
        base = shares * weights[0] + told * weights[1]
        freedom, moved = _best_freedom(shown, base, cause, weight, fold, held_out)
        if moved is not None:
            tried = pool_weights([*opinions, moved[held_out]], y, w)
            loss = _pool_loss([*opinions, moved[held_out]], tried, y, w)
            if loss < best - LEAST_GAIN:
                opinions, weights, best = [*opinions, moved[held_out]], tried, loss
                linear = fit_linear(shown, base, cause, weight, freedom)

        trees = None
        rounds = _affordable_rounds(len(frame), causes, len(columns)) if self.boosting else 0
        if rounds:
            inputs = boosting_inputs(frame, columns)
            grown = _boosting_opinion(inputs, columns, cause, weight, fold, held_out, causes, rounds, self.random_state)
            tried = pool_weights([*opinions, grown], y, w)
            loss = _pool_loss([*opinions, grown], tried, y, w)
            if loss < best - LEAST_GAIN:
                weights, best = tried, loss
                trees = fit_trees(inputs, columns, cause, weight, causes, rounds=rounds, seed=self.random_state)

        full = np.zeros(4)
        full[:2] = weights[:2]
        if linear is not None:
            full[2] = weights[2]
        if trees is not None:
            full[3] = weights[-1]
        return CauseModel(self.classes_, columns, share, tables.log_ratio, linear, trees, full, jobs, unseen)


def _told_by_others(
    at: np.ndarray, cause: np.ndarray, weight: np.ndarray, fold: np.ndarray, starts: np.ndarray, counts: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Bayes layer's log ratios and log shares for each job, learned from the other folds."""
    size, causes = counts.shape
    told, shares = np.zeros((len(at), causes)), np.zeros((len(at), causes))
    for part in np.unique(fold):
        mine = fold == part
        rest = counts - count_cells(at[mine], cause[mine], weight[mine], size, causes)
        share = log_shares(cause[~mine], weight[~mine], causes)
        tables: BayesTables = fit_tables(np.maximum(rest, 0.0), share, starts)
        told[mine] = gather(tables.log_ratio, at[mine])
        shares[mine] = share
    return told, shares


def _pool_loss(opinions: list[np.ndarray], weights: np.ndarray, cause: np.ndarray, weight: np.ndarray) -> float:
    scores = np.tensordot(weights, np.stack(opinions), axes=1)
    top = scores.max(axis=1, keepdims=True)
    total = np.log(np.exp(scores - top).sum(axis=1)) + top[:, 0]
    return float(np.average(total - scores[np.arange(len(cause)), cause], weights=weight))


def _best_freedom(
    shown: Any, base: np.ndarray, cause: np.ndarray, weight: np.ndarray, fold: np.ndarray, held_out: np.ndarray
) -> tuple[float, np.ndarray | None]:
    """Choose how far the linear layer may move, on the first held-out fold; then its opinion on every held-out fold."""
    parts = np.unique(fold[held_out])
    mine = fold == parts[0]
    best, best_loss = 0.0, _loss(base[mine], cause[mine], weight[mine])
    start = None
    for freedom in FREEDOMS:
        weights = fit_linear(shown[~mine], base[~mine], cause[~mine], weight[~mine], freedom, start)
        loss = _loss(base[mine] + shown[mine] @ weights, cause[mine], weight[mine])
        if loss > best_loss:
            break
        best, best_loss, start = freedom, loss, weights
    if start is None:
        return 0.0, None
    moved = np.zeros_like(base)
    moved[mine] = shown[mine] @ start
    for part in parts[1:]:
        mine = fold == part
        weights = fit_linear(shown[~mine], base[~mine], cause[~mine], weight[~mine], best, start)
        moved[mine] = shown[mine] @ weights
    return best, moved


def _loss(scores: np.ndarray, cause: np.ndarray, weight: np.ndarray) -> float:
    return _pool_loss([scores], np.ones(1), cause, weight)


def _affordable_rounds(jobs: int, causes: int, columns: int) -> int:
    """Rounds of boosting within about fifteen seconds; 0 = not tried, the jobs are too few for so many causes."""
    if jobs < 50 * causes:
        return 0
    per_tree = 0.002 + 4e-9 * jobs * columns
    trees = 1 if causes == 2 else causes
    rounds = int(15 / (per_tree * trees * 2))
    return min(rounds, 150) if rounds >= 10 else 0


def _boosting_opinion(
    inputs: np.ndarray,
    columns: list[Any],
    cause: np.ndarray,
    weight: np.ndarray,
    fold: np.ndarray,
    held_out: np.ndarray,
    causes: int,
    rounds: int,
    seed: int,
) -> np.ndarray:
    opinion = np.zeros((len(cause), causes))
    for part in np.unique(fold[held_out]):
        mine = fold == part
        trees = fit_trees(inputs[~mine], columns, cause[~mine], weight[~mine], causes, rounds=rounds, seed=seed)
        opinion[mine] = trees.scores(inputs[mine])
    return opinion[held_out]


def _unseen(frame: pd.DataFrame, cause: np.ndarray, weight: np.ndarray, scope: str | None) -> Unseen:
    counts = np.bincount(cause)
    overall = float((counts == 1).sum() / max(len(cause), 1))
    if scope is None or scope not in frame.columns:
        return Unseen("", {}, {}, overall, overall)
    table = pd.crosstab(frame[scope].astype(str).where(frame[scope].notna()), cause)
    only_here = (table > 0).sum(axis=0) == 1
    singles = (table == 1).sum(axis=1)
    strange = float(table.loc[:, only_here].to_numpy().sum() / max(table.to_numpy().sum(), 1))
    by_scope = max(float(singles.sum() / max(table.to_numpy().sum(), 1)), 0.0)
    return Unseen(
        scope,
        {str(value): float(jobs) for value, jobs in table.sum(axis=1).items()},
        {str(value): float(jobs) for value, jobs in singles.items()},
        by_scope,
        strange,
    )
