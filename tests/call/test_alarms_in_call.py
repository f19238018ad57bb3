"""What can hurt is heard at every door and stands before all else; gas and refrigerant are referred."""

from __future__ import annotations

import pytest

from pipeline.advice.kept import kept
from pipeline.call.question import Call
from pipeline.call.read_call import read_questions
from pipeline.on_site.conversation import run
from pipeline.visit.ask import answered, ask
from pipeline.visit.plan import HAND_OVER
from pipeline.visit.plan_tree import tree
from pipeline.words.appliance import about
from tests.call.alarm_phrasings import (
    CAUGHT,
    DANGERS,
    DOOR,
    EARTH,
    FLEX,
    FUMES,
    NO_DANGERS,
    NO_DOOR,
    NO_EARTH,
    NO_FLEX,
    NO_FUMES,
    NO_SHOCK,
    NO_WATER,
    NOT_PIERCED,
    PIERCED,
    SHOCK,
    WATER,
    at_doors,
)
from tests.call.asked import asked_of, told_at
from tests.call.licensed_phrasings import GAS, NEITHER, REFRIGERANT

ALARMS = {
    "gives electric shock": (SHOCK, NO_SHOCK),
    "water at the mains": (WATER, NO_WATER),
    "flex or plug damaged": (FLEX, NO_FLEX),
    "door does not shut": (DOOR, NO_DOOR),
}


@pytest.mark.parametrize("alarm", ALARMS)
def test_an_alarm_is_heard_at_every_door(workshop, alarm):
    raising, only_sounding = ALARMS[alarm]
    assert len(set(raising)) >= 25
    assert len(set(only_sounding)) >= 10
    for phrasing, question in zip(raising, asked_of(workshop, raising), strict=True):
        assert alarm in question.symptoms, phrasing
        assert phrasing[2] not in question.not_understood, phrasing
        assert "dampers" not in question.findings, phrasing
        assert "takes too long" not in question.symptoms, phrasing
    for phrasing, question in zip(only_sounding, asked_of(workshop, only_sounding), strict=True):
        assert alarm not in question.symptoms, phrasing


def test_fumes_and_pierced_circuits_are_heard_at_every_door(workshop):
    for table, other, work in ((FUMES, NO_FUMES, "fumes"), (PIERCED, NOT_PIERCED, "refrigerant")):
        assert len(set(table)) >= 25
        assert len(set(other)) >= 10
        for phrasing, question in zip(table, asked_of(workshop, table), strict=True):
            assert question.licensed == work, phrasing
        for phrasing, question in zip(other, asked_of(workshop, other), strict=True):
            assert question.licensed != work, phrasing


def test_a_measured_earth_fault_is_believed_in_every_unit_and_at_both_doors(workshop):
    assert len(EARTH) >= 25
    assert len(NO_EARTH) >= 10
    for door in ("complaint", "found"):
        asked = asked_of(workshop, [(door, kind, text) for kind, text, _ in EARTH])
        for (kind, text, believed), question in zip(EARTH, asked, strict=True):
            assert believed in [f"{name}={value}" for name, value in question.findings.items()], (door, kind, text)
            assert question.is_unsafe(about(workshop.words, kind).unsafe), (door, kind, text)
            assert "sparks" not in question.symptoms, (door, kind, text)
            assert "smells of burning" not in question.symptoms, (door, kind, text)
        asked = asked_of(workshop, [(door, *one) for one in NO_EARTH])
        for one, question in zip(NO_EARTH, asked, strict=True):
            assert not question.is_unsafe(about(workshop.words, one[0]).unsafe), (door, one)


NO_ALARM = ("danger first",)


def test_dangers_of_other_peoples_lists_come_with_their_caution_first_and_no_power(workshop):
    for caution, lines in DANGERS.items():
        table = at_doors(lines)
        for phrasing, asked in zip(table, told_at(workshop, table), strict=True):
            assert asked.caution_names()[0] == caution, phrasing
            assert asked.visit is not None or asked.steps[0].do == "ask", phrasing
            powered = {card.name for card in asked.trade.checks if card.power == "needed"}
            assert asked.steps[0].name not in powered, phrasing


