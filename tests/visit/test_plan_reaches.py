"""The plan reaches what is likely: it is looked at or put right, or the plan says why not."""

from __future__ import annotations

import pytest

from models.plan.likelihood import NORMAL
from pipeline.advice.kept import kept
from pipeline.call.question import Question
from pipeline.visit.ask import answered, ask
from pipeline.visit.looks_for_own_causes import is_seen_by_anyone
from pipeline.visit.plan import plan_visit
from pipeline.words.appliance import about

LIKELY = 0.2  # odds from which a cause has to be in the plan
KINDS = [
    "washing machine", "washer-dryer", "tumble dryer", "heat-pump dryer", "dishwasher", "fridge-freezer",
    "electric oven", "electric hob", "microwave oven", "cooker hood", "coffee machine", "vacuum cleaner",
]  # fmt: skip


@pytest.fixture(scope="module")
def every(no_jobs):
    """The answer to each complaint of each kind."""
    asked = [
        Question(kind, symptoms=(complaint,), complaint=complaint)
        for kind in KINDS
        for complaint in sorted(about(no_jobs.words, kind).shares)
    ]
    told = ask(no_jobs.database, no_jobs.words, no_jobs.settings, asked)
    return [answered(one, kept(no_jobs.database)) for one in told]


def reached(visit):
    """Steps of a plan up to where the visit is asked again."""
    waiting, names = [visit.plan.root], set()
    while waiting:
        node = waiting.pop()
        names.add(visit.step(node).name)
        if not visit.ends_with(node):
            waiting += [after for _, _, after in node.branches if after is not None]
    return names


def test_every_likely_cause_that_has_a_repair_and_a_check_is_in_the_plan(every):
    missing = []
    for answer in every:
        visit, names = answer.visit, reached(answer.visit)
        for cause, p in answer.odds.causes.items():
            if p < LIKELY or answer.trade.is_licensed(cause):
                continue
            place = visit.costs.signs.own_check(cause)
            cures = {act.name for act in visit.acts if cause in act.cures}
            if place and not names & {place.name, *cures}:
                missing.append((answer.question.kind, answer.question.symptoms, cause, round(p, 2)))
    assert len(every) > 100
    assert missing == []


def test_no_plan_asks_again_after_a_repair_that_it_does_not_name(every):
    for answer in every:
        steps = [str(step.name) for step in answer.steps]
        if "after the repair and its tests: ask again" in steps:
            assert steps[-1] == "after the repair and its tests: ask again"
            assert len(steps) > 1
            assert not steps[-2].startswith("advise")


def test_no_check_is_made_that_changes_nothing(every):
    idle = []
    for answer in every:
        visit = answer.visit
        strict = {first.check for first in visit.plan.problem.first if first.is_strict}
        strict |= visit.plan.problem.before_handover
        for node in visit.plan.nodes():
            check = visit.plan.problem.checks[node.step] if node.do == "check" else None
            after = [then for _, _, then in node.branches if then is not None]
            if check is None or check.name in strict or check.forbids or not after:
                continue
            moved = max(abs(then.p - node.p).max() for then in after)
            if moved < 0.02 and len({(then.do, then.step) for then in after}) == 1 and node.reach > 0.3:
                idle.append((answer.question.kind, answer.question.symptoms, check.name))
    assert len(idle) <= 2, idle


def test_a_sparking_microwave_is_looked_into_before_anything_is_advised(no_jobs):
    asked = no_jobs.causes(kind="microwave", complaint="sparks inside when it's on")
    visit = asked.visit
    assert asked.steps[0].name == "look at waveguide cover and cavity"
    (seen,) = [after for outcome, _, after in visit.plan.root.branches if outcome == "burnt or dirty"]
    assert visit.step(seen).name == "fit waveguide cover"


