"""A made workshop's truth against tables, provisional rate and advice (over many worlds: benchmarks/truth.py)."""

from __future__ import annotations

from typing import Any

import pytest

from demo_data.generator.make import MadeWorld
from demo_data.generator.technicians import HABITS
from models.statistics.survival import provisional_rate
from pipeline.advice.find import advice
from tests.benchmarks.truth import made_towns
from tests.worlds.made_world import staged, town
from tests.worlds.small_workshop import broken


@pytest.fixture(scope="module")
def made() -> MadeWorld:
    return town()


@pytest.fixture(scope="module")
def tables(made: MadeWorld) -> Any:
    return staged(made)


def test_what_must_hold_holds(tables: Any) -> None:
    assert broken(tables) == {}


def test_episodes_with_and_without_serials(made: MadeWorld, tables: Any) -> None:
    assert made_towns.episode_f1(tables, made.truth_visits)[2] >= 0.99
    assert made_towns.episode_f1(staged(made, with_serials=False), made.truth_visits)[2] >= 0.95


def test_verdicts_on_mature_episodes(made: MadeWorld, tables: Any) -> None:
    judged = made_towns.verdicts(tables, made)
    assert len(judged) > 2000
    assert (judged["verdict"] == judged["true"]).mean() >= 0.98
    blamed = judged[judged["verdict"] == "not the cause"]
    assert (blamed["true"] == "not the cause").mean() >= 0.98, "nobody is blamed wrongly"


def test_first_time_fix_of_months_that_are_over_is_that_of_the_world(made: MadeWorld, tables: Any) -> None:
    status = made_towns.first_time_fix(tables, made.truth_visits)
    over = status[(status["month"] > "2022-10-31") & (status["days_followed"] >= 61)]
    known = over[over["first_time_fix"].isin(["fixed first time", "not fixed first time", "not counted"])]
    assert len(known) > 3000
    # units without a serial may be taken for one another: 3 of 4,159 in this town
    assert (known["status"] == known["first_time_fix"]).mean() >= 0.999


def test_the_estimate_of_an_open_month_holds_what_the_month_ends_with(made: MadeWorld) -> None:
    status = made_towns.first_time_fix(staged(made, as_of=made_towns.DAY_OF_ESTIMATE), made.truth_visits)
    rows = status[status["month"] == made_towns.OPEN_MONTHS[0]]
    assert (rows["status"] == "not yet known").sum() > 20
    ended = rows["first_time_fix"].value_counts()
    rate = ended["fixed first time"] / (ended["fixed first time"] + ended["not fixed first time"])
    estimate = provisional_rate(rows, 30)
    assert estimate.low <= rate <= estimate.high


def test_the_commonest_planted_habits_are_found_and_nothing_else(tables: Any) -> None:
    rows = advice(tables)
    assert {"heating element", "control board", "thermostat"} <= set(rows["part"])
    assert set(rows["part"]) <= {habit.part for habit in HABITS}
    assert len(rows) <= 2 * len(HABITS)
    assert (rows["count"] >= 5).all()
    assert (rows["p_adjusted"] <= 0.05).all()


def test_without_habits_there_is_no_advice() -> None:
    assert advice(staged(town(swap_habit=False))).empty