def test_whoever_is_caught_is_freed_first_and_nothing_is_planned(workshop, tmp_path, short_trees):
    table = at_doors(CAUGHT)
    for phrasing, asked in zip(table, told_at(workshop, table), strict=True):
        text = asked.trade.cautions["person caught"]
        assert asked.visit is None, phrasing
        assert asked.lines()[0] == f"! person caught: {text}", phrasing
        assert [step.do for step in asked.steps] == [HAND_OVER], phrasing
        assert asked.steps[0].name.startswith("free whoever is caught"), phrasing
        told = asked.as_json()
        assert told["carry"] == told["causes"] == told["advice"] == [], phrasing
    calls = tmp_path / "calls.csv"
    calls.write_text("appliance_kind,complaint\ndishwasher,my fingers are stuck in the hinge\n", encoding="utf-8")
    told = workshop.round(calls, tmp_path / "round.html")
    assert [row["cautions"] for row in told["ring_first"]] == [["person caught"]]
    assert told["van"] == []
    said: list[str] = []
    pressed = iter(["f her fingers are stuck in the door", "", "", ""])
    run(workshop.database, workshop.words, workshop.settings, Call(kind="washing machine", complaint="not draining"), ask=lambda _: next(pressed, ""), say=said.append)  # fmt: skip
    assert any(line.startswith("! person caught: ") for line in said)
    assert [line for line in said if line.startswith("NEXT ")][1].startswith("NEXT free whoever is caught")


def test_gas_of_which_nothing_smells_asks_for_licensed_people_without_an_alarm(workshop):
    said = {
        "the gas man passed everything as safe, the oven takes an hour to get up to heat": "licensed for gas",
        "the state of my rings is shocking I know, and one won't light though it clicks": "licensed for gas",
        "der Gasmann war da, alles dicht, aber der Backofen braucht ewig, er zischt": "gas",
        "one won't light and there is a whiff of it": "gas",
        "I don't know what it does": "gas",
    }
    for text, caution in said.items():
        one = workshop.causes(kind="gas oven", complaint=text)
        assert one.caution_names()[0] == caution, text
        assert one.visit is None
        assert "gives electric shock" not in one.question.symptoms
    for kind, called in (("hob", "hob"), ("induction hob", "electric hob")):
        one = workshop.causes(kind=kind, complaint="there's a smell of gas when I walk past")
        assert one.caution_names()[0] == "gas"
        assert any(line.startswith(f"{called}; ") for line in one.lines()), kind
    (at_another_door,) = told_at(workshop, [("notes", "gas oven", "smell of gas noticed")])
    assert at_another_door.caution_names()[0] == "gas"


def test_harmless_calls_of_other_peoples_lists_raise_no_alarm(workshop):
    table = at_doors(NO_DANGERS)
    for phrasing, asked in zip(table, told_at(workshop, table), strict=True):
        assert asked.alarms in ((), NO_ALARM), phrasing
        assert not asked.is_referred, phrasing


def test_where_nothing_was_understood_a_safety_line_stands_first(workshop):
    (asked,) = told_at(workshop, [("complaint", "washing machine", "qwertz")])
    text = asked.trade.cautions["danger first"]
    assert asked.steps[0].do == "ask"
    assert asked.lines()[0] == f"! danger first: {text}"
    assert asked.as_json()["cautions"][0] == text
    said: list[str] = []
    run(workshop.database, workshop.words, workshop.settings, Call(kind="washing machine", complaint="qwertz"), ask=lambda _: "q", say=said.append)  # fmt: skip
    assert any(text in line for line in said)


def test_sheets_name_the_safety_line_at_each_question_and_print_its_text(workshop, tmp_path, short_trees):
    calls = tmp_path / "calls.csv"
    calls.write_text("appliance_kind,complaint\nwashing machine,qwertz\n", encoding="utf-8")
    told = workshop.round(calls, tmp_path / "round.html")
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    assert page.count("<b>danger first</b>") >= len(told["calls"][0]["steps"]) >= 1
    assert "<dt>danger first</dt>" in page


