"""Regression on words, facts and their products: it starts at what the lists say and moves where jobs teach otherwise.

By kind of appliance one multinomial logistic regression, whose weights have a normal prior around zero, around an
offset: what the lists say of the same call, before any job corrected them, times a trust that the jobs decide. What it
reads: the text as told at the call (`models.causes.words`), circumstances and complaints understood, and products of
two (`models.causes.products`). Where lists are, findings are left to them, so that what was looked at on the way to the
cause does not answer the telephone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import cells, offsets
from models.causes.features import FINDING, SYMPTOM
from models.causes.products import learn_pairs, pair_keys
from models.causes.softmax import log_softmax
from models.causes.words import Words, learn_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scipy.sparse import csr_matrix

    from models.causes.encoding import Column

WORDS, PRODUCTS = 3.0, 0.7  # scale of a text's words (and pieces), and of a product, beside a fact of scale 1
LEVEL = 3.0  # standard deviation of the level of a cause
TRUST = 0.5  # standard deviation of the trust in the offset around 1
STEPS = 80


@dataclass(frozen=True)
class Facts:
    """What the regression reads, one number a feature: cells of columns, then products, then words.

    Attributes
    ----------
    columns
        As learned.
    is_read
        Of each cell: whether it is a feature.
    pairs
        Products, as :func:`models.causes.products.pair_keys` numbers them, rising.
    words
        Words and pieces; none for jobs without text.
    """

    columns: Sequence[Column]
    is_read: np.ndarray
    pairs: np.ndarray
    words: Words

    @property
    def size(self) -> int:
        """How many features there are."""
        return len(self.is_read) + len(self.pairs) + len(self.words.entries)

    def read(self, codes: np.ndarray, texts: Sequence[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Features that jobs show: job, feature, value."""
        at = cells(codes, offsets(self.columns))
        shown = np.append(self.is_read, False)[at]
        job = np.nonzero(shown)[0]
        jobs, features, values = [job], [at[shown]], [np.ones(len(job))]
        both, key = pair_keys(codes, self.columns)
        if len(self.pairs) and len(key):
            place = np.minimum(np.searchsorted(self.pairs, key), len(self.pairs) - 1)
            known = self.pairs[place] == key
            jobs.append(both[known])
            features.append(len(self.is_read) + place[known])
            values.append(np.full(int(known.sum()), PRODUCTS))
        if self.words.entries:
            row, entry, weight = self.words.read(texts)
            jobs.append(row)
            features.append(len(self.is_read) + len(self.pairs) + entry)
            values.append(WORDS * weight)
        return np.concatenate(jobs), np.concatenate(features), np.concatenate(values)

    def matrix(self, codes: np.ndarray, texts: Sequence[str]) -> csr_matrix:
        """Jobs × features."""
        from scipy.sparse import csr_matrix

        job, feature, value = self.read(codes, texts)
        return csr_matrix((value, (job, feature)), shape=(len(codes), self.size))


def learn_facts(codes: np.ndarray, texts: Sequence[str], columns: Sequence[Column], *, beside_lists: bool) -> Facts:
    """Learn which features there are; ``beside_lists`` leaves findings to the lists."""
    is_read = [np.zeros(0, dtype=bool)]
    for column in columns:
        if column.name.startswith(SYMPTOM):
            is_read.append(np.array([value == "yes" for value in column.values], dtype=bool))
        else:
            is_read.append(np.full(column.size, not (beside_lists and column.name.startswith(FINDING))))
    return Facts(columns, np.concatenate(is_read), learn_pairs(codes, columns), learn_words(texts))


@dataclass(frozen=True)
class OfKind:
    """The regression of one kind.

    Attributes
    ----------
    causes
        Met in the kind.
    features
        Met in the kind.
    weights
        Features × causes.
    level
        Of each cause.
    trust
        By which the offset is multiplied.
    elsewhere
        Probability of the causes not met in the kind.
    """

    causes: np.ndarray
    features: np.ndarray
    weights: np.ndarray
    level: np.ndarray
    trust: float
    elsewhere: float


