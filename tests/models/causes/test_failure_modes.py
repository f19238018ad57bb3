"""Ways to fail: lists answer before there are jobs, jobs correct them, and a wrong list does little harm."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import gammaln

from models import CauseClassifier
from models.causes import evidence, features, storage
from models.causes.alike_codes import alike_codes
from models.causes.model import from_lists
from models.causes.shrinkage import lean, log_gamma
from models.evaluate import scores
from pipeline.train.word_background import background
from pipeline.words import Words
from tests.worlds.cause_world import question, training_table

CAUSES = ("blocked filter", "pump dead", "hose kinked", "sensor off")
SHARES = np.array([0.5, 0.3, 0.15, 0.05])
SEEN = np.array([[0.9, 0.1, 0.3], [0.1, 0.9, 0.3], [0.2, 0.2, 0.9], [0.5, 0.1, 0.1]])  # chance of "yes" of each look


def lists(shares: np.ndarray = SHARES, seen: np.ndarray = SEEN) -> pd.DataFrame:
    """What a list says of the four causes, each one way."""
    rows: list[tuple[int, str, str, str, float]] = []
    for way, cause in enumerate(CAUSES):
        rows += [(way, cause, "kind", "washer", shares[way]), (way, cause, "symptom: does not drain", "yes", 1.0)]
        rows += [(way, cause, f"finding: look {k}", "yes", seen[way, k]) for k in range(3)]
        rows += [(way, cause, f"finding: look {k}", "no", 1 - seen[way, k]) for k in range(3)]
    return pd.DataFrame(rows, columns=["way", "cause", "column", "value", "chance"])


def jobs(number: int, seed: int) -> tuple[pd.DataFrame, np.ndarray]:
    """Jobs of the world the true list describes; each look is known half the time."""
    rng = np.random.default_rng(seed)
    cause = rng.choice(4, p=SHARES, size=number)
    looks = np.where(rng.random((number, 3)) < SEEN[cause], "yes", "no").astype(object)
    looks[rng.random(looks.shape) < 0.5] = None
    frame = pd.DataFrame(looks, columns=[f"finding: look {k}" for k in range(3)])
    return frame.assign(**{"kind": "washer", "symptom: does not drain": "yes"}).astype(object), cause


def exact(frame: pd.DataFrame) -> np.ndarray:
    looks = frame[[f"finding: look {k}" for k in range(3)]]
    is_yes, is_no = (looks == "yes").to_numpy(float), (looks == "no").to_numpy(float)
    chance = SHARES * np.exp(is_yes @ np.log(SEEN).T + is_no @ np.log(1 - SEEN).T)
    return np.asarray(chance / chance.sum(axis=1, keepdims=True))


def excess(background: pd.DataFrame | None, number: int) -> float:
    asked, truth = jobs(3000, 99)
    past, cause = jobs(number, 1)
    fitted = CauseClassifier(scope="kind", background=background, boosting=False, folds=2).fit(
        past, np.array(CAUSES)[cause]
    )
    chance = np.full((3000, 4), 1e-6)
    met = [CAUSES.index(name) for name in fitted.classes_]
    chance[:, met] = fitted.predict_proba(asked)
    return scores.log_loss(chance, truth) - scores.log_loss(exact(asked), truth)


def test_without_jobs_the_lists_answer_as_they_are_written() -> None:
    nothing = pd.DataFrame({"kind": pd.Series([], dtype=object)})
    model = from_lists(nothing, np.array([], dtype=str), lists(), "kind")
    asked, _ = jobs(200, 3)
    order = [list(model.classes_).index(name) for name in CAUSES]
    assert np.abs(model.predict_proba(asked)[:, order] - exact(asked)).max() < 0.1  # part of the shares is doubted
    assert 0 < model.none_of_these(asked)[0] < 0.1
    assert model.none_of_these(asked.assign(kind="never heard of"))[0] > 0.5


def test_a_true_list_saves_jobs_and_a_wrong_one_falls_silent() -> None:
    turned = lists(SHARES[::-1], SEEN[::-1])
    for number, harm in ((30, 0.1), (400, 0.02)):
        without, listed = excess(None, number), excess(lists(), number)
        assert listed < without + 0.005
        assert excess(turned, number) < without + harm
        assert number > 30 or listed < 0.05 < without


def test_a_cause_on_the_list_that_no_job_had_is_offered_and_one_off_the_list_is_learned() -> None:
    past, cause = jobs(300, 1)
    names = np.where(cause == 3, "gremlins", np.array(CAUSES)[cause])
    fitted = CauseClassifier(scope="kind", background=lists(), boosting=False, folds=2).fit(past, names)
    assert set(fitted.classes_) == {*CAUSES, "gremlins"}
    chance = dict(zip(fitted.classes_, fitted.predict_proba(past).mean(axis=0), strict=True))
    assert 0 < chance["sensor off"] < 0.04
    assert chance["gremlins"] == pytest.approx((cause == 3).mean(), abs=0.02)


def test_a_stored_model_with_ways_answers_the_same_and_says_why(tmp_path) -> None:
    past, cause = jobs(400, 1)
    model = (
        CauseClassifier(scope="kind", background=lists(), boosting=False, folds=2)
        .fit(past, np.array(CAUSES)[cause])
        .model_
    )
    assert model.ways is not None
    storage.save(model, tmp_path / "model", {})
    again = storage.open_model(tmp_path / "model")
    assert again.predict_proba(past) == pytest.approx(model.predict_proba(past))
    asked = question(
        kind="washer", symptoms=["does not drain"], findings={"look 1": "yes"},
        known_columns=[column.name for column in model.columns],
    )  # fmt: skip
    assert again.classes_[again.predict_proba(asked)[0].argmax()] == "pump dead"
    assert evidence.outside_notes(again, asked) == [None]


def test_a_make_that_shows_no_codes_is_not_blamed_for_showing_none() -> None:
    rng = np.random.default_rng(0)
    number = 2000
    cause = rng.choice(2, size=number)
    shows = rng.random(number) < 0.5
    code = np.where(shows & (cause == 0) & (rng.random(number) < 0.9), "N07", "none")
    frame = pd.DataFrame(
        {
            "kind": "washer",
            "make": np.where(shows, "Averan", "Pellmore"),
            "code": code,
            "symptom: does not drain": "yes",
        }
    ).astype(object)
    table = lists()
    fitted = CauseClassifier(scope="kind", background=table[table["way"] < 2], boosting=False, folds=2).fit(
        frame, np.array(CAUSES)[cause]
    )
    asked = pd.DataFrame(
        {"kind": "washer", "make": ["Averan", "Pellmore", "Averan"], "code": ["none", "none", "N07"],
         "symptom: does not drain": "yes"}
    ).astype(object)  # fmt: skip
    silent, quiet_make, shown = fitted.predict_proba(asked)[:, 0]
    assert silent < 0.2
    assert quiet_make == pytest.approx((cause[~shows] == 0).mean(), abs=0.05)
    assert shown > 0.9


def test_the_shipped_lists_read_whole() -> None:
    table = background(Words.load())
    faults = Words.load().faults()
    assert table["way"].nunique() == len(faults)
    assert set(table["cause"]) == set(faults["cause"])
    assert table["chance"].between(0, 100).all()
    assert (
        table.groupby(["way", table["column"].where(table["column"].str.startswith("finding"))])["chance"].sum()
        <= 1.001
    ).all()


def test_log_gamma() -> None:
    x = np.geomspace(1e-8, 1e5, 400)
    assert log_gamma(x) == pytest.approx(gammaln(x), rel=1e-9, abs=1e-9)


def test_tables_lean_on_what_was_expected_as_firmly_as_their_like_deserve() -> None:
    rng = np.random.default_rng(0)
    base = np.tile([[0.8], [0.2]], (1, 200))
    true = np.where(np.arange(200) < 180, 0.8, 0.2)  # right about most ways and wrong about a few
    yes = rng.binomial(40, true).astype(float)
    table = lean(np.stack([yes, 40 - yes]), base, np.array([0, 2]))[0]
    assert np.abs(table[:180] - 0.8).mean() < 0.5 * np.abs(yes[:180] / 40 - 0.8).mean()
    assert np.abs(table[180:] - 0.2).mean() < 0.08
    untold = lean(np.zeros((2, 3)), base[:, :3], np.array([0, 2]))
    assert untold == pytest.approx(base[:, :3])


def test_codes_of_makes_that_come_with_the_same_faults_are_alike() -> None:
    rng = np.random.default_rng(0)
    chance = np.array([[0.7, 0.1, 0.1, 0.1], [0.1, 0.1, 0.7, 0.1]])  # what two functions come with
    function, make = np.tile([0, 1], 5), np.repeat(np.arange(5), 2)
    seen = np.array([rng.multinomial(60, chance[one]) for one in function]).astype(float)
    expected = np.full(seen.shape, 15.0)
    group = alike_codes(seen, expected, make)
    assert set(group[function == 0]).isdisjoint(group[function == 1])
    assert all(np.bincount(group[function == one]).max() >= 4 for one in (0, 1))
    one_make = alike_codes(np.repeat(seen[:1], 3, axis=0), expected[:3], np.zeros(3, dtype=int))
    assert len(set(one_make)) == 3


def test_a_lamp_told_beside_its_code_is_told_once() -> None:
    jobs = training_table(2).assign(symptoms=[["lamps or code shown", "noisy"]] * 2, codes=[["K07"], []])
    told = features.wide(jobs)
    assert told["symptom: lamps or code shown"].tolist() == ["no", "yes"]
    assert told["code"].tolist() == ["K07", "none"]
    asked = question(kind="washer", symptoms=["lamps or code shown"], codes=["K07"])
    assert "symptom: lamps or code shown" not in asked


def test_what_was_looked_at_is_not_taken_for_a_sign_when_the_telephone_rings() -> None:
    past, cause = jobs(2000, 1)
    for look in range(3):  # recorded by those who had found the cause already
        past[f"finding: look {look}"] = np.where(cause == look, "yes", None)
    fitted = CauseClassifier(scope="kind", background=lists(), boosting=False, folds=2).fit(
        past, np.array(CAUSES)[cause]
    )
    call = past.iloc[:1].assign(**{f"finding: look {look}": None for look in range(3)})
    order = [list(fitted.classes_).index(name) for name in CAUSES]
    assert fitted.predict_proba(call)[0, order] == pytest.approx(np.bincount(cause) / len(cause), abs=0.03)


def test_a_cause_that_is_only_ever_advised_on_keeps_its_written_share() -> None:
    table = lists()
    past, cause = jobs(2000, 1)
    past, cause = past[cause != 2], cause[cause != 2]  # never cured
    call = past.iloc[:1].assign(**{f"finding: look {look}": None for look in range(3)})

    def share(background: pd.DataFrame) -> float:
        model = from_lists(past, np.array(CAUSES)[cause], background, "kind")
        return float(model.predict_proba(call)[0, list(model.classes_).index(CAUSES[2])])

    advised = pd.DataFrame([(2, CAUSES[2], "handed on", "yes", 1.0)], columns=table.columns)
    assert share(table) < 0.03
    assert share(pd.concat([table, advised])) == pytest.approx(SHARES[2], abs=0.03)
