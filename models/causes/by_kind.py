"""Linear scores by kind of appliance: what is learned of one kind's causes answers for that kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.softmax import log_softmax


@dataclass(frozen=True)
class OfKind:
    """The scores of one kind.

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
class ByKind:
    """Linear scores a kind.

    Attributes
    ----------
    size
        How many features there are, as :class:`models.causes.facts.Facts` numbers them.
    of_kind
        Kind → its scores; a kind without jobs has none and keeps the offset.
    """

    size: int
    of_kind: dict[int, OfKind]

    def scores(
        self, shown: tuple[np.ndarray, np.ndarray, np.ndarray], kind: np.ndarray, offset: np.ndarray
    ) -> np.ndarray:
        """Log probability of each cause, jobs × causes.

        Parameters
        ----------
        shown
            Job, feature and value, from :meth:`models.causes.facts.Facts.read`.
        kind
            Of each job; −1 = not known.
        offset
            Jobs × causes: log probability by the lists alone.
        """
        job, feature, value = shown
        told, kind_shown = log_softmax(offset), kind[job]
        for number, mine in self.of_kind.items():
            rows = np.flatnonzero(kind == number)
            if not len(rows):
                continue
            place = np.full(self.size + 1, -1)
            place[mine.features] = np.arange(len(mine.features))
            entry = np.flatnonzero((kind_shown == number) & (place[feature] >= 0))
            entry = entry[np.argsort(job[entry], kind="stable")]
            adds = np.zeros((len(kind), len(mine.causes)))
            weights = mine.weights[place[feature[entry]]]
            weights *= value[entry, None].astype(weights.dtype)
            rows_shown, first = np.unique(job[entry], return_index=True)
            if len(rows_shown):
                adds[rows_shown] = np.add.reduceat(weights, first, axis=0)
            met = log_softmax(adds[rows] + mine.level + mine.trust * told[rows][:, mine.causes])
            others = np.setdiff1d(np.arange(offset.shape[1]), mine.causes)
            if len(others):
                met += np.log1p(-mine.elsewhere)
                told[np.ix_(rows, others)] = np.log(mine.elsewhere) + log_softmax(told[np.ix_(rows, others)])
            told[np.ix_(rows, mine.causes)] = met
        return told


def elsewhere(jobs: np.ndarray) -> float:
    """Probability of the causes a kind has not met, from the weighted jobs of those it has: Good and Turing's."""
    return min((float((jobs <= 1).sum()) + 0.5) / (float(jobs.sum()) + len(jobs) + 1.0), 0.5)
