"""Accuracy and log-loss on Soybean (19 diseases, 35 findings), 10 folds, beside plain models in the same folds.

    python -m tests.benchmarks.truth.soybean Soybean.csv

Soybean.csv: the data set Soybean of the R package mlbench (Michalski & Chilausky 1980) written as CSV, first column or
column ``Class``
the disease, empty cells not known. It is not part of this project: Debian's r-cran-mlbench holds data/Soybean.rda,
which the Python
package rdata reads.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from sklearn.ensemble import HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.metrics import accuracy_score, log_loss
from sklearn.model_selection import StratifiedKFold
from threadpoolctl import threadpool_limits

from models import CauseClassifier
from models.evaluate.baselines import logistic_regression, naive_bayes


def main(path: Path) -> None:
    """Print one line a model."""
    rows = pd.read_csv(path, dtype=str)
    terms = rows["Class"].to_numpy(str)
    facts = rows.drop(columns=["Class"]).astype(object)
    names, cause = np.unique(terms, return_inverse=True)
    ranks = facts.apply(lambda column: pd.Series(pd.factorize(column, sort=True)[0], index=column.index)).astype(float)
    ranks = ranks.where(ranks >= 0)
    shown = pd.get_dummies(facts, dtype=float).to_numpy()
    chance: dict[str, np.ndarray] = {}
    for past, asked in StratifiedKFold(10, shuffle=True, random_state=0).split(facts, cause):
        told = {
            "CauseClassifier": CauseClassifier().fit(facts.iloc[past], cause[past]).predict_proba(facts.iloc[asked]),
            "naive Bayes": naive_bayes(facts.iloc[past], cause[past], len(names), facts.iloc[asked]),
            "logistic regression": logistic_regression(facts.iloc[past], cause[past], len(names), facts.iloc[asked]),
            "random forest": RandomForestClassifier(500, random_state=0)
            .fit(shown[past], cause[past])
            .predict_proba(shown[asked]),
            "boosting": HistGradientBoostingClassifier(max_iter=60, random_state=0, early_stopping=False)
            .fit(ranks.iloc[past], cause[past])
            .predict_proba(ranks.iloc[asked]),
        }
        for model, answer in told.items():
            chance.setdefault(model, np.zeros((len(cause), len(names))))[asked] = answer
    for model, answer in chance.items():
        right = accuracy_score(cause, answer.argmax(axis=1))
        print(f"{model:20s} accuracy {right:.3f}  log-loss {log_loss(cause, np.maximum(answer, 1e-6)):.3f}")


if __name__ == "__main__":
    with threadpool_limits(limits=1):
        main(Path(sys.argv[1]))
