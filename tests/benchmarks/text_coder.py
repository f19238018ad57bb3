"""How well free text becomes a term: TextCoder beside plain linear models on labelled repair records, same folds.

    python tests/benchmarks/text_coder.py FOLDER [FILE...]

FOLDER holds labelled sets of the Open Repair Alliance (printcat.csv, tabicat.csv, compcat_desktops.csv, mobifix.csv;
not part of this
project, licence CC BY-SA 4.0). Problem text only; "Poor data" and "Unknown" left out; fault types under 10 records
pooled; 5 folds.
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

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from models import TextCoder

SETS = ("printcat.csv", "tabicat.csv", "compcat_desktops.csv", "mobifix.csv")


def labelled(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Read texts and fault types of one set."""
    rows = pd.read_csv(path).dropna(subset=["problem", "fault_type"])
    rows = rows[~rows["fault_type"].isin(["Poor data", "Unknown"])]
    jobs = rows["fault_type"].map(rows["fault_type"].value_counts())
    return rows["problem"].astype(str).to_numpy(object), rows["fault_type"].where(jobs >= 10, "(few)").to_numpy(str)


def features(past: np.ndarray, asked: np.ndarray) -> tuple[object, object]:
    """TF-IDF of words (1-2) and characters (2-5), as in the baseline."""
    makers = [TfidfVectorizer(ngram_range=(1, 2)), TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5))]
    return hstack([m.fit_transform(past) for m in makers]).tocsr(), hstack([m.transform(asked) for m in makers]).tocsr()


def main(folder: Path, names: tuple[str, ...]) -> None:
    """Print one table a set."""
    for name in names:
        texts, terms = labelled(folder / name)
        classes, place = np.unique(terms, return_inverse=True)
        chance: dict[str, np.ndarray] = {}
        said: dict[str, np.ndarray] = {}
        right_above, above = 0, 0
        for past, asked in StratifiedKFold(5, shuffle=True, random_state=0).split(texts, place):
            seen, new = features(texts[past], texts[asked])
            plain = {
                "logistic regression": LogisticRegression(max_iter=500).fit(seen, place[past]),
                "logistic regression, C=10": LogisticRegression(C=10, max_iter=500).fit(seen, place[past]),
                "linear SVM, sigmoid": CalibratedClassifierCV(LinearSVC(), cv=3).fit(seen, place[past]),
            }
            coder = TextCoder().fit(texts[past], terms[past])
            answers = {model: machine.predict_proba(new) for model, machine in plain.items()}
            answers["TextCoder"] = coder.predict_proba(texts[asked])
            for model, told in answers.items():
                chance.setdefault(model, np.zeros((len(texts), len(classes))))[asked] = told
                said.setdefault(model, np.zeros(len(texts), int))[asked] = told.argmax(axis=1)
            said["TextCoder"][asked] = np.searchsorted(classes, coder.predict(texts[asked]).astype(str))
            coded = coder.code(texts[asked])["term"]
            spoke = coded.notna().to_numpy()
            above += int(spoke.sum())
            right_above += int((coded[spoke].to_numpy() == terms[asked][spoke]).sum())
        print(f"\n{name}: {len(texts)} texts, {len(classes)} terms")
        for model, told in chance.items():
            row = (
                accuracy_score(place, said[model]),
                f1_score(place, said[model], average="macro"),
                log_loss(place, told),
            )
            print(f"  {model:28s} accuracy {row[0]:.3f}  macro-F1 {row[1]:.3f}  log-loss {row[2]:.3f}")
        share = right_above / above if above else float("nan")
        print(f"  TextCoder speaks on {above / len(texts):.0%} of texts and is right on {share:.1%} of those")


if __name__ == "__main__":
    with threadpool_limits(limits=1):
        main(Path(sys.argv[1]), tuple(sys.argv[2:]) or SETS)
