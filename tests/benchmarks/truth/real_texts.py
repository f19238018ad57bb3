"""Fault types of real repair texts: what the cause model learns from them, beside logistic regression on TF-IDF.

    python -m tests.benchmarks.truth.real_texts FOLDER [FILE...] [--deals 0,1,2]

FOLDER holds labelled sets of the Open Repair Alliance (printcat.csv, tabicat.csv, compcat_desktops.csv, mobifix.csv;
not part of this project, licence CC BY-SA 4.0). Learned on 80 %, asked on the rest; one kind of appliance, the problem as
complaint, the fault type as cause. Product: records loaded, a model trained, calls asked as a round; a cause the answer
does not tell counts as .001. Alone: the classifier on kind, make and text. The lists in force are beside both; they know
none of these appliances.
"""

from __future__ import annotations

import argparse
import tempfile
from itertools import product
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

UNTOLD = 0.001  # chance counted of a cause that an answer does not tell
SETS = ("printcat.csv", "tabicat.csv", "compcat_desktops.csv", "mobifix.csv")


def labelled(path: Path) -> pd.DataFrame:
    """Read one set as records: one kind, what was written, the fault type; types under 10 records as one."""
    rows = pd.read_csv(path, dtype=str).dropna(subset=["problem", "fault_type"])
    rows = rows[~rows["fault_type"].isin(["Poor data", "Unknown"])]
    many = rows["fault_type"].map(rows["fault_type"].value_counts()) >= 10
    said = {"visit_date": rows["event_date"], "make": rows["brand"], "complaint": rows["problem"]}
    said |= {"appliance_kind": rows["product_category"].mode()[0], "outcome": "fixed"}
    jobs = pd.DataFrame(said).assign(cause=rows["fault_type"].where(many, "Other")).reset_index(drop=True)
    return jobs.assign(job_no=[f"R{number:05d}" for number in jobs.index])


def as_examples(jobs: pd.DataFrame) -> pd.DataFrame:
    """Records as the classifier learns from them, nothing understood of their words."""
    plain = jobs.rename(columns={"appliance_kind": "kind"})[["kind", "make", "complaint"]]
    lists = {name: [[] for _ in range(len(jobs))] for name in ("symptoms", "codes", "findings")}
    return plain.assign(model_family=None, age_years=np.nan, **lists)


def through_the_product(past: pd.DataFrame, asked: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Load, train, ask as a round; the chance of each call's cause, and whether it was the likeliest."""
    with tempfile.TemporaryDirectory() as scratch, Workshop.open(Path(scratch) / "w.duckdb") as workshop:
        past.to_csv(Path(scratch) / "past.csv", index=False)
        asked.drop(columns=["cause", "outcome"]).to_csv(Path(scratch) / "calls.csv", index=False)
        workshop.load([Path(scratch) / "past.csv"])
        workshop.train()
        stored = workshop.table("visit")[["job_no", "cause"]].merge(past, on="job_no", suffixes=("", "_written"))
        name_of = stored.groupby("cause_written")["cause"].agg(lambda names: names.mode()[0])
        calls = workshop.round(Path(scratch) / "calls.csv", Path(scratch) / "round.html")["calls"]
    told = [{row["cause"]: row["probability"] for row in call["causes"]} for call in calls]
    causes = asked["cause"].map(name_of).tolist()
    chance = [max(odds.get(cause, 0.0), UNTOLD) for odds, cause in zip(told, causes, strict=True)]
    likeliest = [max(odds, key=odds.__getitem__, default=None) for odds in told]  # None: hands off
    return np.array(chance), np.array([first == cause for first, cause in zip(likeliest, causes, strict=True)])


def of_cause(chance: np.ndarray, classes: np.ndarray, cause: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Chance of each call's cause, and whether it was the likeliest."""
    place = pd.Index(classes.astype(str)).get_indexer(pd.Index(cause))
    return np.maximum(chance[np.arange(len(place)), place], 1e-9), chance.argmax(axis=1) == place


def plain(past: pd.DataFrame, asked: pd.DataFrame, c: float) -> tuple[np.ndarray, np.ndarray]:
    """Answer by logistic regression on TF-IDF of words and letters."""
    makers = [TfidfVectorizer(ngram_range=(1, 2)), TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5))]
    seen = hstack([m.fit_transform(past["complaint"]) for m in makers]).tocsr()
    new = hstack([m.transform(asked["complaint"]) for m in makers]).tocsr()
    with threadpool_limits(1):
        model = LogisticRegression(C=c, max_iter=200).fit(seen, past["cause"])
    return of_cause(model.predict_proba(new), model.classes_, asked["cause"])


def alone(past: pd.DataFrame, asked: pd.DataFrame, lists: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Answer by the classifier of causes, nothing heard by the lists."""
    model = CauseClassifier(scope="kind", text="complaint", background=lists)
    model.fit(wide(as_examples(past)), past["cause"])
    return of_cause(model.predict_proba(wide(as_examples(asked))), model.classes_, asked["cause"])


def main() -> None:
    """One line a set, deal and model."""
    asked_for = argparse.ArgumentParser()
    asked_for.add_argument("folder", type=Path)
    asked_for.add_argument("names", nargs="*", default=SETS)
    asked_for.add_argument("--deals", default="0")
    given = asked_for.parse_args()
    with tempfile.TemporaryDirectory() as scratch, Workshop.open(Path(scratch) / "w.duckdb") as workshop:
        lists = background(workshop.words)
    for name, deal in product(given.names, map(int, given.deals.split(","))):
        jobs = labelled(given.folder / name)
        past, asked = train_test_split(jobs, test_size=0.2, random_state=deal, stratify=jobs["cause"])
        told = {
            "product": through_the_product(past, asked),
            "alone": alone(past, asked, lists),
            "TF-IDF, C = 1": plain(past, asked, 1.0),
            "TF-IDF, C = 10": plain(past, asked, 10.0),
        }
        least = -np.log(told["TF-IDF, C = 10"][0])
        for model, (chance, is_right) in told.items():
            apart = -np.log(chance) - least
            print(
                f"{name} {deal}, {len(past)} learned, {len(asked)} asked, {model}: log-loss {-np.log(chance).mean():.3f},"
                f" right {is_right.mean():.3f}; less C = 10: {apart.mean():+.3f} ± {apart.std() / len(apart) ** 0.5:.3f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