SEEN = {
    ("fridge", "lead crushed by the fridge wheel, warm"): "do not use; unplug; fit mains cable",
    ("vacuum cleaner", "battery swollen, no suction"): "charger unplugged; pack outside; fit battery pack",
    ("electric oven", "the oven door glass exploded, clock wrong"): "do not use; isolate; fit oven door glass",
    ("electric hob", "hob glass cracked, ring dead"): "do not use; isolate; fit hob glass",
}


def test_a_danger_seen_is_not_looked_for_but_mended_first_also_beside_a_second_complaint(workshop):
    asked = told_at(workshop, [("complaint", *one) for one in SEEN])
    for (call, repair), one in zip(SEEN.items(), asked, strict=True):
        assert one.steps[0].name == repair, call
        assert one.is_unsafe, call


def test_after_good_tests_of_a_shock_leakage_and_supply_are_measured_not_the_other_complaint(workshop):
    said = "got a shock off it, leaks, wont drain, wont spin"
    call = Call(kind="washing machine", complaint=said, found=["earth continuity good", "insulation good"])
    question = read_questions(workshop.words, workshop.database, [call])
    asked = ask(workshop.database, workshop.words, workshop.settings, question)
    (one,) = [answered(each, kept(workshop.database)) for each in asked]
    assert one.causes[0].cause == "leakage or supply at fault"
    names = [step.name for step in one.steps]
    assert "have leakage current, socket and supply measured by a person allowed to" in names


FIRST = {
    ("washing machine", "I got an electric shock off it"): ("electric shock", "measure earth continuity"),
    ("vacuum cleaner", "got a shock off the hose"): ("electric shock", "insulation test at 500 V"),
    ("dishwasher", "flooded, water running into the socket"): ("water at mains", "insulation test at 500 V"),
    ("microwave oven", "door dont shut right, plate dosent turn"): ("microwave door", "look at door catch"),
    ("fridge", "mice chewed the cable"): ("damaged flex", "do not use; unplug; fit mains cable"),
    ("washing machine", "wont drain n smells of burning"): ("burning smell", "look and smell for burnt parts"),
    **{
        (kind, "trips RCD when it heats"): ("trips", "insulation test at 500 V")
        for kind in ("tumble dryer", "heat-pump dryer", "electric oven", "dishwasher", "washing machine")
    },
}


def test_what_can_hurt_is_looked_for_without_power_before_all_else(workshop):
    asked = told_at(workshop, [("complaint", *one) for one in FIRST])
    for (call, (caution, first)), one in zip(FIRST.items(), asked, strict=True):
        assert one.lines()[0].startswith(f"! {caution}: "), call
        assert one.as_json()["cautions"][0] == one.trade.cautions[caution], call
        assert one.steps[0].name == first, call
        powered = {card.name for card in one.trade.checks if card.power == "needed"}
        unsafe = one.is_unsafe

        def goes(row, is_first=True, unsafe=unsafe, powered=powered, call=call):
            for step in row["steps"]:
                is_first = is_first and step["do"] not in ("fit", "clear")
                assert step["name"] not in powered or not (unsafe or is_first), (call, step["name"])
            for branch in row["branches"]:
                if branch["then"]:
                    goes(branch["then"], is_first)

        goes(tree(one.visit))


def test_a_shock_is_followed_by_earth_and_insulation_before_any_repair(workshop):
    (one,) = told_at(workshop, [("complaint", "washing machine", "I got an electric shock off it")])

    def walk(row, seen):
        for step in row["steps"]:
            if step["do"] in ("fit", "clear"):
                assert {"measure earth continuity", "insulation test at 500 V"} <= seen
            seen = seen | {step["name"]}
        for branch in row["branches"]:
            if branch["then"]:
                walk(branch["then"], seen)

    walk(tree(one.visit), set())
    assert "protective earth broken" in [row.cause for row in one.causes]


def test_lint_is_no_cause_of_trips(workshop):
    (one,) = told_at(workshop, [("complaint", "tumble dryer", "trips RCD when it heats")])
    assert "lint blockage in air path" not in [row.cause for row in one.causes if row.probability > 0.05]


