"""The demo, end to end, against its truth: both exports loaded as a user would, nothing told to the program."""

from __future__ import annotations

import json

import duckdb
import numpy as np
import pandas as pd
import pytest

import demo_data
import sql
from demo_data import generator
from pipeline import Workshop
from tests.conftest import Demo


@pytest.fixture(scope="module")
def warehouse(demo: Demo):
    with Workshop.open(demo.db, read_only=True) as workshop:
        yield workshop.database.connection


@pytest.fixture(scope="module")
def truth(warehouse: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """One row a loaded visit, with what the world knows of it."""
    true = pd.read_csv(generator.TRUTH_VISITS, dtype=str, keep_default_na=False)
    true["line_no"] = true["line_no"].astype(int)
    loaded = warehouse.execute(
        """
        select visit.*, is_weak_identity, load_batch.file_name as file, episode_visit.episode_id, episode.is_mature, episode.is_left_truncated
        from visit join load_batch using (batch_id) join episode_visit using (visit_id) join episode using (episode_id) join appliance on appliance.appliance_id = visit.appliance_id
        """
    ).df()
    is_own = true["symptoms"].str.contains("~", regex=False)
    true["is_in_own_words"] = true["episode"].isin(set(true.loc[is_own, "episode"]))  # words that no list holds
    both = loaded.merge(true, on=["file", "line_no"], suffixes=("", "_true"), validate="1:1")
    assert len(both) == len(loaded), "every loaded visit is known to the world"
    return both


def test_every_line_is_accounted_for(warehouse: duckdb.DuckDBPyConnection) -> None:
    rows = warehouse.execute(
        "select lines_read, loaded, unchanged, rejected from load_batch order by batch_id"
    ).fetchall()
    assert [read for read, *_ in rows] == [4968, 1063]
    assert all(read == loaded + unchanged + rejected for read, loaded, unchanged, rejected in rows)
    assert warehouse.execute("select count(*) from rejected_record").fetchall() == [(sum(row[3] for row in rows),)]


def test_what_must_hold_holds(warehouse: duckdb.DuckDBPyConnection) -> None:
    assert {name: rows for name, rows in sql.offenders(warehouse).items() if rows} == {}


def pairs(groups: pd.Series) -> float:
    return float((groups * (groups - 1) / 2).sum())


def pairwise_f1(frame: pd.DataFrame) -> float:
    both = pairs(frame.groupby(["episode_id", "episode"]).size())
    return 2 * both / (pairs(frame.groupby("episode_id").size()) + pairs(frame.groupby("episode").size()))


def test_episodes_are_those_of_the_world(truth: pd.DataFrame) -> None:
    has_serial = ~truth["is_weak_identity"]
    assert pairwise_f1(truth) >= 0.97
    assert pairwise_f1(truth[has_serial]) >= 0.985
    assert pairwise_f1(truth[~has_serial]) >= 0.95
    understood = truth[~truth["is_in_own_words"]]
    assert pairwise_f1(understood[~understood["is_weak_identity"]]) >= 0.99


def test_verdicts_of_mature_episodes_are_those_of_the_world(
    warehouse: duckdb.DuckDBPyConnection, truth: pd.DataFrame
) -> None:
    true = pd.read_csv(generator.TRUTH_PARTS)[["file", "line_no", "part_no", "verdict"]]
    found = warehouse.execute(
        "select visit_id, part_line_id, verdict, row_number() over (partition by visit_id order by part_line_id) as part_no"
        " from part_verdict"
    ).df()
    mature = truth[truth["is_mature"] & ~truth["is_left_truncated"]]
    both = found.merge(mature[["visit_id", "file", "line_no"]], on="visit_id").merge(
        true, on=["file", "line_no", "part_no"], suffixes=("", "_true")
    )
    assert len(both) > 1500
    assert (both["verdict"] == both["verdict_true"]).mean() >= 0.98


def test_first_time_fix_of_closed_months_is_that_of_the_world(
    warehouse: duckdb.DuckDBPyConnection, truth: pd.DataFrame
) -> None:
    found = warehouse.execute("select episode_id, month, status from first_time_fix").df()
    first = truth[(truth["visit_id"] == truth["episode_id"]) & (truth["first_time_fix"] != "left truncated")]
    both = found.merge(first[["episode_id", "first_time_fix", "is_in_own_words"]], on="episode_id")
    is_known = both["status"] != "not yet known"
    assert is_known.sum() > 4000
    # a complaint that no list holds ties a visit to no earlier one: such returns pass for new faults
    assert (both["status"] != both["first_time_fix"])[is_known].mean() <= 0.015
    # the rest are faults split in two: the first sheet has no serial, or the return is told with other words (8 of 3,537)
    assert (both["status"] != both["first_time_fix"])[is_known & ~both["is_in_own_words"]].mean() <= 0.003
    latest = both.loc[is_known, "month"].max()
    assert (both.loc[~is_known, "month"] > latest - pd.DateOffset(months=3)).all(), "only the last months are open"


def test_values_are_read_as_the_world_wrote_them(truth: pd.DataFrame) -> None:
    assert (truth["outcome"] == truth["outcome_true"]).mean() >= 0.99
    true_age = pd.to_numeric(truth["age"])
    given = truth["age_years"].notna() & true_age.notna()
    assert given.mean() > 0.7
    assert (truth["age_years"] - true_age)[given].abs().lt(0.6).mean() >= 0.99


def test_complaints_are_understood_and_never_turned_round(
    warehouse: duckdb.DuckDBPyConnection, truth: pd.DataFrame
) -> None:
    said = {
        (visit_id, item.lstrip("-?~"), item.startswith("-"))
        for visit_id, text in zip(truth["visit_id"], truth["symptoms"], strict=True)
        for item in filter(None, text.split("|"))
        if item != "lamps or code shown" and not item.startswith("~")
    }
    own = {
        (visit_id, item[1:])
        for visit_id, text in zip(truth["visit_id"], truth["symptoms"], strict=True)
        for item in text.split("|")
        if item.startswith("~")
    }
    heard = set(
        warehouse.execute(
            "select visit_id, symptom, is_negated from visit_symptom where source = 'complaint' and symptom <> 'lamps or code shown'"
        ).fetchall()
    )
    heard = {item for item in heard if item[:2] not in own}
    right = said & heard
    assert len(right) / len(heard) >= 0.97
    assert len(right) / len(said) >= 0.97
    negated = {item for item in said if item[2]}
    turned = {(v, s, not n) for v, s, n in negated} & heard
    assert len(negated) > 200
    assert len(turned) / len(negated) <= 0.02


def test_the_model_beats_its_baselines_on_later_jobs(demo: Demo) -> None:
    card = json.loads(next((demo.db.with_suffix(".models")).rglob("card.json")).read_text())
    scores, baselines = card["scores"], card["baselines"]
    assert {"share by complaint", "naive Bayes", "logistic regression"} <= set(baselines)
    for name in ("share by complaint", "naive Bayes"):
        assert scores["log_loss"] < baselines[name]["log_loss"], name
    assert scores["calibration_error"] < 0.2  # 90 later jobs: the tests' demo learns from its newest 450


def test_the_story_of_the_element_and_the_lint_is_found(warehouse: duckdb.DuckDBPyConnection) -> None:
    wrong, judged = warehouse.execute(
        """
        select
            count(*) filter (verdict = 'not the cause' and confirmed_cause in
                ('lint blockage in air path', 'thermal cut-out tripped by poor airflow')),
            count(*) filter (verdict in ('cured', 'not the cause'))
        from part_verdict join episode using (episode_id) where part = 'heating element' and episode.kind = 'tumble dryer'
        """
    ).fetchall()[0]
    assert wrong >= 20
    assert wrong / judged > 0.2


def test_the_demo_says_where_to_look_and_what_it_found(demo: Demo) -> None:
    assert len(demo.told["found"]) == 3
    assert all(np.all([(demo.folder / path).exists()]) for path in demo.told["made"].values())
    assert len(demo.progress) >= 5


def test_a_second_load_of_the_same_file_changes_nothing(demo: Demo, tmp_path) -> None:
    db = tmp_path / "again.duckdb"
    db.write_bytes(demo.db.read_bytes())
    db.with_suffix(".key").write_bytes(demo.db.with_suffix(".key").read_bytes())
    with Workshop.open(db) as workshop:
        before = workshop.table("part_verdict")
        again = workshop.load([demo_data.FILES["jobs"]]).as_json()["totals"]
        assert again["loaded"] == again["replaced"] == 0
        assert again["read"] == again["unchanged"] + again["rejected"]
        pd.testing.assert_frame_equal(before, workshop.table("part_verdict"))
