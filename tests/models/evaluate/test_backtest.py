"""The backtest: nothing that comes later is ever learned from, and what it says can be read."""

from __future__ import annotations

import re
from typing import Any

import pytest

from models.evaluate.backtest import FEWEST_TO_LEARN, MONTHS_A_FIT, learning_curve, roll
from models.evaluate.baselines import BASELINES
from pipeline.terminal import views
from reports.pages.backtest import backtest_page
from reports.pages.model_card import half_life_line
from tests.worlds.cause_world import quick_training, training_table

JOBS = 260


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    jobs = training_table(JOBS)
    with quick_training():
        rolled, curve = roll(jobs, 5, BASELINES), learning_curve(jobs)
    return rolled | {"learning_curve": curve, "episodes": JOBS, "page": "backtest.html"}


def test_a_quarter_learns_from_the_jobs_before_it(told: dict[str, Any]) -> None:
    jobs = training_table(JOBS)
    months = jobs["cure_date"].dt.to_period("M").astype(str)
    assert [row["month"] for row in told["months"]] == sorted(set(months))[-5:]
    for place, row in enumerate(told["months"]):
        first = told["months"][place - place % MONTHS_A_FIT]["month"]
        assert row["learned_from"] == (months < first).sum()
        assert row["jobs"] <= (months == row["month"]).sum()
    assert sum(row["jobs"] for row in told["months"]) == told["scores"]["jobs"]


def test_what_comes_later_changes_nothing_before_it(told: dict[str, Any]) -> None:
    jobs = training_table(JOBS)
    months = jobs["cure_date"].dt.to_period("M").astype(str)
    later = months > told["months"][MONTHS_A_FIT - 1]["month"]
    assert later.any()
    jobs.loc[later, "cause"] = jobs.loc[later, "cause"].iloc[::-1].to_numpy()
    jobs.loc[later, "make"] = "Strange"
    with quick_training():
        changed = roll(jobs, 5, BASELINES)
    assert changed["months"][:MONTHS_A_FIT] == told["months"][:MONTHS_A_FIT]
    assert changed["months"][MONTHS_A_FIT:] != told["months"][MONTHS_A_FIT:]


def test_the_terminal_shows_every_table(told: dict[str, Any]) -> None:
    lines = views.backtest(told)
    heads = [line.split("  ")[0].strip() for line in lines]
    for head in ("priorjobs", *BASELINES, "facts known", "kind", "month", "learned from"):
        assert head in heads, head
    assert all(len(line) <= 200 for line in lines)
    assert "reliability" in "\n".join(lines)
    assert half_life_line(told["half_life"]) in lines


def test_the_page_holds_the_same_numbers_and_reaches_for_nothing(told: dict[str, Any]) -> None:
    page = backtest_page(told)
    assert f"{told['scores']['log_loss']:.3f}" in page
    assert half_life_line(told["half_life"]) in page
    assert page.count("<circle") == len(told["reliability"])
    assert "default-src 'none'" in page
    assert not re.search(r'(src|href)="(?!#|data:)', page)


def test_too_few_jobs_say_so() -> None:
    few = roll(training_table(FEWEST_TO_LEARN), 12, BASELINES)
    assert few["scores"] is None
    assert "too few" in views.backtest(few | {"episodes": FEWEST_TO_LEARN, "learning_curve": [], "page": None})[0]
