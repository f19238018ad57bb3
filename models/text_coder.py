"""Which term a free text means: the word lists first, then what confirmed texts taught, silence when unsure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression, RidgeClassifier
from sklearn.svm import LinearSVC
from sklearn.utils.validation import _check_sample_weight, check_is_fitted
from threadpoolctl import threadpool_limits

from models.causes.pool import pool_weights
from models.causes.softmax import softmax
from models.statistics.intervals import wilson

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from scipy.sparse import csr_matrix

FOLDS = 5
WORD = r"(?u)\b\w+\b"
FEWEST_FOR_FOLDS = 20
MACHINES = 4
SMALLEST = 1e-9  # weight of a term whose texts count for nothing
SILENT = 1.01  # a threshold no probability reaches


class TextCoder(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Probabilities of terms for short free texts in any language.

    Words and pieces of words are weighed by TF-IDF and read by four linear machines (logistic regression, support
    vectors, ridge, support vectors on pieces weighted by how they part a term from the rest) that give every term the
    same weight; a log-linear pool of them and of the terms' shares, fitted on texts they have not seen, gives
    probabilities.

    Parameters
    ----------
    word_list
        Texts in, for each the term the word lists give or None. Where they speak, they are believed as often as they
        were right on the texts fitted.
    least_precision
        Share of coded texts that must be right; sets ``threshold_``.
    random_state
        Seed of the folds.

    Attributes
    ----------
    classes_
        Terms, sorted.
    threshold_
        Probability from which :meth:`code` speaks; above 1 when no threshold reaches ``least_precision``.
    coverage_
        Share of held-out texts at or above it.
    word_list_right_
        How often the word lists were right where they spoke (one right and one wrong added); NaN without them.

    Notes
    -----
    :meth:`predict` goes by the margins of the three machines that know no shares, so that rare terms are not drowned
    by common ones; :meth:`code` goes by probability. The weighted support vectors follow Wang and Manning, Baselines
    and Bigrams (ACL 2012), from memory.
    """

    def __init__(
        self,
        word_list: Callable[[list[str]], Sequence[str | None]] | None = None,
        *,
        least_precision: float = 0.95,
        random_state: int = 0,
    ) -> None:
        self.word_list = word_list
        self.least_precision = least_precision
        self.random_state = random_state

    def fit(self, texts: Any, labels: Any, sample_weight: Any = None) -> TextCoder:
        """Learn from texts whose term is confirmed.

        Parameters
        ----------
        texts
            One text a row.
        labels
            Its term; :meth:`predict` and :meth:`code` give it back in the same type.
        sample_weight
            How much each text counts; None = one each.

        Raises
        ------
        ValueError
            No text, or texts and labels differ in number.
        """
        said, terms = _texts(texts), np.asarray(labels)
        if len(said) == 0 or len(said) != len(terms):
            raise ValueError(f"one term a text is needed: {len(said)} texts, {len(terms)} terms.")
        self.classes_, place = np.unique(terms, return_inverse=True)
        weight = _check_sample_weight(sample_weight, terms, dtype=float, ensure_non_negative=True)
        share = np.bincount(place, weight) + SMALLEST
        self.share_ = np.log(share / share.sum())
        self.weights_ = np.array([1.0, 0.5, 0.5, 0.0, 0.0])
        self.threshold_, self.coverage_ = SILENT, 0.0
        self.word_list_right_ = self._right(said, place, weight)
        with threadpool_limits(limits=1):
            self.machines_ = _Machines(said, place, weight, len(self.classes_)) if len(self.classes_) > 1 else None
            if self.machines_ is not None and len(said) >= FEWEST_FOR_FOLDS:
                self._weigh(said, place, weight)
        return self

    def _right(self, said: list[str], place: np.ndarray, weight: np.ndarray) -> float:
        if self.word_list is None:
            return float("nan")
        told = self._told(said)
        spoke = told >= 0
        return float((weight[told == place].sum() + 1) / (weight[spoke].sum() + 2))

    def _told(self, said: list[str]) -> np.ndarray:
        if self.word_list is None:
            return np.full(len(said), -1)
        return np.asarray(
            pd.Index(self.classes_.astype(str)).get_indexer(pd.Index(np.array(self.word_list(said), dtype=object)))
        )

    def _weigh(self, said: list[str], place: np.ndarray, weight: np.ndarray) -> None:
        """Fit the pool and the threshold on texts not seen; equal texts stay in one fold."""
        distinct, group = np.unique(np.array(said, dtype=object).astype(str), return_inverse=True)
        fold = (np.random.default_rng(self.random_state).permutation(len(distinct)) % FOLDS)[group]
        causes = len(self.classes_)
        opinions = [np.zeros((len(said), causes)) for _ in range(MACHINES + 1)]
        for part in np.unique(fold):
            mine = fold == part
            if mine.all() or len(np.unique(place[~mine])) < 2:
                return
            others = _Machines(
                [t for t, m in zip(said, mine, strict=True) if not m], place[~mine], weight[~mine], causes
            )
            held = [t for t, m in zip(said, mine, strict=True) if m]
            for opinion, told in zip(opinions, others.opinions(held), strict=False):
                opinion[mine] = told
            shares = np.bincount(place[~mine], weight[~mine], minlength=causes) + 0.5
            opinions[-1][mine] = np.log(shares / shares.sum())
        self.weights_ = pool_weights(opinions, place, weight)
        chance = self._believed(said, softmax(np.tensordot(self.weights_, np.stack(opinions), axes=1)))
        self.threshold_, self.coverage_ = _threshold(
            chance.max(axis=1), chance.argmax(axis=1) == place, self.least_precision
        )

    def _believed(self, said: list[str], chance: np.ndarray) -> np.ndarray:
        """Where the word lists speak, give their term the probability with which they were right."""
        told = self._told(said)
        rows = np.flatnonzero(told >= 0)
        if len(rows):
            own = chance[rows, told[rows]].copy()
            chance[rows] *= ((1 - self.word_list_right_) / np.maximum(1 - own, 1e-12))[:, None]
            chance[rows, told[rows]] = self.word_list_right_
            chance /= chance.sum(axis=1, keepdims=True)
        return chance

    def _scores(self, said: list[str]) -> np.ndarray:
        if self.machines_ is None:
            return np.zeros((len(said), 1))
        told = np.tensordot(self.weights_[:-1], np.stack(self.machines_.opinions(said)), axes=1)
        return np.asarray(told + self.weights_[-1] * self.share_)

    def predict_proba(self, texts: Any) -> np.ndarray:
        """Probability of each term, texts × ``classes_``."""
        check_is_fitted(self, "classes_")
        said = _texts(texts)
        with threadpool_limits(limits=1):
            return self._believed(said, softmax(self._scores(said)))

    def predict(self, texts: Any) -> np.ndarray:
        """Return the term with the widest margin, all terms counting alike; the word lists' term where they speak."""
        check_is_fitted(self, "classes_")
        said = _texts(texts)
        best = np.zeros(len(said), dtype=int)
        if self.machines_ is not None:
            with threadpool_limits(limits=1):
                _, *margins = self.machines_.opinions(said)
            best = np.sum(margins, axis=0).argmax(axis=1)
        told = self._told(said)
        return np.asarray(self.classes_[np.where(told >= 0, told, best)])

    def code(self, texts: Any) -> pd.DataFrame:
        """Term and probability of each text; the term is missing below the threshold: such texts go to review."""
        chance = self.predict_proba(texts)
        sure = chance.max(axis=1)
        terms = pd.Series(self.classes_[chance.argmax(axis=1)], dtype=object).where(sure >= self.threshold_)
        return pd.DataFrame({"term": terms, "probability": sure})


