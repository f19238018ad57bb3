"""Causes written in different words stay apart, and what the lists joined is taken apart by one decision."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest

from pipeline.words import Words
from pipeline.workshop import Workshop

APART = [
    ("electric oven", "fan element open", "grill element open"),
    ("electric oven", "oven element open", "base element open"),
    ("fridge-freezer", "fan stopped", "cold air fan stopped"),
    ("washing machine", "pump seized", "greywater pump seized"),
    ("washing machine", "foreign object in pump", "grit under pump flap"),
    ("washing machine", "drive motor fault", "water got into motor plug"),
    ("tumble dryer", "lint path blocked", "vent pipe squashed behind dryer"),
    ("electric oven", "hinge bent", "door hinge drooping"),
    ("fridge-freezer", "evaporator fan stuck", "condenser fan stuck"),
]
ALIKE = [
    ("washing machine", "Drain pump seized", "faulty drain pump"),
    ("washing machine", "coins in pump filter", "pump filter blocked"),
    ("tumble dryer", "? element o/c", "heating element open circuit"),
    ("dishwasher", "circ pump weak", "circulation pump worn"),
    ("washing machine", "pump seized", "pump seized, replaced"),
    ("washing machine", "inlet valve coil open", "fill valve coil o/c"),
    ("washing machine", "pump filter blocked", "pump filter full of dog hair"),
]
JOBS = """visit_date,appliance_kind,job_no,make,serial,complaint,cause,parts,outcome
2026-01-05,W/M,J1,Tavrik,T1,not draining,drain pump seized,drain pump,fixed
2026-01-06,W/M,J2,Tavrik,T2,not draining,outlet pump seized,drain pump,fixed
2026-01-07,W/M,J3,Tavrik,T3,not draining,? outlet pump seized,drain pump,fixed
"""


@pytest.mark.parametrize(("kind", "one", "other"), APART)
def test_words_that_no_phrase_accounts_for_keep_causes_apart(kind: str, one: str, other: str) -> None:
    terms = Words.load(("en",)).match("cause", pd.Series([one, other]), pd.Series([kind, kind]))["term"]
    assert terms[0] != terms[1]


@pytest.mark.parametrize("doubt", ["possibly {}", "? {}", "poss. {}", "vermutlich {}", "{}?"])
def test_doubt_makes_no_other_cause_of_the_workshops_own(doubt: str) -> None:
    cells = pd.Series(["grit under pump flap", doubt.format("grit under pump flap")])
    read = Words.load(("en",)).match("cause", cells, pd.Series(["washing machine"] * 2))
    assert read["term"].nunique() == 1
    assert read["is_doubtful"].tolist() == [False, True]


@pytest.mark.parametrize(("kind", "one", "other"), ALIKE)
def test_two_wordings_of_one_cause_are_one(kind: str, one: str, other: str) -> None:
    read = Words.load(("en",)).match("cause", pd.Series([one, other]), pd.Series([kind, kind]))
    assert read["term"][0] == read["term"][1]
    assert read["is_understood"].all()


def test_what_was_joined_is_listed_and_taken_apart(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(JOBS, encoding="utf-8")
    with Workshop.open(tmp_path / "workshop.duckdb") as workshop:
        workshop.load([tmp_path / "jobs.csv"])
        listed = workshop.to_review().query("asks.str.startswith('read as')")
        assert listed[["written", "uses", "suggestion"]].to_numpy().tolist() == [
            ["outlet pump seized", 2, "drain pump seized or open circuit"]
        ]
        with (tmp_path / "decided.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerows([["list", "written", "decision"], ["cause", "outlet pump seized", "own"]])
        workshop.take_decisions(tmp_path / "decided.csv")
        causes = workshop.table("visit").sort_values("job_no")["cause"].tolist()
        assert causes == ["drain pump seized or open circuit", "outlet pump seized", "outlet pump seized"]
        assert workshop.to_review().query("asks.str.startswith('read as')").empty
