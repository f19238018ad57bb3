"""The order of the steps over many calls: nothing a technician would call wrong, whatever it saves."""

from __future__ import annotations

import pytest

from pipeline.call.question import Question
from pipeline.visit.circumstances import circumstances, first_things_first
from pipeline.visit.plan_tree import tree
from pipeline.words.appliance import about
from tests.worlds.plan_orders import WRONG, answers, counted
from tests.worlds.shared import times

CALLS = times(20)  # 144 in tests/benchmarks/truth/plan_order.py


@pytest.fixture(scope="module")
def told(workshop):
    return answers(workshop, CALLS)


def test_no_order_is_wrong(told):
    assert len(told) > CALLS * 0.8
    assert counted(told) == dict.fromkeys(WRONG, 0)


def test_what_is_blocked_and_seen_is_cleared_next(told):
    seen = 0
    for answer in told:
        visit = answer.visit
        for node in visit.plan.nodes():
            if node.do != "check":
                continue
            clears = visit.plan.problem.checks[node.step].clears
            for outcome, _, after in node.branches:
                if outcome in clears:
                    seen += 1
                    assert visit.acts[after.step].name == clears[outcome]
    assert seen > 10


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
    both = workshop.causes(kind="washing machine", complaint="dead, noisy, leaks").as_json()["remarks"]
    assert [str(one) for one in both if "comes first" in str(one)] == [
        "dead comes first: until it is cured, leaks, noisy cannot be judged"
    ]
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


def test_the_tree_of_a_sheet_shows_the_closing_up(told):
    def steps(row):
        yield from row["steps"]
        for branch in row["branches"]:
            if branch["then"]:
                yield from steps(branch["then"])

    shown = [step for answer in told for step in steps(tree(answer.visit)) if step["do"] == "close up"]
    assert all(step["caution_names"] and "power" in step["tells"] for step in shown)


def test_what_anyone_can_see_comes_before_any_part_and_any_panel(workshop):
    steps = [step.name for step in workshop.causes(kind="washing machine", complaint="does not fill").steps]
    tap = min(steps.index(name) for name in ("check tap and flow", "open tap and advise") if name in steps)
    assert tap < steps.index("measure inlet valve coil")
    assert "fit inlet valve" not in steps[: steps.index("measure inlet valve coil")]
    clock = [step.name for step in workshop.causes(kind="electric oven", complaint="does not heat").steps]
    assert clock.index("look at the clock") < clock.index("measure heating element")


def test_a_filter_seen_clear_is_not_cleared(workshop):
    def names(found):
        asked = workshop.causes(kind="dishwasher", complaint="does not drain", found=found)
        return {visit_step(asked.visit, node) for node in asked.visit.plan.nodes()}

    def visit_step(visit, node):
        return "" if node.step < 0 else (visit.acts if node.do == "act" else visit.checks)[node.step].name

    assert "clean sump filter" in names([])
    assert "clean sump filter" not in names(["sump filter=clear"])
    assert "clean sump filter" in names(["sump filter=blocked"])


def test_a_dead_machine_is_not_asked_to_test_itself_first(workshop):
    steps = [step.name for step in workshop.causes(kind="washing machine", complaint="dead").steps]
    assert steps[0] != "run service test"


@pytest.mark.parametrize(
    ("kind", "complaint", "clears"),
    [
        ("tumble dryer", "no heat, filter and duct full of fluff", "clear lint and air path"),
        ("tumble dryer", "no heat, lint filter was chokka", "clear lint and air path"),
        ("washing machine", "not draining, filter blocked", "clear pump filter"),
    ],
)
def test_what_was_told_blocked_is_cleared_before_any_look(workshop, kind, complaint, clears):
    assert workshop.causes(kind=kind, complaint=complaint).steps[0].name == clears


@pytest.mark.parametrize("complaint", ["iced up at the back, not cold", "thick ice all over the back wall"])
def test_what_made_ice_did_run_and_is_not_to_be_stood_warmer(workshop, complaint):
    asked = workshop.causes(kind="freezer", complaint=complaint)
    assert "compressor off" in asked.question.cleared
    assert not any("warmer" in act.name for act in asked.visit.acts)


@pytest.mark.parametrize("kind", ["electric hob", "induction hob"])
def test_the_terminals_of_a_dead_hob_are_looked_at_before_any_part(no_jobs, kind):
    asked = no_jobs.causes(kind=kind, complaint="completely dead")
    paths, waiting = 0, [(asked.visit.plan.root, False)]
    while waiting:
        node, is_seen = waiting.pop()
        step = asked.visit.step(node)
        is_seen |= step.name == "look at terminal block"
        assert is_seen or not step.parts, step.name
        paths += bool(step.parts)
        if not asked.visit.ends_with(node):
            waiting += [(after, is_seen) for _, _, after in node.branches if after is not None]
    assert paths


@pytest.mark.parametrize("complaint", ["bangs and walks across the kitchen when it spins", "wandert durch die Küche"])
def test_a_machine_that_walks_has_something_loose_or_stands_uneven(workshop, complaint):
    asked = workshop.causes(kind="washing machine", complaint=complaint)
    assert asked.causes[0].cause in ("worn dampers", "loose counterweight", "appliance not level")
    assert {"feel counterweight", "press drum to test dampers"} & {step.name for step in asked.steps}
    assert "weight" in asked.caution_names()
