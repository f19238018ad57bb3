"""Fault types of real repair texts: what the cause model learns from them, beside logistic regression on TF-IDF.

    python -m tests.benchmarks.truth.real_texts FOLDER [FILE...]

FOLDER holds labelled sets of the Open Repair Alliance (printcat.csv, tabicat.csv, compcat_desktops.csv, mobifix.csv;
not part of this project, licence CC BY-SA 4.0). Learned on 80 %, asked on the rest; one kind of appliance, the problem as
complaint, the fault type as cause. The lists in force are beside it as in `train`; they know none of these appliances.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.sparse import hstack
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import train_test_split
from threadpoolctl import threadpool_limits

from models import CauseClassifier
from models.causes.features import wide
from pipeline.train.word_background import background
from pipeline.workshop import Workshop

SETS = ("printcat.csv", "tabicat.csv", "compcat_desktops.csv", "mobifix.csv")


def labelled(path: Path) -> pd.DataFrame:
    """Read one set as jobs: one kind, what was written, the fault type; types under 10 records as one."""
    rows = pd.read_csv(path).dropna(subset=["problem", "fault_type"])
    rows = rows[~rows["fault_type"].isin(["Poor data", "Unknown"])]
    many = rows["fault_type"].map(rows["fault_type"].value_counts()) >= 10
    jobs = pd.DataFrame({"kind": path.stem, "make": rows["brand"], "model_family": None, "age_years": np.nan})
    lists = {name: [[] for _ in range(len(rows))] for name in ("symptoms", "codes", "findings")}
    return jobs.assign(**lists, complaint=rows["problem"].astype(str), cause=rows["fault_type"].where(many, "Other"))


def scores(chance: np.ndarray, classes: np.ndarray, cause: pd.Series) -> str:
    """Log-loss and how often the likeliest is right."""
    place = pd.Index(classes.astype(str)).get_indexer(pd.Index(cause))
    right = np.maximum(chance[np.arange(len(place)), place], 1e-9)
    return f"log-loss {-np.log(right).mean():.3f}, right {(chance.argmax(axis=1) == place).mean():.3f}"


def main() -> None:
    """One line a set and model."""
    folder, *names = sys.argv[1:]
    with tempfile.TemporaryDirectory() as scratch, Workshop.open(Path(scratch) / "w.duckdb") as workshop:
        lists = background(workshop.words)
    for name in names or SETS:
        jobs = labelled(Path(folder) / name)
        past, asked = train_test_split(jobs, test_size=0.2, random_state=0, stratify=jobs["cause"])
        ours = CauseClassifier(scope="kind", text="complaint", background=lists).fit(wide(past), past["cause"])
        print(
            name, len(past), len(asked), "ours:", scores(ours.predict_proba(wide(asked)), ours.classes_, asked["cause"])
        )
        makers = [TfidfVectorizer(ngram_range=(1, 2)), TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5))]
        seen = hstack([m.fit_transform(past["complaint"]) for m in makers]).tocsr()
        new = hstack([m.transform(asked["complaint"]) for m in makers]).tocsr()
        for c in (1.0, 10.0):
            with threadpool_limits(1):
                plain = LogisticRegression(C=c, max_iter=200).fit(seen, past["cause"])
            told = scores(plain.predict_proba(new), plain.classes_, asked["cause"])
            print(name, f"TF-IDF, logistic regression, C = {c:g}:", told, flush=True)


if __name__ == "__main__":
    main()
