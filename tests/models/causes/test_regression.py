"""The regression on words, facts and their products."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models import CauseClassifier
from models.causes.encoding import encode, learn_columns
from models.causes.facts import learn_facts
from models.causes.regression import coordinates_of, fit_regression
from models.causes.words import learn_words, made_of


def test_it_finds_the_same_as_scikit_learn_where_the_levels_are_free() -> None:
    from sklearn.linear_model import LogisticRegression

    rng = np.random.default_rng(0)
    frame = pd.DataFrame({f"x{k}": rng.choice(["a", "b", "c"], 400) for k in range(3)}, dtype=object)
    cause = (frame["x0"].eq("a").to_numpy() + rng.integers(0, 2, 400)).astype(int)
    columns = learn_columns(frame)
    codes, texts = encode(frame, columns), [""] * 400
    facts = learn_facts(codes, texts, columns, beside_lists=False)
    shown, kind = facts.matrix(codes, texts), np.zeros(400, dtype=int)
    one, everyone = np.ones(400), np.ones(400, dtype=bool)
    points = coordinates_of(facts, shown, kind, cause, one)
    begun = fit_regression(facts, points, everyone, np.zeros((400, 3)), cause, one, 0.3)
    ours = fit_regression(facts, points, everyone, np.zeros((400, 3)), cause, one, 0.7, begun)
    theirs = LogisticRegression(C=0.49, tol=1e-6, max_iter=2000).fit(shown, cause)
    told = ours.scores(facts.read(codes, texts), kind, np.zeros((400, 3)))
    assert np.exp(told) == pytest.approx(theirs.predict_proba(shown), abs=0.02)


def test_without_jobs_of_a_kind_it_says_what_the_lists_say() -> None:
    frame = pd.DataFrame({"kind": ["hob", "hob", "oven"]}, dtype=object)
    columns = learn_columns(frame)
    codes = encode(frame, columns)
    facts = learn_facts(codes, ["", "", ""], columns, beside_lists=True)
    shown, offset = facts.matrix(codes, ["", "", ""]), np.log(np.tile([[0.7, 0.2, 0.1]], (3, 1)))
    cause, one = np.array([0, 1, 2]), np.ones(3)
    points = coordinates_of(facts, shown, codes[:, 0], cause, one)
    fitted = fit_regression(facts, points, np.array([True, True, False]), offset, cause, one, 1.0)
    told = np.exp(fitted.scores(facts.read(codes, ["", "", ""]), codes[:, 0], offset))
    assert told[2] == pytest.approx([0.7, 0.2, 0.1])
    assert told.sum(axis=1) == pytest.approx(1.0)
    assert 0 < told[0, 2] <= 0.5


def test_a_word_with_a_letter_dropped_still_shares_most_of_its_weight() -> None:
    words = learn_words(["the hatch rattles", "the hatch rattles", "quiet as a stone", "quiet as a stone"])
    row, column, weight = words.read(["the hatch rattles", "the hatch ratles", "quiet as a stone"])
    vectors = np.zeros((3, len(words.entries)))
    vectors[row, column] = weight
    assert vectors[0] @ vectors[1] > 1.0 > 0.1 > vectors[0] @ vectors[2]
    assert "~<hat" in made_of("Hatch") and "the hatch" in made_of("The hatch!")


def test_causes_are_learned_from_phrases_no_list_holds() -> None:
    rng = np.random.default_rng(1)
    phrases = {"dampers": ["klonx bagga", "zuur klonx"], "belt": ["flimmt leise", "leise wirrt"], "pump": ["gluu gluu"]}
    cause = rng.choice(list(phrases), 240)
    text = [rng.choice(phrases[one]) for one in cause]
    frame = pd.DataFrame({"kind": "washer", "complaint": text}, dtype=object)
    model = CauseClassifier(scope="kind", text="complaint", boosting=False, folds=2).fit(frame, cause)
    asked = pd.DataFrame({"kind": ["washer"] * 3, "complaint": ["KLONX bagga", "leise wirt", "gluu"]}, dtype=object)
    chance = model.predict_proba(asked)
    assert list(model.classes_[chance.argmax(axis=1)]) == ["dampers", "belt", "pump"]
    assert chance.max(axis=1).min() > 0.8


def test_a_code_that_means_another_cause_in_each_family_is_learned() -> None:
    rng = np.random.default_rng(2)
    family, code = rng.integers(0, 6, 800), rng.integers(0, 4, 800)
    cause = np.array(["a", "b", "c", "d"])[(family + code) % 4]
    frame = pd.DataFrame({"model_family": family.astype(str), "code": code.astype(str)}, dtype=object)
    model = CauseClassifier(boosting=False, folds=2).fit(frame, cause)
    assert (model.predict(frame) == cause).mean() > 0.95
