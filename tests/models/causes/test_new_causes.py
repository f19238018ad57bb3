"""None of these: strange jobs raise it as far as past ones taught, and its total comes true."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models import CauseClassifier
from models.causes.new_causes import count_unseen
from tests.worlds.strange_jobs import strange_jobs


@pytest.fixture(scope="module")
def fitted() -> CauseClassifier:
    facts, cause = strange_jobs(400, 0.08, seed=1)
    return CauseClassifier(scope="kind", text="complaint", boosting=False, folds=2).fit(facts, cause)


@pytest.mark.parametrize(
    "strange", [{"make": "never met"}, {"code": "never met"}, {"complaint": "zzyx qwvut xxyzy wvuq"}]
)
def test_what_was_never_met_raises_it(fitted: CauseClassifier, strange: dict[str, str]) -> None:
    asked, _ = strange_jobs(40, 0.0, seed=2)
    usual = asked.iloc[[int(fitted.none_of_these(asked).argmin())]]
    assert (fitted.none_of_these(usual.assign(**strange)) > 2 * fitted.none_of_these(usual)).all()


def test_its_total_comes_true_and_where_it_is_high_more_comes_than_is_said(fitted: CauseClassifier) -> None:
    asked, cause = strange_jobs(3000, 0.08, seed=3)
    said = fitted.none_of_these(asked)
    is_new = ~np.isin(cause, fitted.classes_)
    high = said > 0.2
    assert 0.05 < said.mean() < 0.12
    assert said[high].mean() < is_new[high].mean() + 0.05  # shrunk factors say too little there, never much too much
    assert is_new[high].mean() > 5 * is_new[~high].mean()


def test_where_strange_jobs_bring_no_new_causes_it_does_not_raise_it() -> None:
    rng = np.random.default_rng(0)
    facts = pd.DataFrame({"make": [f"make {k}" if k % 4 == 0 else "usual" for k in range(800)]}, dtype=object)
    cause = rng.integers(0, 4, 800).astype(str)
    cause[[1, 202, 403, 605, 206, 207, 309, 401]] = [f"once {k}" for k in range(8)]
    names, place = np.unique(cause, return_inverse=True)
    unseen = count_unseen(facts, place, names, None, None)
    assert unseen.oftener["make"] < 1


def test_values_the_lists_know_are_not_strange() -> None:
    facts = pd.DataFrame({"kind": "washer", "code": ["E1", "E2", "E3"] * 10}, dtype=object)
    lists = pd.DataFrame(
        [("w", "pump", "kind", "washer", 1.0), ("w", "pump", "code", "E9", 0.5)],
        columns=["way", "cause", "column", "value", "chance"],
    )
    fitted = CauseClassifier(scope="kind", background=lists, boosting=False).fit(facts, np.array(["pump", "seal"] * 15))
    known, listed, new = fitted.none_of_these(facts.head(3).assign(code=["E1", "E9", "E77"]))
    assert known == pytest.approx(listed)
    assert new > known


@pytest.mark.parametrize("number", [0, 1, 2])
def test_hardly_any_jobs_are_no_trouble(number: int) -> None:
    facts, cause = strange_jobs(5, 0.5, seed=4)
    names, place = np.unique(cause[:number], return_inverse=True)
    unseen = count_unseen(facts.head(number), place, names, "kind", None, "complaint")
    assert 0 <= unseen.chance("washer") <= 1
    assert all(np.isfinite(factor) for factor in unseen.oftener.values())
