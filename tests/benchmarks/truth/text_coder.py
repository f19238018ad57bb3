"""How well free text becomes a term: TextCoder beside plain linear models on labelled repair records, same folds.

    python -m tests.benchmarks.truth.text_coder FOLDER [FILE...]

FOLDER holds labelled sets of the Open Repair Alliance (printcat.csv, tabicat.csv, compcat_desktops.csv, mobifix.csv;
not part of this
project, licence CC BY-SA 4.0). Problem text only; "Poor data" and "Unknown" left out; fault types under 10 records
pooled into "Other"; 5 folds, dealt four times.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.sparse import hstack
from sklearn.calibration import CalibratedClassifierCV
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import accuracy_score, f1_score, log_loss
from sklearn.model_selection import StratifiedKFold
from sklearn.svm import LinearSVC
from threadpoolctl import threadpool_limits

from models import TextCoder

SETS = ("printcat.csv", "tabicat.csv", "compcat_desktops.csv", "mobifix.csv")
DEALS = 4


def labelled(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Read texts and fault types of one set."""
    rows = pd.read_csv(path).dropna(subset=["problem", "fault_type"])
    rows = rows[~rows["fault_type"].isin(["Poor data", "Unknown"])]
    jobs = rows["fault_type"].map(rows["fault_type"].value_counts())
    return rows["problem"].astype(str).to_numpy(object), rows["fault_type"].where(jobs >= 10, "Other").to_numpy(str)


def features(past: np.ndarray, asked: np.ndarray) -> tuple[object, object]:
    """TF-IDF of words (1-2) and characters (2-5), as in the baseline."""
    makers = [TfidfVectorizer(ngram_range=(1, 2)), TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5))]
    return hstack([m.fit_transform(past) for m in makers]).tocsr(), hstack([m.transform(asked) for m in makers]).tocsr()


def answers(texts: np.ndarray, terms: np.ndarray, seed: int) -> tuple[pd.DataFrame, np.ndarray]:
    """One row a model: its scores over five folds dealt by ``seed``; and how often TextCoder spoke and was right."""
    classes, place = np.unique(terms, return_inverse=True)
    chance: dict[str, np.ndarray] = {}
    said: dict[str, np.ndarray] = {}
    spoken = np.zeros(2, int)
    for past, asked in StratifiedKFold(5, shuffle=True, random_state=seed).split(texts, place):
        seen, new = features(texts[past], texts[asked])
        plain = {
            "logistic regression": LogisticRegression(max_iter=500).fit(seen, place[past]),
            "logistic regression, C=10": LogisticRegression(C=10, max_iter=500).fit(seen, place[past]),
            "linear SVM, sigmoid": CalibratedClassifierCV(LinearSVC(), cv=3).fit(seen, place[past]),
        }
        coder = TextCoder().fit(texts[past], terms[past])
        told = {model: machine.predict_proba(new) for model, machine in plain.items()}
        told["TextCoder"] = coder.predict_proba(texts[asked])
        for model, odds in told.items():
            chance.setdefault(model, np.zeros((len(texts), len(classes))))[asked] = odds
            said.setdefault(model, np.zeros(len(texts), int))[asked] = odds.argmax(axis=1)
        said["TextCoder"][asked] = np.searchsorted(classes, coder.predict(texts[asked]).astype(str))
        coded = coder.code(texts[asked])["term"]
        spoke = coded.notna().to_numpy()
        spoken += [spoke.sum(), (coded[spoke].to_numpy() == terms[asked][spoke]).sum()]
    scores = {
        model: (
            accuracy_score(place, said[model]),
            f1_score(place, said[model], average="macro"),
            log_loss(place, chance[model]),
        )
        for model in chance
    }
    return pd.DataFrame(scores, index=["accuracy", "macro-F1", "log-loss"]).T, spoken


def main(folder: Path, names: tuple[str, ...]) -> None:
    """Print one table a set: the mean of the deals, and the first."""
    for name in names:
        texts, terms = labelled(folder / name)
        dealt = [answers(texts, terms, seed) for seed in range(DEALS)]
        mean = sum(table for table, _ in dealt) / DEALS
        print(f"\n{name}: {len(texts)} texts, {len(np.unique(terms))} terms; mean of {DEALS} deals (first deal)")
        for model, row in mean.iterrows():
            first = dealt[0][0].loc[model]
            print(f"  {model:28s}" + "".join(f"{of} {row[of]:.3f} ({first[of]:.3f})  " for of in mean.columns))
        spoke, right = sum(spoken for _, spoken in dealt)
        share = f"{right / spoke:.1%}" if spoke else "none"
        print(f"  TextCoder speaks on {spoke / len(texts) / DEALS:.0%} of texts and is right on {share} of those")


if __name__ == "__main__":
    with threadpool_limits(limits=1):
        main(Path(sys.argv[1]), tuple(sys.argv[2:]) or SETS)
