"""The cause model: sane whatever it is given, honest on a world whose odds are known, the same for the same seed."""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sklearn.base import clone
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import FunctionTransformer
from sklearn.utils.estimator_checks import parametrize_with_checks

from models import CauseClassifier
from models.evaluate import scores
from tests.worlds.cause_world import SmallWorld, training_table
from tests.worlds.shared import times

NOT_OURS = {
    "check_sample_weight_equivalence_on_dense_data": "two copies of a job may fall into two folds",
}


@parametrize_with_checks([CauseClassifier(boosting=False, folds=2)], expected_failed_checks=lambda _: NOT_OURS)
def test_keeps_the_promises_of_an_estimator(estimator: CauseClassifier, check: object) -> None:
    check(estimator)  # type: ignore[operator]


@cache
def excess(jobs: int, seed: int = 1) -> tuple[float, float]:
    """Excess log-loss over the exact posterior, and the excess of the shares alone."""
    world = SmallWorld.make()
    facts, cause = world.jobs(jobs, seed)
    asked, truth = world.jobs(2000, seed + 100)
    limit = scores.log_loss(world.posterior(asked), truth)
    shares = np.tile(np.bincount(cause, minlength=8) / jobs, (len(truth), 1))
    answer = CauseClassifier(boosting=False).fit(facts, cause).predict_proba(asked)
    return scores.log_loss(answer, truth) - limit, scores.log_loss(shares, truth) - limit


def test_comes_near_the_exact_posterior() -> None:
    near, far = excess(2000)
    assert near < 0.06
    assert far > 0.5


def test_more_jobs_bring_it_nearer() -> None:
    assert excess(2000)[0] < excess(200)[0]


def test_without_lists_all_jobs_decide_what_a_part_is_worth(monkeypatch: pytest.MonkeyPatch) -> None:
    facts, cause = SmallWorld.make().jobs(600, 1)
    fits = []
    for most in (100, 600):
        monkeypatch.setattr("models.causes.classifier.MOST_TO_DECIDE", most)
        fits.append(CauseClassifier(boosting=False, folds=2).fit(facts, cause))
    few, all_jobs = (fit.decided_ for fit in fits)
    assert np.allclose(few.weights, all_jobs.weights)
    assert few.heard == all_jobs.heard


def test_stated_probabilities_come_true() -> None:
    world = SmallWorld.make(seed=3)
    facts, cause = world.jobs(490, 1)
    asked, truth = world.jobs(3000, 2)
    chance = CauseClassifier(folds=2).fit(facts, cause).predict_proba(asked)
    error = scores.calibration_error(chance.max(axis=1), (chance.argmax(axis=1) == truth).astype(float))
    assert error < 0.06


@given(
    jobs=st.integers(1, 25),
    causes=st.integers(1, 6),
    seed=st.integers(0, 2**16),
    hidden=st.floats(0, 1),
)
@settings(max_examples=times(5), suppress_health_check=[HealthCheck.too_slow])
def test_any_small_table_gives_probabilities_that_add_to_one(jobs: int, causes: int, seed: int, hidden: float) -> None:
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {
            "kind": rng.choice(["a", "b", "c"], jobs),
            "age_years": rng.normal(size=jobs),
            "seen": rng.choice([True, False], jobs),
            "nothing": [None] * jobs,
        }
    ).astype({"kind": object, "seen": object})
    frame = frame.mask(rng.random(frame.shape) < hidden)
    fitted = CauseClassifier(folds=2).fit(frame, rng.integers(0, causes, jobs))
    strange = pd.concat([frame, frame.iloc[:1].assign(kind="never seen", age_years=1e9)], ignore_index=True)
    chance = fitted.predict_proba(strange)
    assert np.isfinite(chance).all()
    assert (chance >= 0).all()
    assert chance.sum(axis=1) == pytest.approx(np.ones(len(strange)))


def test_one_cause_gets_all() -> None:
    facts, _ = SmallWorld.make().jobs(30, 1)
    assert (CauseClassifier().fit(facts, ["pump"] * 30).predict_proba(facts) == 1).all()


def test_two_hundred_causes_and_causes_with_one_job() -> None:
    world = SmallWorld.make(causes=200, findings=12, seed=5)
    facts, cause = world.jobs(490, 1)
    fitted = CauseClassifier(folds=2).fit(facts, cause)
    assert (np.bincount(cause)[np.unique(cause)] == 1).any()
    chance = fitted.predict_proba(facts)
    assert chance.shape == (490, len(np.unique(cause)))
    assert chance.sum(axis=1) == pytest.approx(np.ones(490))


def test_nothing_known_gives_about_the_shares() -> None:
    world = SmallWorld.make(seed=2)
    facts, cause = world.jobs(2000, 1)
    nothing = facts.iloc[:1].mask(np.ones((1, facts.shape[1]), dtype=bool))
    chance = CauseClassifier(boosting=False, folds=2).fit(facts, cause).predict_proba(nothing)[0]
    assert np.abs(chance - np.bincount(cause, minlength=8) / 2000).max() < 0.04


