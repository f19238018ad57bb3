"""A fitted cause model as plain arrays: everything an answer needs, without the machinery that fitted it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from models.causes.boosting import boosting_inputs
from models.causes.encoding import NOT_KNOWN, cells, encode, encode_column, gather, offsets
from models.causes.failure_modes import is_unheard, kind_of, places_of
from models.causes.new_causes import NAMED, TEXT_IS_NEW, has_new_words
from models.causes.softmax import log_softmax, softmax
from models.causes.words import texts_of

if TYPE_CHECKING:
    import pandas as pd

    from models.causes.boosting import Trees
    from models.causes.by_kind import ByKind
    from models.causes.encoding import Column
    from models.causes.facts import Facts
    from models.causes.failure_modes import Places, Ways
    from models.causes.new_causes import Unseen
    from models.causes.pairs import Pairs

OPINIONS = ("share", "bayes", "pairs", "regression", "naive Bayes", "boosting", "ways")


@dataclass(frozen=True)
class CauseModel:
    """A fitted cause model.

    Attributes
    ----------
    classes_
        Causes in the order of the columns of :meth:`predict_proba`.
    columns
        What was learned of each column.
    log_share, log_ratio
        The Bayes layer: causes; cells × causes.
    pairs
        Facts that go together, or None when silent.
    facts
        Words, facts and products that regression and naive Bayes read; None when both are silent.
    regression, naive_bayes
        By kind, or None when silent.
    lists
        What the lists say before any job: where the regression starts; None without lists or when it is silent.
    text
        Name of the column that is read word by word; None = there is none.
    trees
        Boosted trees, or None when silent.
    ways
        What the lists write of each way to fail, corrected by the jobs; None without lists or when silent.
    weights
        Weight of each opinion in the pool, in the order of ``OPINIONS``; two rows, as :mod:`models.causes.pool` names
        them.
    jobs
        Weighted training jobs of each cause.
    unseen
        The chance of a cause never met.
    width
        How far probabilities may be off, by band; empty = not learned.
    card
        What a model card says: data, scores, settings.
    """

    classes_: np.ndarray
    columns: list[Column]
    log_share: np.ndarray
    log_ratio: np.ndarray
    pairs: Pairs | None
    facts: Facts | None
    regression: ByKind | None
    naive_bayes: ByKind | None
    trees: Trees | None
    ways: Ways | None
    weights: np.ndarray
    jobs: np.ndarray
    unseen: Unseen
    lists: Ways | None = None
    text: str | None = None
    width: np.ndarray = field(default_factory=lambda: np.zeros(0))
    card: dict[str, Any] = field(default_factory=dict)

    @cached_property
    def places(self) -> Places:
        """Columns with a part of their own."""
        return places_of(self.columns)

    def predict_proba(self, frame: pd.DataFrame) -> np.ndarray:
        """Probability of each cause, each row adding to one; missing columns and values never seen say nothing."""
        return softmax(self.scores(frame))

    def scores(self, frame: pd.DataFrame) -> np.ndarray:
        """Log score of each cause, up to a constant a row."""
        codes = encode(frame, self.columns)
        at = cells(codes, offsets(self.columns))
        texts = texts_of(frame, self.text)
        weights = self.weights[is_unheard(codes, self.columns, texts).astype(int)].T[:, :, None]
        total = weights[0] * self.log_share + weights[1] * gather(self.log_ratio, at)
        if self.pairs is not None:
            total += weights[2] * self.pairs.scores(codes)
        if self.facts is not None:
            shown = self.facts.read(codes, texts)
            offset, kind = self._offset(codes, at), kind_of(codes, self.places)
            for weight, layer in zip(weights[3:5], (self.regression, self.naive_bayes), strict=True):
                if layer is not None:
                    total += weight * layer.scores(shown, kind, offset)
        if self.trees is not None:
            total += weights[5] * self.trees.scores(boosting_inputs(frame, self.columns))
        if self.ways is not None:
            total += weights[6] * self.ways.scores(codes, at, self.places, len(self.classes_))
        return np.asarray(total)

    def _offset(self, codes: np.ndarray, at: np.ndarray) -> np.ndarray:
        if self.lists is None:
            return np.zeros((len(codes), len(self.classes_)))
        return log_softmax(self.lists.scores(codes, at, self.places, len(self.classes_)))

    def none_of_these(self, frame: pd.DataFrame) -> np.ndarray:
        """Probability that the cause is none of those known for this kind, one a job.

        A make, model family or code never met, and a text most of whose words are new, raise it as far as past jobs
        taught. It is kept beside :meth:`predict_proba`, whose rows add to one: multiply those by one minus this.
        """
        chance = self._new_of_kind(frame)
        signs = {
            column.name: self._is_new(frame[column.name], column)
            for column in self.columns
            if column.name in NAMED and column.name in frame.columns and column.values
        }
        if self.facts is not None and self.text in frame.columns:
            signs[TEXT_IS_NEW] = has_new_words(texts_of(frame, self.text), self.facts.words)
        return self.unseen.raised(chance, signs)

    @staticmethod
    def _is_new(values: pd.Series, column: Column) -> np.ndarray:
        return np.asarray(values.notna().to_numpy() & (encode_column(values, column) == NOT_KNOWN))

    def _new_of_kind(self, frame: pd.DataFrame) -> np.ndarray:
        column = self._scope_column()
        if column is None or column.name not in frame.columns:
            return np.full(len(frame), self.unseen.overall)
        values = frame[column.name]
        codes = encode_column(values, column)
        known = values.notna().to_numpy()
        chances = np.array([self.unseen.chance(value) for value in column.values] + [self.unseen.chance("")])
        found: np.ndarray = np.where(known, chances[codes], self.unseen.overall)
        return found

    def _scope_column(self) -> Column | None:
        return next(
            (column for column in self.columns if column.name == self.unseen.scope and not column.is_number), None
        )


def from_lists(frame: pd.DataFrame, cause: np.ndarray, background: pd.DataFrame, scope: str) -> CauseModel:
    """Answer from what the lists say, corrected by the jobs there are, be they none; fitted without an exam.

    Parameters
    ----------
    frame, cause
        Facts and causes of the jobs; columns as :func:`models.causes.features.wide` gives them.
    background
        As for :class:`models.CauseClassifier`.
    """
    from models.causes.features import TEXT
    from models.causes.jobs import all_causes, code_jobs, ways_of
    from models.causes.new_causes import count_unseen

    names, place = all_causes(np.asarray(cause, dtype=str), background)
    told = frame.drop(columns=[TEXT], errors="ignore")  # the lists read no words
    jobs = code_jobs(told, names, place, np.ones(len(place)), background)
    return CauseModel(
        classes_=names,
        columns=jobs.columns,
        log_share=np.zeros(jobs.causes),
        log_ratio=np.zeros((int(jobs.starts[-1]), jobs.causes)),
        pairs=None,
        facts=None,
        regression=None,
        naive_bayes=None,
        trees=None,
        ways=ways_of(jobs, np.ones(len(place), dtype=bool)),
        weights=np.tile([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0], (2, 1)),
        jobs=np.bincount(place, minlength=jobs.causes).astype(float),
        unseen=count_unseen(frame, place, names, scope, background),
    )