def _texts(texts: Any) -> list[str]:
    return ["" if pd.isna(text) else str(text) for text in texts]


def _threshold(chance: np.ndarray, right: np.ndarray, least_precision: float) -> tuple[float, float]:
    """Lowest probability above which enough is right; and the share of texts there.

    Enough: the lower limit of Wilson's 80 % interval, a one-sided 90 % bound, because the best of many thresholds
    flatters itself.
    """
    order = np.argsort(-chance, kind="stable")
    told = np.arange(1, len(order) + 1)
    last_of_value = np.append(np.diff(chance[order]) != 0, True)
    good = np.flatnonzero((wilson(np.cumsum(right[order]), told, 0.8)[0] >= least_precision) & last_of_value)
    if len(good) == 0:
        return SILENT, 0.0
    return float(chance[order][good[-1]]), float((good[-1] + 1) / len(order))


class _Machines:
    """Four linear machines over words and pieces of words."""

    def __init__(self, said: list[str], place: np.ndarray, weight: np.ndarray, terms: int) -> None:
        self.terms = terms
        self.words = TfidfVectorizer(ngram_range=(1, 2), sublinear_tf=True, token_pattern=WORD)
        self.pieces = TfidfVectorizer(
            analyzer="char_wb", ngram_range=(2, 5), sublinear_tf=True, min_df=2 if len(said) > 50 else 1
        )
        self.fitted_words = self._learn(self.words, said)
        self.fitted_pieces = self._learn(self.pieces, said)
        seen = self._features(said)
        self.seen_terms = np.unique(place)
        self.logistic = LogisticRegression(C=5.0, max_iter=300, class_weight="balanced").fit(seen, place, weight)
        self.support = LinearSVC(C=0.3, class_weight="balanced", random_state=0).fit(seen, place, weight)
        self.ridge = RidgeClassifier(alpha=1.0, class_weight="balanced").fit(seen, place, weight)
        self.parted = _Parted(seen, place, weight, self.seen_terms)

    @staticmethod
    def _learn(vectors: TfidfVectorizer, said: list[str]) -> bool:
        try:
            vectors.fit(said)
        except ValueError:  # no word in any text
            return False
        return True

    def _features(self, said: list[str]) -> csr_matrix:
        from scipy.sparse import csr_matrix, hstack

        blocks = [
            v.transform(said) for v, ok in ((self.words, self.fitted_words), (self.pieces, self.fitted_pieces)) if ok
        ]
        return hstack(blocks).tocsr() if blocks else csr_matrix((len(said), 1))

    def opinions(self, said: list[str]) -> list[np.ndarray]:
        """Log scores of each machine, texts × terms; terms it never saw stand a little below its lowest."""
        seen = self._features(said)
        return [
            self._spread(self.logistic.predict_log_proba(seen)),
            self._spread(_two_sided(self.support.decision_function(seen))),
            self._spread(_two_sided(self.ridge.decision_function(seen))),
            self._spread(self.parted.margins(seen)),
        ]

    def _spread(self, scores: np.ndarray) -> np.ndarray:
        full = np.tile(scores.min(axis=1, keepdims=True) - 1.0, (1, self.terms))
        full[:, self.seen_terms] = scores
        return full