def test_same_jobs_same_model_and_names_do_not_matter() -> None:
    facts, cause = SmallWorld.make().jobs(200, 4)
    first = CauseClassifier(folds=2).fit(facts, cause).predict_proba(facts)
    assert (CauseClassifier(folds=2).fit(facts, cause).predict_proba(facts) == first).all()
    turned = CauseClassifier(folds=2).fit(facts, 7 - cause).predict_proba(facts)[:, ::-1]
    assert turned == pytest.approx(first, abs=2e-3)  # the search stops within its tolerance, by another road


def test_works_in_a_pipeline_and_clones() -> None:
    facts, cause = SmallWorld.make().jobs(200, 1)
    piped = make_pipeline(FunctionTransformer(), clone(CauseClassifier(folds=3, boosting=False))).fit(facts, cause)
    assert piped.predict(facts).shape == (200,)


def test_a_weight_of_nothing_is_as_if_the_job_were_not_there() -> None:
    world = SmallWorld.make()
    facts, cause = world.jobs(300, 1)
    weight = np.where(cause == 0, 0.0, 1.0)
    heard = CauseClassifier(boosting=False).fit(facts, cause, sample_weight=weight).predict_proba(facts)
    assert heard[:, 0].mean() < 0.01


def test_boosting_is_left_out_when_it_teaches_nothing_and_kept_when_it_does() -> None:
    rng = np.random.default_rng(0)
    jobs = 1500
    facts = pd.DataFrame(rng.choice(["yes", "no"], (jobs, 4)), columns=list("abcd")).astype(object)
    odd = (facts == "yes").sum(axis=1).to_numpy() % 2  # parity: no table, pair or sum of single facts can see it
    unsure = np.where(rng.random(jobs) < 0.1, 1 - odd, odd)
    alone = CauseClassifier(boosting=False, folds=2).fit(facts, unsure)
    with_trees = CauseClassifier(folds=2).fit(facts, unsure)
    assert with_trees.model_.trees is not None
    assert (
        scores.log_loss(with_trees.predict_proba(facts), odd) < scores.log_loss(alone.predict_proba(facts), odd) - 0.3
    )
    world_facts, cause = SmallWorld.make().jobs(800, 1)
    assert CauseClassifier(folds=2).fit(world_facts, cause).model_.trees is None


def test_refit_keeps_what_was_decided_and_takes_new_columns_and_causes() -> None:
    facts, cause = SmallWorld.make().jobs(300, 1)
    first = CauseClassifier(folds=2).fit(facts, cause)
    more = facts.assign(new=pd.Series(["x", "y"] * 150, dtype=object))
    again = first.refit(more, np.where(np.arange(300) < 5, 99, cause))
    assert 99 in again.classes_
    assert again.decided_ is first.decided_
    assert again.predict_proba(more).sum(axis=1) == pytest.approx(np.ones(300))


def test_none_of_these_is_larger_where_more_causes_were_met_only_once() -> None:
    table = training_table(300)
    rare = table["kind"] == "dishwasher"
    cause = table["cause"].where(~rare, [f"once {k}" for k in range(len(table))])
    facts = table[["kind", "age_years"]]
    fitted = CauseClassifier(scope="kind").fit(facts, cause)
    asked = pd.DataFrame({"kind": ["washing machine", "dishwasher", "never seen", None], "age_years": [1.0] * 4})
    usual, often, strange, unknown = fitted.none_of_these(asked)
    assert usual < 0.05 < 0.8 < often
    assert strange > 0.8
    assert usual < unknown < often


def test_good_turing_by_hand() -> None:
    # Good 1953, Biometrika 40, 237-264: the chance of a species not yet seen is about (species seen once) / (all seen)
    facts = pd.DataFrame({"x": ["a"] * 10}, dtype=object)
    fitted = CauseClassifier().fit(facts, list("aaaabbbcde"))
    assert fitted.none_of_these(facts) == pytest.approx(np.full(10, 0.3))


def test_an_answer_needs_no_scikit_learn(tmp_path: object) -> None:
    import subprocess
    import sys
    from pathlib import Path

    from models.causes import storage

    facts, cause = SmallWorld.make().jobs(200, 1)
    folder = Path(str(tmp_path)) / "model"
    storage.save(CauseClassifier().fit(facts, cause.astype(str)).model_, folder, {})
    code = (
        "import sys, pandas as pd\nfrom pathlib import Path\nfrom models.causes import storage\n"
        "model = storage.open_model(Path(sys.argv[1]))\n"
        "print(model.predict_proba(pd.DataFrame({'finding: f1': ['yes']})).shape)\n"
        "print([m for m in ('sklearn', 'scipy') if m in sys.modules])"
    )
    root = Path(__file__).resolve().parents[3]
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], cwd=root, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[1] == "[]"


def test_more_causes_than_half_of_the_jobs_is_no_cause_for_a_warning() -> None:
    facts = pd.DataFrame({"kind": ["washer"] * 30, "symptom: leaks": ["yes", "no", None] * 10})
    causes = np.array([f"cause {k}" for k in range(25)] + ["cause 0"] * 5)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        CauseClassifier().fit(facts, causes)
