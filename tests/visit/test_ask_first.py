"""Where nothing was understood two questions are asked instead of a plan for everything that can break."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline import Workshop
from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.on_site.conversation import run
from pipeline.visit.ask import answered, ask
from pipeline.visit.ask_first import is_silent
from pipeline.words.appliance import about


@pytest.fixture
def workshop(no_jobs):
    return no_jobs


def test_two_questions_stand_in_for_a_plan(workshop):
    asked = workshop.causes(kind="washing machine", complaint="zzz qqq")
    told = asked.as_json()
    assert [step["do"] for step in told["steps"]] == ["ask", "ask"]
    assert told["steps"][0]["about"] == "complaint"
    assert set(told["steps"][0]["options"]) <= set(asked.trade.shares)
    assert len(told["steps"][0]["options"]) >= 5
    assert told["expected"]["money"] is None
    assert any("Nothing was understood" in line for line in asked.lines())
    assert sum(not line.startswith("!") for line in asked.lines()) <= 18


@pytest.mark.parametrize("more", [{"complaint": "not draining"}, {"found": ["water left=yes"]}])
def test_what_was_understood_gets_a_plan(workshop, more):
    assert workshop.causes(kind="washing machine", **more).visit is not None


def test_step_by_step_the_answer_is_taken_and_the_plan_follows(workshop):
    screens, keys = [], ["1", "q"]
    call = Call(kind="washing machine")
    told = run(
        workshop.database,
        workshop.words,
        workshop.settings,
        call,
        ask=lambda _: keys.pop(0) if keys else "q",
        say=screens.append,
    )
    steps = [line for line in screens if line.startswith("NEXT ")]
    assert steps[0].startswith("NEXT ask")
    assert not steps[1].startswith("NEXT ask")
    assert len(told["answer"]["asked"]["complaint"]) == 1
    assert told["record"]["complaint"] == told["answer"]["asked"]["complaint"][0]


def test_who_cannot_tell_gets_the_plan_all_the_same(workshop):
    screens, keys = [], ["0", "q"]
    run(
        workshop.database,
        workshop.words,
        workshop.settings,
        Call(kind="dishwasher"),
        ask=lambda _: keys.pop(0) if keys else "q",
        say=screens.append,
    )
    steps = [line for line in screens if line.startswith("NEXT ")]
    assert len(steps) == 2
    assert not steps[1].startswith("NEXT ask")


def test_odds_that_are_flat_say_that_looking_pays(workshop):
    flat = workshop.causes(kind="washing machine", complaint="not draining")
    assert max(flat.odds.causes.values()) < 0.3
    assert any("looking costs less than guessing" in remark for remark in flat.as_json()["remarks"])


def test_words_that_only_past_jobs_know_get_a_plan_where_they_settle_the_odds(workshop):
    question, trade = Question("washing machine", complaint="zzz qqq"), about(workshop.words, "washing machine")
    assert is_silent(question, {"blocked pump filter": 0.4, "torn door seal": 0.3}, trade)
    assert not is_silent(question, {"blocked pump filter": 0.7, "torn door seal": 0.2}, trade)


def test_such_a_plan_puts_nothing_under_power_beside_the_line_of_dangers(workshop):
    call = Call(kind="washing machine", complaint="not draining")
    (question,) = read_questions(workshop.words, workshop.database, [call])
    (known,) = ask(workshop.database, workshop.words, workshop.settings, [question])
    sure = replace(known.odds, causes={"drain pump seized or open circuit": 0.5, "suds lock": 0.5})
    powered = {card.name for card in known.costs.trade.checks if card.power == "needed"}
    first = {}
    for is_heard in (True, False):
        unheard = question if is_heard else replace(question, complaint="zzz qqq", symptoms=())
        told = answered(replace(known, question=unheard, odds=sure), ())
        assert told.visit is not None
        assert ("danger first" in told.alarms) is not is_heard
        first[is_heard] = told.steps[0].name
    assert first[True] in powered
    assert first[False] not in powered


def test_a_kind_that_no_list_holds_is_asked_about_until_the_workshop_says_that_it_is_one(tmp_path):
    lines = [f"2026-0{n}-01,samovar,J{n},S{n},leaks,thermostat failed,thermostat,fixed\n" for n in range(1, 5)]
    head = "visit_date,appliance_kind,job_no,serial,complaint,cause,parts,outcome\n"
    (tmp_path / "jobs.csv").write_text(head + "".join(lines), encoding="utf-8")
    decided = "list,written,decision\ncause,thermostat failed,own\ncure,thermostat failed,thermostat\n"
    (tmp_path / "cause.csv").write_text(decided, encoding="utf-8")
    (tmp_path / "kind.csv").write_text("list,written,decision\nkind,samovar,own\n", encoding="utf-8")
    with Workshop.open(tmp_path / "w.duckdb") as opened:
        opened.load([tmp_path / "jobs.csv"])
        opened.take_decisions(tmp_path / "cause.csv")
        answer = opened.causes(kind="samovar", complaint="leaks")
        assert [step["do"] for step in answer.as_json()["steps"]] == ["ask"] and answer.visit is None
        assert any("No list knows" in line and "review" in line for line in answer.lines())
        opened.take_decisions(tmp_path / "kind.csv")
        answer = opened.causes(kind="samovar", complaint="leaks")
        assert answer.as_json()["causes"][0]["cause"] == "thermostat failed"
        assert not any("No list knows" in line for line in answer.lines())
