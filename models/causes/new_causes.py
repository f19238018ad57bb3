"""How often a job turns out to be a cause never met before: Good-Turing by kind, oftener where the job is strange.

A make, model family or code never met, or a text most of whose words are new, may foretell a cause never met. How much
oftener is counted on jobs left out in turn; Good-Turing's total is kept, the factors only deal it out.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.causes.encoding import as_text
from models.causes.features import CODE
from models.causes.uncertainty import SMALLEST, log_odds
from models.causes.words import WORD, texts_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from models.causes.words import Words

Listed = dict[str, set[str]]  # value of the scope → causes that the lists have for it
NAMED = ("make", "model_family", CODE)  # columns whose new values are strange
TEXT_IS_NEW = "new words"
MOSTLY = 0.5  # of a text's words: more new ones and the text is strange
FOLDS, ROUNDS = 5, 20
PRIOR_FACTOR = 2.0  # a strange job's factor before any was seen (common practice, no source)
SPREAD = 2.0  # standard deviation of its logarithm
FEW_JOBS, FEW_NEW = 10.0, 0.5  # a kind's own estimate is shrunk towards all kinds by this many jobs, and by as many as
# bring so many new causes: hundreds of jobs without one are no proof that none will come (common practice, no source)
BEFORE_ANY_JOB = 1.0, 20.0  # with lists: causes they miss, in jobs, before any is known (common practice, no source)


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
    oftener
        For each sign of a strange job (a column whose value was never met, or new words): factor of the odds.
    usual
        Factor of the odds of every job, so that the total stays Good-Turing's.
    """

    scope: str
    jobs: dict[str, float]
    singles: dict[str, float]
    overall: float
    strange_scope: float
    oftener: dict[str, float] = field(default_factory=dict)
    usual: float = 1.0

    def chance(self, value: str | None) -> float:
        """Probability that the cause is one never seen for this scope value; None = value not known."""
        if value is None or not self.scope:
            return self.overall
        if value not in self.jobs:
            return max(self.strange_scope, self.overall)
        lean = max(FEW_JOBS, FEW_NEW / max(self.overall, SMALLEST))
        return (self.singles[value] + lean * self.overall) / (self.jobs[value] + lean)

    def raised(self, chance: np.ndarray, signs: Mapping[str, np.ndarray]) -> np.ndarray:
        """Deal chances out by signs of strangeness: of each sign, which jobs show it."""
        times = np.full(len(chance), self.usual)
        for sign, factor in self.oftener.items():
            if sign in signs:
                times = np.where(signs[sign], times * factor, times)
        return np.asarray(chance * times / (1 - chance + chance * times))


def count_unseen(
    frame: pd.DataFrame,
    cause: np.ndarray,
    names: np.ndarray,
    scope: str | None,
    background: pd.DataFrame | None,
    text: str | None = None,
) -> Unseen:
    """Count causes seen once, by value of the scope, and how much oftener strange jobs bring new ones.

    A cause the background has for the value was known before it was met: its first job foretells no other new cause.
    ``text``: column whose words are heard; None = none is.
    """
    scoped = scope if scope in frame.columns else None
    values = as_text(frame[scoped]) if scoped else pd.Series("", index=frame.index, dtype=object)
    told = [str(names[int(one)]) for one in cause]
    listed = None if background is None else _listed(background, scoped)
    counted = _good_turing(values, told, listed, scoped)
    fold = np.random.default_rng(0).permutation(len(frame)) % FOLDS
    signs = _signs(frame, fold, background, text)
    if not signs:
        return counted
    is_new, chance = _left_out(values, told, listed, scoped, fold)
    return _dealt_out(counted, chance, is_new, signs)


def _dealt_out(counted: Unseen, chance: np.ndarray, is_new: np.ndarray, signs: dict[str, np.ndarray]) -> Unseen:
    """Fit the factors together, a logistic regression around ``PRIOR_FACTOR``, and keep the total."""
    shows = np.column_stack([np.ones(len(chance)), *signs.values()])
    before = np.append(0.0, np.full(len(signs), np.log(PRIOR_FACTOR)))
    at = before.copy()
    for _ in range(ROUNDS):
        told = 1 / (1 + np.exp(-(log_odds(chance) + shows @ at)))
        slope = shows.T @ (told - is_new) + (at - before) / SPREAD**2
        step = np.linalg.solve((shows.T * (told * (1 - told))) @ shows + np.eye(len(at)) / SPREAD**2, slope)
        at -= step / max(1.0, np.abs(step).max())
    factors = dict(zip(signs, np.exp(at[1:]).tolist(), strict=True))
    fitted = replace(counted, oftener=factors, usual=float(np.exp(at[0])))
    for _ in range(ROUNDS):
        total = fitted.raised(chance, signs).sum()
        if total > 0:
            fitted = replace(fitted, usual=float(fitted.usual * chance.sum() / total))
    return fitted


