"""Which cause a job has: an estimator that is honest with few jobs and learns what many can teach."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils import assert_all_finite, check_consistent_length, column_or_1d
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data
from threadpoolctl import threadpool_limits

from models.causes.boosting import boosting_inputs, fit_trees
from models.causes.held_out import LISTS_ALONE, NOTHING_DECIDED, decide, fit_layers
from models.causes.jobs import all_causes, code_jobs, naive_bayes_of, regression_of, ways_of
from models.causes.model import CauseModel
from models.causes.new_causes import count_unseen
from models.causes.softmax import log_softmax

if TYPE_CHECKING:
    from models.causes.by_kind import ByKind
    from models.causes.jobs import Jobs

MOST_TO_DECIDE = 10_000  # jobs by which settings are decided beside lists; more would say the same and take minutes


class CauseClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Probabilities of causes from facts of which most are not known.

    What the lists say is corrected by jobs, or, without lists, a smoothed Bayes layer carries small counts; a
    regression and naive Bayes by kind read words, facts and their products; gradient boosting stands beside them. A
    log-linear pool, fitted on jobs that none of them has seen, gives each its weight; a part that does not lower the
    held-out log-loss is left out.

    Parameters
    ----------
    scope
        Column whose values have causes of their own (``"kind"``), for :meth:`none_of_these`; None = one estimate for
        all.
    text
        Column whose texts are read word by word (``"complaint"``); None = there is none.
    boosting
        False leaves gradient boosting out.
    folds
        Parts into which the jobs are dealt, twice as many from 500 to 2,000 jobs; each opinion about a part comes from
        the others.
    background
        What is known before any job: one row a way to fail and value (way, cause, column, value, chance); the rows of
        the ``kind`` column hold the way's share among those of the same complaints. None = nothing.
    random_state
        Seed of the deal. The same seed and jobs give the same model.
    threads
        Most threads used while fitting; one is no slower on a machine with other work.

    Attributes
    ----------
    classes_
        Causes, sorted; those of the background are among them.
    decided_
        What held-out jobs decided: weight of each column and opinion, freedom of the regression, rounds of boosting.
    model_
        The fitted :class:`models.causes.model.CauseModel`, which predicts without scikit-learn.

    Notes
    -----
    X is a DataFrame (or array) of categorical, boolean and number columns; NaN = not known and is the usual case.
    ``sample_weight`` counts a job as several or as part of one. With one cause only, that cause gets probability one.
    """

    def __init__(
        self,
        *,
        scope: str | None = None,
        text: str | None = None,
        boosting: bool = True,
        folds: int = 5,
        background: pd.DataFrame | None = None,
        random_state: int = 0,
        threads: int = 1,
    ) -> None:
        self.scope = scope
        self.text = text
        self.boosting = boosting
        self.folds = folds
        self.background = background
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
        frame = self._frame(X, reset=True)
        if y is None:
            raise ValueError("This CauseClassifier estimator requires y to be passed, but the target y is None.")
        y = column_or_1d(y, warn=True)
        assert_all_finite(y, input_name="y")
        check_consistent_length(frame, y)
        with warnings.catch_warnings():  # many causes for few jobs are the usual case here, not a slip
            warnings.filterwarnings("ignore", "The number of unique classes", UserWarning)
            check_classification_targets(y)
        weight = _check_sample_weight(sample_weight, frame, dtype=float, ensure_non_negative=True)
        self.classes_, cause = all_causes(y, self.background)
        with threadpool_limits(limits={"blas": 1, "openmp": self.threads}):  # small products only wait for one another
            self.model_ = self._learn(frame, cause, weight)
        return self

    def refit(self, X: Any, y: Any, sample_weight: Any = None) -> CauseClassifier:
        """Learn again from more jobs, keeping what held-out jobs decided in the last :meth:`fit`.

        Costs a small part of a fit. Returns a new fitted estimator; this one is not changed.
        """
        check_is_fitted(self, "model_")
        again = CauseClassifier(**self.get_params())
        frame = again._frame(X, reset=True)
        again.classes_, cause = all_causes(np.asarray(y), self.background)
        again.decided_ = self.decided_
        weight = _check_sample_weight(sample_weight, frame, dtype=float, ensure_non_negative=True)
        with threadpool_limits(limits={"blas": 1, "openmp": self.threads}):
            again.model_ = again._fit_as_decided(frame, again._coded(frame, cause, weight))
        return again

    def predict_proba(self, X: Any) -> np.ndarray:
        """Probability of each of ``classes_``, one row a job, adding to one."""
        check_is_fitted(self, "model_")
        return self.model_.predict_proba(self._frame(X, reset=False))

    def predict_log_proba(self, X: Any) -> np.ndarray:
        """Log of :meth:`predict_proba`; finite where a probability is too small to write."""
        check_is_fitted(self, "model_")
        return np.asarray(log_softmax(self.model_.scores(self._frame(X, reset=False))))

    def predict(self, X: Any) -> np.ndarray:
        """Return the likeliest cause of each job."""
        chance = self.predict_proba(X)
        return np.asarray(self.classes_[chance.argmax(axis=1)])

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
            return X.reset_index(drop=True).set_axis([str(name) for name in X.columns], axis=1)
        checked = validate_data(self, X, reset=reset, dtype=None, ensure_all_finite="allow-nan")
        return pd.DataFrame(checked, columns=[f"x{k}" for k in range(checked.shape[1])]).infer_objects()

    def _coded(self, frame: pd.DataFrame, cause: np.ndarray, weight: np.ndarray) -> Jobs:
        return code_jobs(frame, self.classes_, cause, weight, self.background, self.text)

    def _learn(self, frame: pd.DataFrame, cause: np.ndarray, weight: np.ndarray) -> CauseModel:
        """Let held-out jobs decide what each part is worth, then fit the parts on all jobs.

        Beside lists the last of many decide. Without them all do: tables and pairs grow with their jobs, and weights
        that fitted fewer count twice what both say.
        """
        deciding = len(frame) if self.background is None else MOST_TO_DECIDE
        recent = frame.iloc[-deciding:].reset_index(drop=True)
        jobs = self._coded(recent, cause[-deciding:], weight[-deciding:])
        self.decided_, begin = NOTHING_DECIDED if jobs.written is None else LISTS_ALONE, None
        if jobs.causes > 1 and len(recent) >= 2 * self.folds:
            inputs = boosting_inputs(recent, jobs.columns) if self.boosting else None
            self.decided_, begin = decide(jobs, inputs, self.folds, self.random_state)
        if len(recent) < len(frame):
            return self._fit_as_decided(frame, self._coded(frame, cause, weight))
        return self._fit_as_decided(frame, jobs, begin)

    def _fit_as_decided(self, frame: pd.DataFrame, jobs: Jobs, begin: ByKind | None = None) -> CauseModel:
        decided, columns, cause, weight = self.decided_, jobs.columns, jobs.cause, jobs.weight
        is_kept = decided.is_kept
        everyone = np.ones(len(cause), dtype=bool)
        size = int(jobs.starts[-1])
        log_share, log_ratio, pairs = np.zeros(jobs.causes), np.zeros((size, jobs.causes)), None
        if is_kept[:3].any():
            tables, pairs = fit_layers(jobs, everyone)
            log_share, log_ratio = tables.log_share, tables.log_ratio
        heard = np.array([decided.heard.get(column.name, decided.usual) for column in columns])
        facts = regression = naive_bayes = lists = trees = None
        if is_kept[3:5].any():
            facts, lists = jobs.facts, jobs.lists
            if is_kept[3]:
                regression = regression_of(jobs, everyone, decided.freedom, begin)
            if is_kept[4]:
                naive_bayes = naive_bayes_of(jobs, everyone)
        if is_kept[5]:
            inputs = boosting_inputs(frame, columns)
            trees = fit_trees(
                inputs, columns, cause, weight, jobs.causes, rounds=decided.rounds, seed=self.random_state
            )
        return CauseModel(
            classes_=self.classes_,
            columns=columns,
            log_share=log_share,
            log_ratio=log_ratio * np.repeat(heard, np.diff(jobs.starts))[:, None],
            pairs=pairs if is_kept[2] else None,
            facts=facts,
            regression=regression,
            naive_bayes=naive_bayes,
            lists=lists,
            width=decided.width,
            text=self.text,
            trees=trees,
            ways=ways_of(jobs, everyone) if is_kept[6] else None,
            weights=np.where([True, True, pairs is not None, True, True, True, True], decided.weights, 0.0),
            jobs=np.bincount(cause, weights=weight, minlength=jobs.causes),
            unseen=count_unseen(
                frame, cause, self.classes_, self.scope, self.background, self.text if facts is not None else None
            ),
        )