def _two_sided(scores: np.ndarray) -> np.ndarray:
    """Decision of a two-term machine as two columns."""
    return np.stack([-scores, scores], axis=1) if scores.ndim == 1 else scores


class _Parted:
    """Support vectors, one term against the rest, on pieces weighted by their log-odds for the term."""

    def __init__(self, seen: csr_matrix, place: np.ndarray, heavy: np.ndarray, terms: np.ndarray) -> None:
        present = (seen > 0).astype(float)
        everywhere = np.asarray(present.sum(axis=0)).ravel()
        self.weights, self.machines = [], []
        for term in terms:
            mine = np.asarray(present[place == term].sum(axis=0)).ravel()
            own, rest = mine + 1, everywhere - mine + 1
            weight = np.abs(np.log(own / own.sum()) - np.log(rest / rest.sum()))
            machine = LinearSVC(C=0.3, class_weight="balanced", random_state=0)
            self.weights.append(weight)
            self.machines.append(machine.fit(seen.multiply(weight).tocsr(), place == term, heavy))

    def margins(self, seen: csr_matrix) -> np.ndarray:
        """Margin of each term, texts × terms."""
        pairs = zip(self.weights, self.machines, strict=True)
        return np.stack([m.decision_function(seen.multiply(w).tocsr()) for w, m in pairs], axis=1)
