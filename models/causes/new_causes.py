"""How often a job turns out to be a cause never met before: Good-Turing, by kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

FEW_JOBS = (
    10.0  # a kind's own estimate of unseen causes leans on all kinds by this many jobs (common practice, no source)
)
BEFORE_ANY_JOB = (
    1.0,
    20.0,
)  # with lists: causes they miss, in jobs, before any job is known (common practice, no source)


@dataclass(frozen=True)
class Unseen:
    """How often a job turns out to be a cause never met before: Good-Turing, by kind.

    Attributes
    ----------
    scope
        Name of the column whose values have their own causes (the kind of appliance); empty = one for all.
    jobs, singles
        For each value of the scope: jobs, and causes seen once.
    overall
        Causes seen once / jobs, all together.
    strange_scope
        Share of jobs whose cause is met under no other scope value: what a kind never seen would bring.
    """

    scope: str
    jobs: dict[str, float]
    singles: dict[str, float]
    overall: float
    strange_scope: float

    def chance(self, value: str | None) -> float:
        """Probability that the cause is one never seen for this scope value; None = value not known."""
        if value is None or not self.scope:
            return self.overall
        if value not in self.jobs:
            return max(self.strange_scope, self.overall)
        return (self.singles[value] + FEW_JOBS * self.overall) / (self.jobs[value] + FEW_JOBS)


def count_unseen(
    frame: pd.DataFrame,
    cause: np.ndarray,
    names: np.ndarray,
    scope: str | None,
    background: pd.DataFrame | None,
) -> Unseen:
    """Count causes seen once, by value of the scope.

    A cause the background has for the value was known before it was met: its first job foretells no other new cause.
    """
    listed = _listed(background, scope)
    missed, before = BEFORE_ANY_JOB if background is not None else (0.0, 0.0)
    jobs = max(len(cause) + before, 1.0)
    counts = pd.Series(cause).value_counts()
    of_any = set().union(*listed.values())
    once = sum(str(names[int(c)]) not in of_any for c in counts.index[counts == 1])
    if scope is None or scope not in frame.columns:
        return Unseen("", {}, {}, (once + missed) / jobs, (once + missed) / jobs)
    table = pd.crosstab(frame[scope].astype(str).where(frame[scope].notna()), cause)
    only_here = (table > 0).sum(axis=0) == 1
    by_value = {str(value): float(total) for value, total in table.sum(axis=1).items()}
    singles = {
        str(value): float(sum(str(names[int(c)]) not in listed.get(str(value), set()) for c in row.index[row == 1]))
        for value, row in table.iterrows()
    }
    met = max(sum(by_value.values()), 1.0)
    strange = float(table.loc[:, only_here].to_numpy().sum() / met) if len(cause) else 1.0
    return Unseen(
        scope,
        dict.fromkeys(sorted(listed), 0.0) | by_value,
        dict.fromkeys(sorted(listed), 0.0) | singles,
        (sum(singles.values()) + missed) / (met + before),
        strange,
    )


def _listed(background: pd.DataFrame | None, scope: str | None) -> dict[str, set[str]]:
    """Value of the scope → causes the background has for it; without a scope all under one."""
    if background is None:
        return {}
    if scope is None:
        return {"": set(background["cause"].astype(str))}
    rows = background[background["column"] == scope]
    return {str(value): set(causes.astype(str)) for value, causes in rows.groupby("value")["cause"]}