@dataclass(frozen=True)
class Regression:
    """One regression a kind.

    Attributes
    ----------
    facts
        What it reads.
    of_kind
        Kind → its regression; a kind without jobs has none and keeps the offset.
    """

    facts: Facts
    of_kind: dict[int, OfKind]

    def scores(self, codes: np.ndarray, texts: Sequence[str], kind: np.ndarray, offset: np.ndarray) -> np.ndarray:
        """Log probability of each cause, jobs × causes.

        Parameters
        ----------
        codes, texts, kind
            Of each job; −1 = not known.
        offset
            Jobs × causes: log probability by the lists alone, or log share.
        """
        return self.scores_of(*self.facts.read(codes, texts), kind, offset)

    def scores_of(
        self, job: np.ndarray, feature: np.ndarray, value: np.ndarray, kind: np.ndarray, offset: np.ndarray
    ) -> np.ndarray:
        """As :meth:`scores`, from what :meth:`Facts.read` gave."""
        told = log_softmax(offset)
        for number, mine in self.of_kind.items():
            rows = np.flatnonzero(kind == number)
            if not len(rows):
                continue
            place = np.full(self.facts.size + 1, -1)
            place[mine.features] = np.arange(len(mine.features))
            entry = np.flatnonzero((kind[job] == number) & (place[feature] >= 0))
            adds = np.zeros((len(kind), len(mine.causes)))
            weights = mine.weights[place[feature[entry]]] * value[entry, None]
            order = np.argsort(job[entry], kind="stable")
            shown, first = np.unique(job[entry][order], return_index=True)
            if len(shown):
                adds[shown] = np.add.reduceat(weights[order], first, axis=0)
            met = log_softmax(adds[rows] + mine.level + mine.trust * told[rows][:, mine.causes])
            others = np.setdiff1d(np.arange(offset.shape[1]), mine.causes)
            if len(others):
                met += np.log1p(-mine.elsewhere)
                told[np.ix_(rows, others)] = np.log(mine.elsewhere) + log_softmax(told[np.ix_(rows, others)])
            told[np.ix_(rows, mine.causes)] = met
        return told


def fit_regression(
    facts: Facts,
    shown: csr_matrix,
    kind: np.ndarray,
    offset: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
    freedom: float,
) -> Regression:
    """Fit one regression a kind.

    Parameters
    ----------
    facts, shown
        What it reads, and what the jobs show of it: jobs × features.
    kind, cause, weight
        Of each job.
    offset
        As for :meth:`Regression.scores`.
    freedom
        Standard deviation of the weights; small = stay near the offset.
    """
    of_kind = {}
    told = log_softmax(offset)
    for number in np.unique(kind[kind >= 0]):
        rows = np.flatnonzero(kind == number)
        causes, place = np.unique(cause[rows], return_inverse=True)
        mine = shown[rows]
        features = np.unique(mine.indices)
        jobs = np.bincount(place, weight[rows])
        elsewhere = (float((jobs <= 1).sum()) + 0.5) / (jobs.sum() + len(causes) + 1.0)
        weights, level, trust = _fit(mine[:, features], told[rows][:, causes], place, weight[rows], freedom)
        of_kind[int(number)] = OfKind(causes, features, weights.astype(np.float32), level, trust, min(elsewhere, 0.5))
    return Regression(facts, of_kind)


def _fit(
    shown: csr_matrix, offset: np.ndarray, cause: np.ndarray, weight: np.ndarray, freedom: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Weights, levels and trust of highest posterior."""
    from scipy.optimize import minimize

    features, causes = shown.shape[1], offset.shape[1]
    if causes == 1:
        return np.zeros((features, 1)), np.zeros(1), 1.0
    turned = shown.T.tocsr()
    rows = np.arange(len(offset))
    cut = features * causes

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights, level, trust = flat[:cut].reshape(features, causes), flat[cut:-1], flat[-1]
        scores = shown @ weights
        scores += trust * offset + level
        scores -= scores.max(axis=1, keepdims=True)
        np.exp(scores, out=scores)
        total = scores.sum(axis=1)
        right = scores[rows, cause] / total
        value = -(weight * np.log(np.maximum(right, 1e-300))).sum() + (flat[:cut] @ flat[:cut]) / (2 * freedom**2)
        value += (level @ level) / (2 * LEVEL**2) + (trust - 1) ** 2 / (2 * TRUST**2)
        scores *= (weight / total)[:, None]
        scores[rows, cause] -= weight
        slope = np.empty_like(flat)
        slope[:cut] = (turned @ scores + weights / freedom**2).ravel()
        slope[cut:-1] = scores.sum(axis=0) + level / LEVEL**2
        slope[-1] = (scores * offset).sum() + (trust - 1) / TRUST**2
        return float(value), slope

    first = np.append(np.zeros(cut + causes), 1.0)
    found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": STEPS, "maxcor": 8, "ftol": 1e-7})
    return found.x[:cut].reshape(features, causes), found.x[cut:-1], float(found.x[-1])
