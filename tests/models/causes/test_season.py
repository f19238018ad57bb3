"""The season of the visit is evidence where past jobs say so, and silent where they do not."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from models import CauseClassifier
from models.causes.features import questions, wide
from tests.worlds.cause_world import training_table

WINTER, SUMMER = dt.date(2026, 1, 15), dt.date(2026, 7, 15)


def chances(jobs: pd.DataFrame, cause: str) -> tuple[float, float]:
    """Probability of a cause in winter and in summer, nothing else known."""
    facts = wide(jobs)
    fitted = CauseClassifier(scope="kind", boosting=False, folds=2).fit(facts, jobs["cause"])
    unknown = {"make": None, "model_family": None, "age_years": None, "symptoms": (), "codes": (), "findings": None}
    asked = questions([{"kind": "dishwasher", "on": day, **unknown} for day in (WINTER, SUMMER)], list(facts.columns))
    winter, summer = fitted.model_.predict_proba(asked)[:, list(fitted.classes_).index(cause)]
    return float(winter), float(summer)


def test_a_cause_of_winter_is_likelier_in_winter_and_others_are_not() -> None:
    jobs = training_table(490, days=1095)
    is_winter = jobs["first_visit_date"].dt.month.isin([12, 1, 2])
    frozen = is_winter & (np.random.default_rng(1).random(len(jobs)) < 0.4)
    winter, summer = chances(jobs.assign(cause=jobs["cause"].where(~frozen, "frozen")), "frozen")
    assert winter > 0.25
    assert summer < 0.1
    winter, summer = chances(jobs, jobs.loc[jobs["kind"] == "dishwasher", "cause"].iloc[0])
    assert abs(winter - summer) < 0.08
