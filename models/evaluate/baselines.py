"""Plain ways to guess the cause, to measure the model against: training and asked jobs in, probabilities out."""

from __future__ import annotations

import warnings
from itertools import pairwise

import numpy as np
import pandas as pd

from models.causes.boosting import boosting_inputs, fit_trees
from models.causes.encoding import cells, encode, gather, learn_columns, offsets, one_hot
from models.causes.features import SYMPTOM, TEXT
from models.causes.softmax import softmax

SHARE, NAIVE, LOGISTIC, BOOSTING = "share by complaint", "naive Bayes", "logistic regression", "plain boosting"
MOST_ROUNDS, FEWEST_ROUNDS, SECONDS = 30, 10, 4.0  # of plain boosting: a round costs a tree a cause


def complaint_key(facts: pd.DataFrame) -> pd.Series:
    """Kind and the symptoms named, as one text a job."""
    symptoms = [name for name in facts.columns if name.startswith(SYMPTOM)]
    said = (facts[symptoms] == "yes").to_numpy(dtype=bool)
    names = np.array([name.removeprefix(SYMPTOM) for name in symptoms], dtype=object)
    texts = ["; ".join(names[row]) for row in said]
    return pd.Series([f"{kind}: {text}" for kind, text in zip(facts["kind"], texts, strict=True)], index=facts.index)


def share_by_complaint(facts: pd.DataFrame, cause: np.ndarray, causes: int, asked: pd.DataFrame) -> np.ndarray:
    """Share of each cause among past jobs of one kind and complaint, shrunk towards the kind's by one pseudo-job."""
    overall = (np.bincount(cause, minlength=causes) + 0.5) / (len(cause) + 0.5 * causes)
    answer = np.tile(overall, (len(asked), 1))
    for past, now in (
        (facts["kind"].astype(str), asked["kind"].astype(str)),
        (complaint_key(facts), complaint_key(asked)),
    ):
        groups = {key: np.bincount(cause[rows], minlength=causes) for key, rows in past.groupby(past).indices.items()}
        none = np.zeros(causes)
        counts = np.stack([groups.get(key, none) for key in now])
        answer = (counts + answer) / (counts.sum(axis=1, keepdims=True) + 1.0)
    return answer


def naive_bayes(facts: pd.DataFrame, cause: np.ndarray, causes: int, asked: pd.DataFrame) -> np.ndarray:
    """Naive Bayes with one job added to every count; what is not known is skipped."""
    columns = learn_columns(facts.drop(columns=TEXT, errors="ignore"))
    starts = offsets(columns)
    at = cells(encode(facts, columns), starts)
    from models.causes.bayes import count_cells

    counts = count_cells(at, cause, np.ones(len(cause)), int(starts[-1]), causes) + 1.0
    table = np.zeros_like(counts)
    for first, end in pairwise(starts):
        if first == end:
            continue
        table[first:end] = np.log(counts[first:end]) - np.log(counts[first:end].sum(axis=0))
    prior = np.log(np.bincount(cause, minlength=causes) + 1.0)
    return softmax(prior + gather(table, cells(encode(asked, columns), starts)))


def logistic_regression(facts: pd.DataFrame, cause: np.ndarray, causes: int, asked: pd.DataFrame) -> np.ndarray:
    """Multinomial logistic regression on one column a value, shrunk to zero as scikit-learn does by default (C = 1)."""
    columns = learn_columns(facts.drop(columns=TEXT, errors="ignore"))
    starts = offsets(columns)
    size = int(starts[-1])
    shown = one_hot(cells(encode(facts, columns), starts), size)
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.linear_model import LogisticRegression

    if causes == 1:
        return np.ones((len(asked), 1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # 40 steps say as much as convergence
        machine = LogisticRegression(max_iter=40).fit(shown, cause)
    return np.asarray(machine.predict_proba(one_hot(cells(encode(asked, columns), starts), size)))


def plain_boosting(facts: pd.DataFrame, cause: np.ndarray, causes: int, asked: pd.DataFrame) -> np.ndarray:
    """Gradient boosting by itself, at most 30 rounds; fewer, 10 at least, where causes and jobs are many."""
    columns = learn_columns(facts.drop(columns=TEXT, errors="ignore"))
    inputs = boosting_inputs(facts, columns)
    a_round = causes * (0.001 + 4e-9 * len(cause) * len(columns))
    rounds = int(min(max(SECONDS / a_round, FEWEST_ROUNDS), MOST_ROUNDS))
    trees = fit_trees(inputs, columns, cause, np.ones(len(cause)), causes, rounds=rounds, seed=0)
    return np.asarray(np.exp(trees.scores(boosting_inputs(asked, columns))))


BASELINES = {
    SHARE: share_by_complaint,
    NAIVE: naive_bayes,
    LOGISTIC: logistic_regression,
    BOOSTING: plain_boosting,
}