@pytest.mark.parametrize(
    ("cause", "is_seen"),
    [
        ("vent hose crushed behind dryer", True),
        ("Abluftschlauch geknickt", True),
        ("door hinge sagging", True),
        ("cabinet touching worktop", True),
        ("scale flake under pump flap", False),
        ("door lock board dry joint", False),
        ("worn drum bearings", False),
    ],
)
def test_what_anyone_can_see_of_a_cause_of_own_words(cause, is_seen):
    assert is_seen_by_anyone(cause) is is_seen


def test_a_hose_that_only_the_workshop_names_is_looked_at_before_any_panel(workshop):
    asked = workshop.causes(kind="tumble dryer", complaint="takes too long to dry")
    hose = "vent hose crushed behind dryer"
    assert hose in asked.odds.causes
    visit = plan_visit({hose: 0.3, "heating element open circuit": 0.4, "ntc probe out of range": 0.2}, asked.costs)
    assert str(visit.step(visit.plan.root).name).endswith(hose)
    (seen,) = [after for outcome, _, after in visit.plan.root.branches if outcome == "yes"]
    assert visit.step(seen).name == f"repair: {hose}"


def test_a_usual_value_is_named_for_every_check(no_jobs):
    for kind in KINDS:
        for card in about(no_jobs.words, kind).checks:
            if len(card.values) > 2 and card.finding not in ("bench result", "where it leaks"):
                assert card.values[0] in NORMAL, (kind, card.name)


@pytest.mark.parametrize(
    ("kind", "found"),
    [("fridge", "compressor=clicks"), ("fridge-freezer", "evaporator=bare"), ("heat-pump dryer", "lint path=clear")],
)
def test_nobody_is_referred_before_the_looks_that_anyone_may_do(workshop, kind, found):
    complaint = "not drying" if "dryer" in kind else "not cold"
    visit = workshop.causes(kind=kind, complaint=complaint, found=[found], age="8").visit
    looks = visit.plan.problem.before_handover
    assert looks

    def ends(node, made):
        made = made | {visit.plan.problem.checks[node.step].name} if node.do == "check" else made
        if node.do == "hand over":
            yield node.reach, made
        for _, _, after in node.branches:
            if after is not None:
                yield from ends(after, made)

    missed = sum(reach for reach, made in ends(visit.plan.root, frozenset()) if not looks & made)
    assert missed < 0.1


def test_a_pump_that_runs_has_a_sound_winding(workshop):
    visit = workshop.causes(kind="washing machine", complaint="not draining", found=["pump sound=normal"]).visit
    assert {check.finding for check in visit.checks}.isdisjoint({"pump winding", "impeller"})
    plan = workshop.causes(kind="washing machine", complaint="not draining").visit.plan
    settles = {check.name: check.settles for check in plan.problem.checks}
    assert "measure pump winding" in settles["listen to drain pump"]["normal"]


def test_answers_that_leave_one_cause_leading_are_told_by_what_they_raise(workshop):
    told = [
        str(visit.step(node).tells)
        for complaint in ("trips the rcd", "not heating", "noisy")
        for visit in [workshop.causes(kind="washing machine", complaint=complaint, age="8").visit]
        for node in visit.plan.nodes()
        if node.do == "check"
    ]
    assert any("up to" in tells for tells in told)


def test_an_element_measured_to_earth_is_replaced_though_no_cause_of_the_complaint_says_so(workshop):
    visit = workshop.causes(kind="tumble dryer", complaint="not heating", age="8").visit
    nodes = [n for n in visit.plan.nodes() if n.do == "check" and visit.checks[n.step].finding == "element"]
    assert nodes
    assert all(visit.settled(node, "to earth") == ("heating element to earth",) for node in nodes)
    assert all("to earth: heating element to earth" in str(visit.step(node).tells) for node in nodes)


def test_a_hose_told_to_be_straight_speaks_against_a_crushed_one_of_own_words(workshop):
    hose = "vent hose crushed behind dryer"
    before, told = (
        workshop.causes(kind="tumble dryer", complaint=complaint).odds.causes.get(hose, 0.0)
        for complaint in ("takes too long to dry", "takes too long to dry, hose not kinked")
    )
    assert before > 10 * told
