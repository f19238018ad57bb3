"""A small world of jobs with stated odds, for tests of the cause model: its exact posterior is one line of Bayes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import duckdb
import numpy as np
import pandas as pd

from models.causes.features import questions
from pipeline.advice import kept
from pipeline.settings import Settings
from pipeline.train import train as training
from pipeline.words import Words


@dataclass(frozen=True)
class SmallWorld:
    """Causes with a share each, and findings of two values that depend on the cause alone."""

    share: np.ndarray
    yes: np.ndarray  # causes × findings: chance of "yes"

    @classmethod
    def make(cls, causes: int = 8, findings: int = 10, seed: int = 0) -> SmallWorld:
        """Draw the odds."""
        rng = np.random.default_rng(seed)
        return cls(rng.dirichlet(np.full(causes, 2.0)), rng.beta(0.5, 0.5, (causes, findings)).clip(0.03, 0.97))

    def jobs(self, number: int, seed: int, known: float = 0.4) -> tuple[pd.DataFrame, np.ndarray]:
        """Draw jobs; each finding is known with chance ``known``. Frame of "yes"/"no"/None, and the causes."""
        rng = np.random.default_rng(seed)
        cause = rng.choice(len(self.share), p=self.share, size=number)
        answer = np.where(rng.random((number, self.yes.shape[1])) < self.yes[cause], "yes", "no").astype(object)
        answer[rng.random(answer.shape) > known] = None
        return pd.DataFrame(answer, columns=[f"finding: f{k}" for k in range(answer.shape[1])]), cause

    def posterior(self, facts: pd.DataFrame) -> np.ndarray:
        """Exact probability of each cause."""
        is_yes, is_no = (facts == "yes").to_numpy(float), (facts == "no").to_numpy(float)
        log = np.log(self.share) + is_yes @ np.log(self.yes).T + is_no @ np.log(1 - self.yes).T
        chance = np.exp(log - log.max(axis=1, keepdims=True))
        return np.asarray(chance / chance.sum(axis=1, keepdims=True))


def training_table(number: int = 400, seed: int = 0, *, days: int = 700, turns: bool = False) -> pd.DataFrame:
    """Cured jobs as the table ``cause_example`` holds them, three kinds with four causes each.

    ``turns``: half way through, the commonest cause of each kind becomes its rarest, the second its third, and back.
    """
    rng = np.random.default_rng(seed)
    kinds = np.array(["washing machine", "tumble dryer", "dishwasher"])
    kind = rng.integers(0, 3, number)
    one = rng.choice(4, p=[0.5, 0.25, 0.15, 0.1], size=number)
    day = np.sort(rng.integers(0, days, number))
    cause = kind * 4 + np.where(turns & (day >= days / 2), 3 - one, one)
    cured = pd.Timestamp("2024-01-01") + pd.to_timedelta(day, unit="D")
    return pd.DataFrame(
        {
            "complaint": pd.Series([None] * number, dtype="str"),
            "episode_id": np.arange(number),
            "kind": kinds[kind],
            "make": rng.choice(["Averan", "Tavrik"], number),
            "model_family": rng.choice(["A1", "B2", None], number),
            "age_years": np.where(rng.random(number) < 0.2, np.nan, rng.gamma(3, 2, number).round(1)),
            "symptoms": [[f"symptom {c % 4 // 2}"] if rng.random() < 0.9 else [] for c in cause],
            "codes": [["K07"] if c % 4 == 0 and rng.random() < 0.5 else [] for c in cause],
            "findings": [[f"look=seen {c % 4}"] if rng.random() < 0.6 else [] for c in cause],
            "cause": [f"cause {c}" for c in cause],
            "cure_date": cured,
            "first_visit_date": cured,
            "visits": 1,
            "labour_minutes": 30.0,
            "parts_cost": 10.0,
            "job_no": [f"J{k}" for k in range(number)],
        }
    )


def workshop(folder: Path, table: pd.DataFrame) -> Any:
    """A database that holds the training table and nothing else."""
    connection = duckdb.connect()
    connection.register("given", table)
    connection.execute("create table cause_example as select * from given")
    return SimpleNamespace(
        connection=connection, read_only=False, folder_of_models=folder / "shop.models", path=folder / "shop.duckdb"
    )


def train(database: Any, **choice: Any) -> dict[str, Any]:
    """Train on such a database; it has no visits to find advice in, which is tested where advice is made."""
    with patch.object(kept, "keep", autospec=True) as keep:
        told = training.train(database, Words.load(), Settings(), **choice)
    keep.assert_called_once()
    return told


@contextmanager
def quick_training() -> Iterator[None]:
    """Learn in two folds and without boosting, where how well it learns is not asked: a third of the time."""
    from models.evaluate import backtest

    usual = backtest.new_classifier
    with patch.object(
        backtest,
        "new_classifier",
        lambda background=None: usual(background).set_params(folds=2, boosting=False),
    ):
        yield


def question(*, known_columns: Iterable[str] = (), **told: Any) -> pd.DataFrame:
    """X of one question; what is not told is not known."""
    unknown = {"kind": None, "make": None, "model_family": None, "age_years": None}
    return questions([{**unknown, "symptoms": (), "codes": (), "findings": None, **told}], known_columns)