def test_a_shock_told_in_the_middle_of_a_visit_stops_it_with_the_caution_first(workshop):
    said: list[str] = []
    pressed = iter(["f got a shock off the door", "q"])
    run(workshop.database, workshop.words, workshop.settings, Call(kind="washing machine", complaint="not draining"), ask=lambda _: next(pressed, ""), say=said.append)  # fmt: skip
    steps = [line.removeprefix("NEXT ").split(" (")[0] for line in said if line.startswith("NEXT ")]
    assert steps[1] == "measure earth continuity"
    after = [line for line in said if line.startswith("! ")]
    assert any(line.startswith("! electric shock: ") for line in after)


def test_a_round_puts_a_shock_before_all_else(workshop, tmp_path, short_trees):
    calls = tmp_path / "calls.csv"
    calls.write_text(
        "appliance_kind,complaint,fault_code,findings,work_done\n"
        "washing machine,leaks,,,customer got a shock from the casing\n"
        "dishwasher,not draining,,plug wet,\n",
        encoding="utf-8",
    )
    told = workshop.round(calls, tmp_path / "round.html")
    assert [call["steps"][0]["name"] for call in told["calls"]] == [
        "measure earth continuity",
        "insulation test at 500 V",
    ]
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    assert "<dt>electric shock</dt>" in page
    assert "<dt>water at mains</dt>" in page


def test_gas_is_heard_at_every_door_and_gets_its_caution_first_and_no_step(workshop):
    for (door, kind, text), asked in zip(GAS, told_at(workshop, GAS), strict=True):
        assert asked.visit is None, (door, kind, text)
        told, lines = asked.as_json(), asked.lines()
        assert [step["name"] for step in told["steps"]] == ["refer to a person licensed for gas"]
        assert [step.do for step in asked.steps] == [HAND_OVER]
        smell, only_gas = "Smell of gas: touch no switch or plug;", "Gas: only people licensed for gas"
        is_smelt = asked.question.licensed == "gas smell" or not asked.question.symptoms
        assert told["cautions"][0].startswith(smell if is_smelt else (smell, only_gas)), (door, kind, text)
        assert lines[0].startswith(("! gas: Smell of gas:", "! licensed for gas: Gas: only")), (door, kind, text)
        assert "touch no switch or plug; gas off, windows open" in lines[0]
        assert not any("Isolate" in line for line in [*lines, *told["cautions"]])
        assert told["carry"] == told["causes"] == told["advice"] == []


def test_fumes_of_gas_get_their_own_words_before_those_of_gas(workshop):
    for phrasing, asked in zip(FUMES, told_at(workshop, FUMES), strict=True):
        assert asked.visit is None, phrasing
        told, lines = asked.as_json(), asked.lines()
        assert [step["name"] for step in told["steps"]] == ["refer to a person licensed for gas"]
        assert told["cautions"][0].startswith("Possible carbon monoxide: stop using it")
        assert told["cautions"][1].startswith("Smell of gas: touch no switch or plug;")
        assert lines[0].startswith("! carbon monoxide: ")


def test_refrigerant_goes_to_people_certified_for_it(workshop):
    for (door, kind, text), asked in zip(REFRIGERANT, told_at(workshop, REFRIGERANT), strict=True):
        assert asked.visit is None, (door, kind, text)
        assert [step.name for step in asked.steps] == ["refer to a person certified for refrigerants"]
        assert asked.as_json()["cautions"][0].startswith("Sealed refrigerant circuit")
        assert not asked.as_json()["carry"]


def test_what_only_sounds_like_gas_gets_its_plan(workshop):
    asked = ask(workshop.database, workshop.words, workshop.settings, asked_of(workshop, NEITHER))
    for phrasing, one in zip(NEITHER, asked, strict=True):
        assert one.has_plan, phrasing


def test_the_tables_of_phrasings_are_as_long_as_promised():
    assert len(set(GAS)) >= 80
    assert len(set(NEITHER)) >= 30


