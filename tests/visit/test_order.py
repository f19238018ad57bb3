"""The order of the steps over 144 calls: nothing a technician would call wrong, whatever it saves."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from pipeline.advice.kept import AdviceRow
from pipeline.visit.ask import answered, ask
from pipeline.visit.circumstances import circumstances, first_things_first, hazards
from pipeline.visit.plan_tree import tree
from pipeline.visit.question import Question
from pipeline.words.appliance import about
from tests.worlds.visit_workshop import open_workshop

CALLS = 144
LOOKS = {  # part → the check that an advice row names to come before it
    "level sensor": "blow through air tube",
    "drain pump": "listen to drain pump",
    "heating element": "measure heating element",
    "thermostat": "measure thermostat",
    "door lock": "inspect door lock",
    "inlet valve": "measure inlet valve coil",
    "evaporator fan": "listen to fan",
    "ceramic ring": "measure ring element",
}


@pytest.fixture(scope="module")
def workshop():
    with open_workshop() as opened:
        yield opened


@pytest.fixture(scope="module")
def answers(workshop):
    """Kinds by complaints by ages and things seen, as many as 144."""
    kinds = [str(kind) for kind in workshop.words.kinds()["kind"]]
    trades = {kind: about(workshop.words, kind) for kind in kinds}
    rows = [
        AdviceRow(part, tuple(kinds), None, None, None, None, 14, 19, 900.0, look, ()) for part, look in LOOKS.items()
    ]
    pairs = [(kind, symptom) for kind, trade in trades.items() for symptom in trade.shares]
    variants = [
        {"age_years": 2.0},
        {"age_years": 9.0},
        {"age_years": 5.0, "complaint": "now and then"},
    ]
    questions = [
        Question(kind, symptoms=(symptom,), **variant)
        for variant, (kind, symptom) in itertools.product(variants, pairs)
    ]
    for question in list(questions):
        seen = next((card for card in trades[question.kind].checks if len(card.values) == 2), None)
        if seen is not None:
            questions.append(replace(question, findings={seen.finding: seen.values[1]}))
    asked = ask(workshop.database, workshop.words, workshop.settings, questions[:CALLS])
    return [answer for one in asked if (answer := answered(one, rows)).visit is not None]


def walks(node, before=()):
    here = (*before, node)
    following = [after for _, _, after in node.branches if after is not None]
    if not following:
        yield here
    for after in following:
        yield from walks(after, here)


def counted(answers):
    """How often each wrong order is met over all walks of all plans."""
    wrong = dict.fromkeys(
        ("calls", "powered behind covers", "closed twice", "drained before look", "part before look"), 0
    )
    for answer in answers:
        visit = answer.visit
        wrong["calls"] += 1
        for walk in walks(visit.plan.root):
            opened, is_live, is_drained, closings = set(), True, False, 0
            made = set(answer.question.findings)
            for node in walk:
                if node.do == "close up":
                    opened, is_live, closings = set(), True, closings + 1
                elif node.do == "refill":
                    is_drained = False
                elif node.do == "check":
                    card = visit.checks[node.step]
                    if card.power == "needed":
                        wrong["powered behind covers"] += bool(opened) or not is_live
                    is_live = is_live and card.power != "off" and not card.access
                    opened |= {card.access} - {""}
                    wrong["drained before look"] += is_drained and card.water == "in"
                    is_drained |= card.water == "out"
                    made |= {card.name, card.finding}
                elif node.do == "act":
                    act = visit.acts[node.step]
                    opened |= act.access
                    is_live = is_live and act.power != "off"
                    is_drained |= act.water == "out"
                    made.add(act.looked_at_by)
                    cards = {card.name: card for card in visit.checks}
                    is_risky = any(
                        one.first for one in hazards(answer.question, visit.trade).values()
                    )  # that goes first
                    for part in act.parts:
                        look = LOOKS.get(part)
                        wrong["part before look"] += look in cards and look not in made and not is_risky
            wrong["closed twice"] += closings > 1
    return wrong


def test_no_order_is_wrong_in_144_calls(answers):
    wrong = counted(answers)
    assert wrong.pop("calls") > CALLS * 0.9
    assert wrong == dict.fromkeys(wrong, 0)


def test_what_is_blocked_and_seen_is_cleared_next(answers):
    seen = 0
    for answer in answers:
        visit = answer.visit
        for node in visit.plan.nodes():
            if node.do != "check":
                continue
            clears = visit.plan.problem.checks[node.step].clears
            for outcome, _, after in node.branches:
                if outcome in clears:
                    seen += 1
                    assert visit.acts[after.step].name == clears[outcome]
    assert seen > 50


def test_a_thing_already_seen_blocked_is_cleared_first(workshop):
    asked = workshop.causes(kind="washing machine", complaint="not draining", found=["pump filter=blocked"])
    assert asked.steps[0].name == "clear pump filter"


def test_looking_and_clearing_the_same_filter_is_one_job(workshop):
    asked = workshop.causes(kind="washing machine", complaint="not draining")
    costs = asked.costs
    card = next(card for card in asked.trade.checks if card.name == "inspect pump filter")
    act = next(act for act in asked.visit.acts if act.name == "clear pump filter")
    alone = act.minutes + costs.opening_minutes(act.access)
    both = costs.check_minutes(card) + costs.opening_minutes(costs.access_of(card) | act.access) + act.minutes
    assert both - alone == pytest.approx(costs.check_minutes(card))
    assert both < alone + card.minutes / 2


def test_the_complaint_that_stops_the_other_comes_first(workshop):
    trade = about(workshop.words, "washing machine")
    question = Question("washing machine", symptoms=("does not heat", "does not drain"))
    assert first_things_first(question, trade).symptoms == ("does not drain",)
    asked = workshop.causes(kind="washing machine", complaint="not heating, not draining")
    assert asked.as_json()["asked"]["complaint"] == ["does not heat", "does not drain"]
    assert any("comes first" in remark for remark in asked.as_json()["remarks"])
    assert any("comes first" in line for line in asked.lines())
    alone = workshop.causes(kind="washing machine", complaint="not draining")
    assert [step.name for step in asked.steps] == [step.name for step in alone.steps]


@pytest.mark.parametrize(
    ("text", "comes_and_goes"),
    [
        ("intermittently not heating", True),
        ("sometimes trips", True),
        ("not heating", False),
        ("läuft manchmal nicht", True),
    ],
)
def test_a_fault_that_comes_and_goes_is_known(workshop, text, comes_and_goes):
    trade = about(workshop.words, "washing machine")
    assert circumstances(Question("washing machine", complaint=text), trade).is_intermittent is comes_and_goes


def test_what_is_found_good_weighs_less_when_the_fault_comes_and_goes(workshop):
    steady = workshop.causes(kind="electric oven", complaint="not heating")
    now_and_then = workshop.causes(kind="electric oven", complaint="not heating, intermittent")

    def good(asked):
        checks = {check.name: check for check in asked.visit.plan.problem.checks}
        place = asked.visit.plan.problem.causes.index("oven element open circuit")
        return checks["measure heating element"].likelihood[place, 0]

    assert good(now_and_then) > good(steady) + 0.3


def test_a_board_is_hardly_known_by_eye(workshop):
    asked = workshop.causes(kind="washing machine", complaint="not draining")
    looks = {action.name: action.look for action in asked.visit.plan.problem.actions}
    assert looks["fit control board"].mistaken == pytest.approx(0.8)
    assert looks["fit drain pump"].mistaken == pytest.approx(0.1)


def test_a_cure_that_shows_at_once_is_not_unnoticed(workshop):
    def lost(complaint):
        asked = workshop.causes(kind="washing machine", complaint=complaint)
        return {a.name: a.failed for a in asked.visit.plan.problem.actions if a.look is None}

    assert set(lost("not draining").values()) == {0.0}
    assert min(lost("leaks").values()) > 0.0


def test_the_tree_of_a_sheet_shows_the_closing_up(answers):
    def steps(row):
        yield from row["steps"]
        for branch in row["branches"]:
            if branch["then"]:
                yield from steps(branch["then"])

    shown = [step for answer in answers for step in steps(tree(answer.visit)) if step["do"] == "close up"]
    assert all(step["caution_names"] and "power" in step["tells"] for step in shown)
