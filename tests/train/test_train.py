"""Learning from a workshop's cured jobs: exam by time, versions, the better model stays, drift is told."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from models.causes import evidence, features, storage
from models.evaluate.drift import stability_index
from pipeline.errors import ModelError, UsageError
from pipeline.settings import Settings
from pipeline.train.backtest import backtest
from pipeline.train.compare import compare_models
from pipeline.train.drift import drift
from pipeline.train.versions import IN_USE, current_model, list_models, name_in_use, use_model
from pipeline.words import Words
from tests.worlds import cause_world
from tests.worlds.cause_world import question, train, training_table, workshop

JOBS, PAST = 200, 160  # four fifths are learned from in the exam


@pytest.fixture(scope="module")
def learned(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    """What the first of two trainings told, and the folder of both models; copy it, never change it."""
    database = workshop(tmp_path_factory.mktemp("learned"), training_table(JOBS))
    with cause_world.quick_training():
        told = train(database)
        train(database)
    return told, database.folder_of_models


@pytest.fixture
def database(learned: tuple[dict[str, Any], Path], tmp_path: Path) -> Any:
    """The workshop that the models learned from, with a copy of them."""
    database = workshop(tmp_path, training_table(JOBS))
    shutil.copytree(learned[1], database.folder_of_models)
    return database


def test_trains_scores_and_beats_the_plain_ways(learned: tuple[dict[str, Any], Path], database: Any) -> None:
    told, _ = learned
    assert {"model", "episodes", "causes", "as_of", "scores", "baselines"} <= set(told)
    assert told["episodes"] == JOBS
    assert set(told["scores"]) == {"log_loss", "top1", "top3", "brier", "calibration_error"}
    assert set(told["baselines"]) == {"share by complaint", "naive Bayes", "logistic regression", "plain boosting"}
    for name in ("share by complaint", "naive Bayes"):
        assert told["scores"]["log_loss"] < told["baselines"][name]["log_loss"]
    model = current_model(database)
    assert model is not None
    assert model.card["exam_learned_to"] < model.card["as_of"]
    page = (database.folder_of_models / "0001" / "card.html").read_text(encoding="utf-8")
    assert "How good it is" in page
    assert "default-src 'none'" in page


def test_the_exam_learns_nothing_from_the_jobs_it_is_asked_about(tmp_path: Path, quick_training: None) -> None:
    table = training_table(JOBS)
    table.loc[PAST:, "cause"] = "only at the end"
    told = train(workshop(tmp_path, table))
    assert told["scores"] is None  # no held-out job had a cause that could be known
    card = storage.read_card(tmp_path / "shop.models" / "0001")
    assert card["never_seen_causes"] == JOBS - PAST


def test_too_few_jobs_are_told_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="12 cured jobs"):
        train(workshop(tmp_path, training_table(12)))
    assert current_model(workshop(tmp_path, training_table(12))) is None


def test_a_worse_model_does_not_replace_a_better_one(database: Any, tmp_path: Path, quick_training: None) -> None:
    spoiled = training_table(JOBS)
    spoiled.loc[: PAST - 1, "cause"] = np.random.default_rng(0).permutation(spoiled.loc[: PAST - 1, "cause"].to_numpy())
    database = workshop(tmp_path, spoiled)
    told = train(database)
    assert (told["model"], told["in_use"], told["replaced"]) == ("0003", "0002", False)
    assert "--force" in told["note"]
    assert train(database, force=True)["in_use"] == "0004"


def test_models_can_be_listed_compared_and_gone_back_to(database: Any) -> None:
    listed = list_models(database)
    assert listed["model"].tolist() == ["0001", "0002"]
    assert listed["is_in_use"].tolist() == [False, True]
    assert use_model(database, "0001") == {"in_use": "0001", "before": "0002"}
    assert name_in_use(database) == "0001"
    compared = compare_models(database, "0001", "0002")
    assert compared.columns.tolist() == ["measure", "0001", "0002"]
    same = compared.iloc[-1]
    assert same["measure"].startswith("log_loss on the same")
    assert same["0001"] == pytest.approx(same["0002"])
    for wrong in ("../0001", "9999", ""):
        with pytest.raises(UsageError):
            use_model(database, wrong)
        with pytest.raises(UsageError):
            compare_models(database, "0001", wrong)


def test_a_damaged_model_is_told_and_another_can_be_chosen(database: Any) -> None:
    (database.folder_of_models / "0002" / storage.WEIGHTS).write_bytes(b"broken")
    with pytest.raises(ModelError, match="models use"):
        current_model(database)
    with pytest.raises(ModelError):
        use_model(database, "0002")
    use_model(database, "0001")
    assert current_model(database) is not None
    (database.folder_of_models / IN_USE).write_text('{"model": "0007"}')
    with pytest.raises(ModelError):
        current_model(database)


def test_backtest_rolls_by_month_says_what_more_jobs_would_buy_and_tells_how_far_it_is(
    tmp_path: Path, quick_training: None
) -> None:
    said: list[str] = []
    database = workshop(tmp_path, training_table(250))
    told = backtest(database, Words.load(), Settings(), months=4, tell=said.append)
    assert [row["month"] for row in told["months"]] == sorted(row["month"] for row in told["months"])
    assert len(told["months"]) == 4
    assert "plain boosting" in told["baselines"]
    curve = told["learning_curve"]
    assert [row["learned_from"] for row in curve] == [50, 100, 200]
    assert curve[-1]["log_loss"] < curve[0]["log_loss"]
    assert told["scores"]["first_cause"]["uncertainty"] > 0
    bars = [line.split(" ", 1)[1] for line in said if line[0] in "█░"]
    shares = [f"{done} of 4 shares of the jobs" for done in (2, 3, 4)]
    assert bars == [*shares, "1 of 2 quarters", "2 of 2 quarters"]
    assert len([line for line in said if line.endswith("…")]) == 2


def test_drift_is_told_and_its_absence_too(database: Any) -> None:
    assert drift(database)["said"] == []
    changed = training_table(100, 1).assign(
        kind="dishwasher", codes=[["E99"]] * 100, cure_date=pd.Timestamp("2027-01-01"), cause="cause 3"
    )
    database.connection.register("newer", changed)
    database.connection.execute("insert into cause_example select * from newer")
    told = drift(database)
    assert told["jobs"] == 100
    assert told["new_words"] == 1.0
    assert len(told["said"]) >= 3
    (kinds,) = (line for line in told["said"] if "mix of kinds" in line)
    assert "dishwasher" in kinds
    assert "100% of the 100 newer jobs" in kinds


def test_stability_index_by_hand() -> None:
    # (.6 − .5) ln(.6 / .5) + (.4 − .5) ln(.4 / .5)
    assert stability_index({"a": 0.5, "b": 0.5}, {"a": 0.6, "b": 0.4}) == pytest.approx(0.0405465, abs=1e-6)
    assert stability_index({"a": 0.5, "b": 0.5}, {"b": 0.5, "a": 0.5}) == 0


def test_wide_tells_named_from_not_named_from_not_known() -> None:
    table = training_table(3)
    table["symptoms"] = [["noisy"], [], ["leaks", "noisy"]]
    table["codes"] = [["K07", "K08"], [], []]
    table["findings"] = [["water left=no", "water left=yes"], ["odd=a=b"], []]
    before = table.copy(deep=True)
    told = features.wide(table)
    assert told["symptom: leaks"].fillna("?").tolist() == ["no", "?", "yes"]
    assert told["code"].fillna("?").tolist() == ["K07", "?", "none"]
    assert told["finding: water left"].fillna("?").tolist() == ["yes", "?", "?"]
    assert told["finding: odd"].fillna("?").tolist() == ["?", "a=b", "?"]
    pd.testing.assert_frame_equal(table, before)


def test_a_question_is_coded_as_the_same_job_was() -> None:
    table = training_table(60)
    table = table[table["symptoms"].map(len) > 0].reset_index(drop=True)
    told = features.wide(table)
    job = table.iloc[0]
    asked = question(
        kind=job["kind"],
        make=job["make"],
        model_family=job["model_family"],
        age_years=job["age_years"],
        symptoms=job["symptoms"],
        codes=job["codes"],
        findings=dict(entry.split("=", 1) for entry in job["findings"]),
        on=job["first_visit_date"],
        known_columns=told.columns,
    )
    for name in told.columns:
        was, now = told[name].iloc[0], asked[name].iloc[0] if name in asked else None
        assert (pd.isna(was) and pd.isna(now)) or was == now, name


def test_a_question_outside_what_was_learned_is_called_so(database: Any) -> None:
    model = current_model(database)
    assert model is not None
    asked = question(
        kind="washing machine", symptoms=["symptom 0"], codes=["K07"], findings={"look": "seen 0"},
        known_columns=[column.name for column in model.columns],
    )  # fmt: skip
    assert model.classes_[model.predict_proba(asked)[0].argmax()] == "cause 0"
    assert evidence.outside_notes(model, asked) == [None]
    strange = question(kind="washing machine", make="Nobody", age_years=80.0, codes=["E77"])
    (note,) = evidence.outside_notes(model, strange)
    assert note is not None
    assert all(word in note for word in ("new make", "age", "new code"))


def test_interval_of_a_probability_is_wilsons() -> None:
    # Newcombe 1998, Stat. Med. 17, 857-872, Table I: 81 of 263, 95 %: .2553 to .3662
    low, high = evidence.interval(np.array([81 / 263]), 263)
    assert (round(float(low[0]), 4), round(float(high[0]), 4)) == (0.2553, 0.3662)
    assert [float(x[0]) for x in evidence.interval(np.array([0.3]), 0)] == [0.0, 1.0]


def test_jobs_without_a_finding_symptom_or_code_have_a_table_too() -> None:
    jobs = pd.DataFrame(
        {
            "kind": ["oven"] * 3,
            "make": ["Tavrik"] * 3,
            "model_family": [None] * 3,
            "age_years": [3.0, None, 5.0],
            "symptoms": [[], [], []],
            "codes": [[], [], []],
            "findings": [[], [], []],
        }
    )
    X = features.wide(jobs)
    assert len(X) == 3
    assert not [name for name in X.columns if name.startswith(("symptom: ", "finding: "))]