def _left_out(
    values: pd.Series, told: list[str], listed: Listed | None, scope: str | None, fold: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Of each job: whether its cause is new to the other folds, and the chance they give to that."""
    both, _ = pd.factorize(pd.Series(list(zip(values.fillna(""), told, strict=True)), dtype=object))
    known = listed or {}
    is_listed = np.array([c in known.get(v, ()) for v, c in zip(values, told, strict=True)], dtype=bool)
    causes = np.array(told, dtype=object)
    chance = np.zeros(len(told))
    for part in np.unique(fold):
        mine = fold == part
        others = _good_turing(values[~mine], causes[~mine].tolist(), listed, scope)
        chance[mine] = [others.chance(None if pd.isna(value) else value) for value in values[mine]]
    return (_elsewhere(both, fold) == 0) & ~is_listed, chance


def _signs(
    frame: pd.DataFrame, fold: np.ndarray, background: pd.DataFrame | None, text: str | None
) -> dict[str, np.ndarray]:
    """Of each sign: which jobs would be strange to the other folds."""
    signs = {}
    for name in NAMED:
        if name in frame.columns and not pd.api.types.is_numeric_dtype(frame[name].dtype):
            values = as_text(frame[name])
            listed = set() if background is None else set(background.loc[background["column"] == name, "value"])
            codes, _ = pd.factorize(values)
            signs[name] = (codes >= 0) & (_elsewhere(codes, fold) == 0) & ~values.isin(listed).to_numpy()
    if text is not None and text in frame.columns:
        rows, words = _words_by_text(texts_of(frame, text))
        codes, _ = pd.factorize(words)
        is_met = _elsewhere(codes, fold[rows]) > 0
        signs[TEXT_IS_NEW] = mostly_new(rows, is_met, len(frame))
    return signs


def _words_by_text(texts: list[str]) -> tuple[np.ndarray, np.ndarray]:
    told = [(row, word) for row, text in enumerate(texts) for word in sorted(set(WORD.findall(text.lower())))]
    return np.array([row for row, _ in told], dtype=np.int64), np.array([word for _, word in told], dtype=object)


def has_new_words(texts: list[str], known: Words) -> np.ndarray:
    """Of each text: whether most of its words were never met."""
    rows, words = _words_by_text(texts)
    return mostly_new(rows, np.array([known.find(word) is not None for word in words], dtype=bool), len(texts))


def mostly_new(rows: np.ndarray, is_met: np.ndarray, texts: int) -> np.ndarray:
    """Of each text: whether most of its words were never met; one entry a word, ``rows`` the text it stands in."""
    total = np.bincount(rows, minlength=texts)
    return np.asarray(np.bincount(rows, ~is_met, minlength=texts) > MOSTLY * total)


def _elsewhere(codes: np.ndarray, fold: np.ndarray) -> np.ndarray:
    """How often each entry's code stands in the other folds."""
    counts = np.zeros((codes.max(initial=-1) + 2, FOLDS))
    np.add.at(counts, (codes, fold), 1)
    return np.asarray(counts.sum(axis=1)[codes] - counts[codes, fold])


def _good_turing(values: pd.Series, told: list[str], listed: Listed | None, scope: str | None) -> Unseen:
    missed, before = (0.0, 0.0) if listed is None else BEFORE_ANY_JOB
    known = listed or {}
    least = FEW_NEW / (len(told) + before + 1.0)
    if scope is None:
        of_any = set().union(*known.values())
        once = sum(count == 1 and cause not in of_any for cause, count in Counter(told).items())
        overall = max((once + missed) / max(len(told) + before, 1.0), least)
        return Unseen("", {}, {}, overall, overall)
    is_told = values.notna().to_numpy()
    jobs = Counter((str(value), cause) for value, cause, here in zip(values, told, is_told, strict=True) if here)
    by_value, singles, homes = Counter[str](), Counter[str](), Counter[str]()
    for (value, cause), number in jobs.items():
        by_value[value] += number
        homes[cause] += 1
        singles[value] += number == 1 and cause not in known.get(value, ())
    met = max(float(by_value.total()), 1.0)
    only_here = sum(number for (_, cause), number in jobs.items() if homes[cause] == 1)
    none = dict.fromkeys(sorted(known), 0.0)
    return Unseen(
        scope,
        none | {value: float(number) for value, number in by_value.items()},
        none | {value: float(singles[value]) for value in by_value},
        max((singles.total() + missed) / (met + before), least),
        only_here / met if told else 1.0,
    )


def _listed(background: pd.DataFrame, scope: str | None) -> Listed:
    """Value of the scope → causes the background has for it; without a scope all under one."""
    if scope is None:
        return {"": set(background["cause"].astype(str))}
    rows = background[background["column"] == scope]
    return {str(value): set(causes.astype(str)) for value, causes in rows.groupby("value")["cause"]}
