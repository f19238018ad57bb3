"""Why a cause is likely: each fact's odds ratio is what the odds would change by had it not been told."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.call.question import Question
from pipeline.visit.odds import Odds
from pipeline.visit.why import reasons, untold


def odds(**causes: float) -> Odds:
    return Odds(causes, 0.0, None, None)


def test_each_fact_is_left_out_alone() -> None:
    question = Question(
        "washing machine", make="Tavrik", model="WX 9", model_family="WX", age_years=6.04, symptoms=("no spin",),
        codes=("E18",), findings={"water left": "no", "brushes": "worn"}, complaint="wont spin", on=dt.date(2026, 7, 1),
    )  # fmt: skip
    told = untold(question)
    assert list(told) == [
        "complaint: no spin", "code E18", "make Tavrik", "model WX 9", "age 6.04 years", "season June to August", "water left=no", "brushes=worn",
    ]  # fmt: skip
    assert told["complaint: no spin"].symptoms == () and told["complaint: no spin"].complaint == ""
    assert told["complaint: no spin"].codes == ("E18",)
    assert told["brushes=worn"].findings == {"water left": "no"}
    assert untold(Question("dishwasher")) == {}


def test_a_fact_is_worth_the_odds_with_it_over_the_odds_without() -> None:
    got = reasons(odds(pump=0.75, hose=0.25), {"age": odds(pump=0.6, hose=0.4), "code": odds(pump=0.9, hose=0.1)})
    assert [(reason.fact, reason.odds_ratio) for reason in got["pump"]] == [
        ("code", pytest.approx(3 / 9)),
        ("age", pytest.approx(3 / 1.5)),
    ]
    assert {reason.fact: reason.as_json()["odds_ratio"] for reason in got["hose"]} == {"age": 0.5, "code": 3.0}
