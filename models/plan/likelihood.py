"""How likely each outcome of a check is under each cause: counted in the workshop's jobs, shrunk to the word lists.

The chance of value v of a finding under cause c is (n_v + s e_v) / (n + s): n counts cured jobs of that cause in which
the finding was written down, e is what the word lists expect, and s (``STRENGTH``) is how many jobs that expectation is
worth. A finding the lists do not name for a cause falls back to how it stands under all such causes of the kind; a
meter seldom shows a part open that is not at fault, so that one measured open carries its cause.

A finding is written down because somebody looked. That does not bias these figures as long as what made them look is
among the findings already written; where it is not, they are an approximation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

# common practice, no source
STRENGTH = 8.0
USUAL = 0.88
FLOOR = 0.004
METERED = frozenset({"open", "to earth", "out of range"})
MISMEASURED = 0.01
"""Chance that a meter shows one of these of a part that is not what ails it."""
# what a sound appliance shows; not "all outputs run": what is dead, or waits for its door, runs no test
NORMAL = frozenset(
    {"changes over", "clean", "clear", "even", "firm", "free", "fresh", "good", "level", "live", "magnetic", "moves"}
    | {"none", "normal", "on", "opens", "out", "right", "runs", "set", "smooth", "sound", "tight", "turns", "whole"}
)


@dataclass(frozen=True)
class Likelihoods:
    """Counts and expectations for one kind of appliance.

    Attributes
    ----------
    expected
        (cause, finding) → value → probability, as the word lists state it; they need not sum to 1.
    jobs
        (cause, finding) → value → cured jobs.
    """

    expected: Mapping[tuple[str, str], Mapping[str, float]]
    jobs: Mapping[tuple[str, str], Mapping[str, float]]
    _tables: dict[tuple[str, tuple[str, ...]], tuple[dict[str, int], Floats]] = field(default_factory=dict, repr=False)

    def of(self, finding: str, values: Sequence[str], causes: Sequence[str]) -> Floats:
        """Chance of each value under each cause.

        Parameters
        ----------
        finding, values
            The finding and all the values it can take, the usual one first where there is one.
        causes
            Rows of the result; an unknown cause gets the pooled row.

        Returns
        -------
        ndarray
            Causes by values; each row sums to 1, no entry below ``FLOOR`` before the last scaling.
        """
        key = finding, tuple(values)
        if key not in self._tables:
            self._tables[key] = self._table(finding, tuple(values))
        places, table = self._tables[key]
        return table[[places.get(cause, -1) for cause in causes]]

    def _table(self, finding: str, values: tuple[str, ...]) -> tuple[dict[str, int], Floats]:
        """Place of each cause of which something is known, and the chances; the last row is that of all others."""
        usual = self._usual(finding, values)
        pooled = self._pooled(finding, values, usual)
        known = sorted({cause for cause, name in [*self.expected, *self.jobs] if name == finding})
        rows = []
        for cause in known:
            stated = self.expected.get((cause, finding))
            prior = pooled if stated is None else _spread(stated, values, usual)
            n = _counted(self.jobs.get((cause, finding), {}), values)
            rows.append((n + STRENGTH * prior) / (n.sum() + STRENGTH))
        table = np.maximum(np.array([*rows, pooled]), FLOOR)
        return {cause: place for place, cause in enumerate(known)}, table / table.sum(axis=1, keepdims=True)

    def _pooled(self, finding: str, values: Sequence[str], usual: str | None) -> Floats:
        """The finding where no expectation is stated: all such causes together, shrunk towards the usual value."""
        n = np.zeros(len(values))
        for (cause, name), counts in self.jobs.items():
            if name == finding and (cause, name) not in self.expected:
                n += _counted(counts, values)
        pooled: Floats = (n + STRENGTH * _spread({}, values, usual)) / (n.sum() + STRENGTH)
        return pooled

    def _usual(self, finding: str, values: Sequence[str]) -> str | None:
        """Value of a sound appliance: a word that says so, or the answer no cause stands out by."""
        if values[0] in NORMAL:
            return values[0]
        if set(values) == {"yes", "no"}:
            telling = {max(stated, key=lambda v: stated[v]) for (_, f), stated in self.expected.items() if f == finding}
            if len(telling) == 1:
                return "no" if telling == {"yes"} else "yes"
        return None


def _counted(counts: Mapping[str, float], values: Sequence[str]) -> Floats:
    return np.array([counts.get(value, 0.0) for value in values])


def learn(jobs: pd.DataFrame, expected: pd.DataFrame) -> Likelihoods:
    """Gather counts and expectations of one kind of appliance.

    Parameters
    ----------
    jobs
        One row a cause, finding and value: columns cause, finding, value, jobs (a count).
    expected
        One row a cause, finding and value the word lists state: columns cause, finding, value, probability.
    """
    return Likelihoods(_nested(expected, "probability"), _nested(jobs, "jobs"))


def _nested(frame: pd.DataFrame, amount: str) -> dict[tuple[str, str], dict[str, float]]:
    nested: dict[tuple[str, str], dict[str, float]] = {}
    for cause, finding, value, number in zip(
        frame["cause"], frame["finding"], frame["value"], frame[amount], strict=True
    ):
        nested.setdefault((cause, finding), {})[value] = float(number)
    return nested


def _spread(stated: Mapping[str, float], values: Sequence[str], usual: str | None) -> Floats:
    """Probabilities over all values: what is stated, the rest mostly to the usual value, else evenly."""
    p = np.array([stated.get(value, 0.0) for value in values])
    if p.sum() > 1:
        p = p / p.sum()
    rest, open_ = 1 - p.sum(), [i for i, value in enumerate(values) if value not in stated]
    if not open_:
        even: Floats = p / p.sum()
        return even
    share = np.full(len(open_), 1 / len(open_))
    place = [i for i, k in enumerate(open_) if values[k] == usual]
    if place and len(open_) > 1:
        share[:] = [MISMEASURED if values[i] in METERED else (1 - USUAL) / (len(open_) - 1) for i in open_]
        share[place[0]] = 0.0
        share[place[0]] = 1 - share.sum()
    p[open_] = rest * share
    return p
