"""What is seen faulty is put right next, what was found good is left alone, and a meter comes before a part."""

from __future__ import annotations

import pytest

from pipeline.call.question import Question
from pipeline.visit.plan import plan_visit
from tests.worlds.plan_orders import asked_of


def planned(workshop, kind, symptom, odds, **findings):
    """The plan of a call with odds of our own."""
    from pipeline.visit.circumstances import circumstances

    question = Question(kind, symptoms=(symptom,), findings={name.replace("_", " "): v for name, v in findings.items()})
    one = asked_of(workshop, question)
    return plan_visit(odds, one.costs, seen=set(question.findings), call=circumstances(question, one.costs.trade))


def nodes_after(visit, check, outcome):
    """Every point right after a check has shown something."""
    for node in visit.plan.nodes():
        if node.do == "check" and visit.checks[node.step].name == check:
            yield from (after for seen, _, after in node.branches if seen == outcome and after is not None)


LOCK = {"door lock faulty": 0.4, "control board failed": 0.35, "mains filter open": 0.2}


def test_a_door_lock_found_good_is_not_offered(workshop):
    visit = planned(workshop, "washing machine", "dead", LOCK, socket="live")
    good = list(nodes_after(visit, "inspect door lock", "good"))
    assert good
    for node in good:
        rest = visit.at(node).plan.nodes()
        assert all(visit.acts[one.step].name != "fit door lock" for one in rest if one.do == "act")


def test_a_part_whose_check_shows_it_faulty_is_fitted_next_without_another_look(workshop):
    visit = planned(workshop, "washing machine", "dead", LOCK, socket="live")
    burnt = list(nodes_after(visit, "inspect door lock", "burnt or broken"))
    assert burnt
    for node in burnt:
        assert visit.acts[node.step].name == "fit door lock"
        assert not node.is_looked_at


HOSE = {"split hose": 0.3, "vacuum filter clogged": 0.4, "blocked hose or head": 0.2}


def test_a_hose_seen_split_is_fitted_at_once(workshop):
    visit = planned(workshop, "vacuum cleaner", "no suction", HOSE, hose="split")
    first = visit.steps(1)[0]
    assert first.told == "fit suction hose"
    assert not first.look_minutes


def test_no_part_is_looked_at_before_its_meter_was_out(workshop):
    odds = {"heating element open circuit": 0.5, "scale bridging element": 0.2, "ntc probe out of range": 0.2}
    visit = planned(workshop, "washing machine", "does not heat", odds)
    waiting = [(visit.plan.root, frozenset())]
    while waiting:
        node, made = waiting.pop()
        if node.do == "act" and "heating element" in visit.acts[node.step].parts and node.is_looked_at:
            assert "measure heating element" in made
        made |= {visit.checks[node.step].name} if node.do == "check" else set()
        waiting += [(after, made) for _, _, after in node.branches if after is not None]


def test_nothing_is_looked_at_where_no_cause_shows(workshop):
    """Whether suds stand in it tells nothing of a heater, whatever a handful of jobs say."""
    odds = {"heating element open circuit": 0.5, "ntc probe out of range": 0.4}
    visit = planned(workshop, "washing machine", "does not heat", odds)
    assert not {"look for suds", "turn drum by hand"} & visit.plan.use().keys()


def test_nothing_is_written_off_before_it_was_looked_at(workshop):
    odds = {"cracked tank": 0.5, "torn door seal": 0.4}
    visit = planned(workshop, "dishwasher", "leaks", odds)
    made = {card.name for card in visit.checks}
    assert "look for a crack in the tank" in made
    for node in visit.plan.nodes():
        if node.do == "act" and visit.acts[node.step].name.startswith("advise"):
            cracked = list(nodes_after(visit, "look for a crack in the tank", "cracked"))
            assert node in cracked or any(node in visit.at(one).plan.nodes() for one in cracked)


def test_no_part_is_fitted_at_once_that_another_cause_would_spare(workshop):
    """A rough drum means bearings; whether the tub can be opened at all is looked at before a kit is fitted."""
    odds = {"worn drum bearings": 0.6, "worn bearings in a sealed tub": 0.15, "foreign object in tub or pump": 0.15}
    visit = planned(workshop, "washing machine", "noisy", odds)
    rough = list(nodes_after(visit, "turn drum by hand", "rough"))
    assert rough
    for node in rough:
        assert node.do == "check"
        assert visit.checks[node.step].name == "look at tub joint"


@pytest.mark.parametrize(
    ("symptom", "likelier", "measured"),
    [("dead", "door lock faulty", "inspect door lock"), ("does not spin", "worn motor brushes", "check motor brushes")],
)
def test_a_cause_that_nobody_said_how_to_cure_is_not_repaired_before_the_likelier_is_looked_at(
    workshop, symptom, likelier, measured
):
    visit = planned(workshop, "washing machine", symptom, {likelier: 0.5, "thing of ours": 0.45})
    names = [step.name for step in visit.steps()]
    assert names.index(measured) < names.index("repair: thing of ours")
    visit = planned(workshop, "washing machine", symptom, {likelier: 0.2, "thing of ours": 0.75})
    assert visit.steps()[0].name == "repair: thing of ours"
