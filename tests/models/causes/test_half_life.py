"""Older jobs weigh less where the odds have changed, and only there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from models.causes.features import wide
from models.causes.half_life import HALF_LIVES, choose, weigh
from models.evaluate import backtest
from models.evaluate.backtest import Learned, learn, new_classifier
from models.evaluate.scores import log_loss
from pipeline.terminal import views
from pipeline.train.compare import compare_models
from pipeline.train.versions import current_model
from pipeline.train.word_background import background
from pipeline.words import Words
from reports.pages.model_card import half_life_line
from tests.worlds.cause_world import train, training_table, workshop

TEN_YEARS = 3650


@pytest.fixture(scope="module")
def lists() -> pd.DataFrame:
    return background(Words.load())


def chosen(jobs: pd.DataFrame, lists: pd.DataFrame | None) -> float | None:
    years: float | None = choose(wide(jobs), jobs["cause"], jobs["cure_date"], lists)["years"]
    return years


def test_a_half_life_is_chosen_where_shares_turned_and_none_where_they_did_not(lists: pd.DataFrame) -> None:
    assert chosen(training_table(2000, days=TEN_YEARS, turns=True), lists) in HALF_LIVES
    assert chosen(training_table(1000, days=TEN_YEARS), lists) is None
    assert chosen(training_table(400), lists) is None


def test_the_whole_model_foretells_later_jobs_better_with_it(lists: pd.DataFrame) -> None:
    jobs = training_table(1000, days=TEN_YEARS, turns=True)
    both = wide(jobs.assign(findings=[[]] * len(jobs)))  # before anybody has looked, shares count most
    past, facts, later = jobs.iloc[:730], both.iloc[:730], slice(730, None)
    decided = new_classifier(lists).fit(facts.iloc[:200], past["cause"].iloc[:200])

    def loss(years: float | None) -> float:
        told = {"years": years, "asked": 0, "log_loss": None, "tried": []}
        fitted = learn(facts, past, lists, Learned(decided, told)).classifier
        place = np.searchsorted(fitted.classes_.astype(str), jobs["cause"].iloc[later].to_numpy(dtype=str))
        return log_loss(fitted.predict_proba(both.iloc[later]), place)

    assert loss(2.0) < loss(None) - 0.01


def test_what_was_chosen_is_kept_when_more_jobs_are_learned(lists: pd.DataFrame) -> None:
    jobs = training_table(200)
    told = {"years": 2.0, "asked": 0, "log_loss": None, "tried": []}
    before = Learned(new_classifier(lists).fit(wide(jobs), jobs["cause"]), told)
    again = learn(wide(jobs), jobs, lists, before)
    assert again.half_life is told
    assert again.classifier.model_.jobs.sum() == pytest.approx(weigh(jobs["cure_date"], 2.0).sum())
    assert again.classifier.model_.jobs.sum() < 180


def test_histories_too_short_to_choose_by(lists: pd.DataFrame) -> None:
    one_day = training_table(400).assign(cure_date=pd.Timestamp("2025-03-01"))
    assert chosen(one_day, lists) is None
    assert (weigh(one_day["cure_date"], 2.0) == 1).all()
    for few in (1, 5, 60):
        assert chosen(training_table(few, days=TEN_YEARS, turns=True), lists) is None
    strange = training_table(400).assign(cause=[f"cause {k}" for k in range(400)])
    assert choose(wide(strange), strange["cause"], strange["cure_date"], lists)["tried"] == []  # none was met before


def test_without_lists_half_lives_are_tried_too() -> None:
    turned, steady = (training_table(1500, days=TEN_YEARS, turns=turns) for turns in (True, False))
    assert chosen(turned.assign(findings=[[]] * 1500), None) in HALF_LIVES
    assert chosen(steady.assign(findings=[[]] * 1500), None) is None


def test_a_weight_halves_and_one_mistyped_year_ages_nobody_else() -> None:
    days = pd.Series(pd.to_datetime(["2020-01-01", "2024-01-01"] + ["2026-01-01"] * 200))
    assert weigh(days, 2.0)[:3] == pytest.approx([0.125, 0.5, 1.0], abs=0.001)
    assert (weigh(days, None) == 1).all()
    mistyped = pd.concat([days, pd.Series([pd.Timestamp("2062-01-01")])], ignore_index=True)
    assert weigh(mistyped, 2.0)[:3] == pytest.approx([0.125, 0.5, 1.0], abs=0.001)


def test_train_keeps_the_choice_and_counts_whole_jobs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, quick_training: None
) -> None:
    years, tried = 2.0, [{"years": 2.0, "gain": 0.03, "error": 0.004}]
    choice = {"years": years, "asked": 300, "log_loss": 1.0, "tried": tried}
    with monkeypatch.context() as chosen_so:
        chosen_so.setattr(backtest, "choose", lambda *_: choice)
        database = workshop(tmp_path, training_table(120, days=TEN_YEARS))
        told = train(database)
    assert told["half_life"] == choice
    model = current_model(database)
    assert model is not None
    assert model.card["half_life"] == told["half_life"]
    assert sum(model.card["jobs_by_cause"].values()) == 120
    assert model.jobs.sum() < 60
    line = half_life_line(told["half_life"])
    assert line in views.scores(told)
    assert line in (database.folder_of_models / "0001" / "card.html").read_text(encoding="utf-8")
    train(workshop(tmp_path, training_table(60)), force=True)
    compared = compare_models(database, "0001", "0002").set_index("measure")
    assert compared.loc["half_life_years", "0001"] == years
    assert pd.isna(compared.loc["half_life_years", "0002"])


def test_the_choice_in_words() -> None:
    tried = [{"years": 5.0, "gain": 0.0224, "error": 0.003}, {"years": 2.0, "gain": 0.0312, "error": 0.004}]
    told = {"years": 2.0, "asked": 1252, "tried": tried}
    assert half_life_line(told) == (
        "A job weighs half after 2 years: gain 0.031 ± 0.004 on 1,252 later jobs; 5 years 0.022 ± 0.003."
    )
    assert half_life_line(told | {"years": None}).startswith("All jobs are weighted equally: on 1,252 later jobs")
    assert "too little to choose" in half_life_line(told | {"years": None, "tried": []})