def test_a_round_hears_gas_in_any_column_and_loads_nothing_for_it(workshop, tmp_path):
    calls = tmp_path / "calls.csv"
    calls.write_text(
        "appliance_kind,complaint,fault_code,findings,work_done\n"
        "cooker,oven not heating,,,smell of gas noticed by last engineer\n"
        "cooker,oven not heating,,burner yellow,\n"
        "hob (gas),not working,,,\n"
        "Kühlschrank,zu warm,,Kältemittel fehlt,\n",
        encoding="utf-8",
    )
    told = workshop.round(calls, tmp_path / "round.html")
    names = [[step["name"] for step in call["steps"]] for call in told["calls"]]
    assert names[:3] == [["refer to a person licensed for gas"]] * 3
    assert names[3] == ["refer to a person certified for refrigerants"]
    assert told["van"] == []


def test_gas_told_in_the_middle_of_a_visit_ends_it_with_the_caution_first(workshop):
    said: list[str] = []
    pressed = iter(["f smell of gas behind it", "", "", ""])
    told = run(workshop.database, workshop.words, workshop.settings, Call(kind="electric oven", complaint="not heating"), ask=lambda _: next(pressed, ""), say=said.append)  # fmt: skip
    after = said[next(n for n, line in enumerate(said) if "touch no switch" in line) :]
    assert after[1] == "NEXT refer to a person licensed for gas"
    assert sum(line.startswith("NEXT ") for line in said) == 2
    assert told["outcome"] == "advice only"
    assert "smell of gas behind it" in told["record"]["work_done"]


def test_a_word_misheard_for_gas_can_be_taken_back_and_the_visit_goes_on(workshop):
    said: list[str] = []
    pressed = iter(["f gas meter cupboard smells of gas", "u", "q"])
    told = run(workshop.database, workshop.words, workshop.settings, Call(kind="electric oven", complaint="not heating"), ask=lambda _: next(pressed, ""), say=said.append)  # fmt: skip
    steps = [line for line in said if line.startswith("NEXT ")]
    assert steps == [steps[0], "NEXT refer to a person licensed for gas", steps[0]]
    assert said.index(steps[1]) > next(n for n, line in enumerate(said) if "touch no switch" in line)
    assert told["outcome"] == ""
    assert "gas" not in told["record"]["work_done"]


PLAN_OF_DANGER = {
    ("electric oven", "previous bloke bridged the thermostat so it gets far too hot"): (
        "undo the bypass and fit the safety device anew",
        "trips supply",
    ),
    ("washing machine", "my little lad got his hand in it and it started up with the door open"): (
        "inspect door lock",
        "door does not open or lock",
    ),
    ("tumble dryer", "keeps turning with the door open"): ("measure door switch", "door does not open or lock"),
    ("vacuum cleaner", "smells hot then cuts out"): ("look and smell for burnt parts", "trips supply"),
    ("tumble dryer", "smell of burning and it was smoking out the back, plug was brown and melted"): (
        "look and smell for burnt parts",
        "trips supply",
    ),
    ("washing machine", "mice chewed the wiring"): ("look over flex and plug", "trips supply"),
}


def test_the_plan_of_a_danger_begins_where_its_caution_says_and_invents_no_other_complaint(workshop):
    asked = told_at(workshop, [("complaint", *one) for one in PLAN_OF_DANGER])
    for (call, (first, invented)), one in zip(PLAN_OF_DANGER.items(), asked, strict=True):
        assert one.steps[0].name == first, call
        assert invented not in one.question.symptoms, call


def test_a_door_that_opens_while_running_is_no_handle(workshop):
    (one,) = told_at(workshop, [("complaint", "washing machine", "my daughter opened the door while it was spinning")])
    assert [row.cause for row in one.causes[:2]] == ["door lock faulty", "control board failed"]


def test_what_a_danger_says_by_itself_is_told_once(workshop):
    head = workshop.causes(kind="tumble dryer", complaint="plug has gone brown and soft").lines()
    assert any("; flex or plug damaged. " in line for line in head)
    assert not any("flex and plug damaged" in line for line in head)
