"""Calls over all kinds and complaints, and how often a plan of theirs is in an order a technician would call wrong."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.advice.kept import AdviceRow
from pipeline.call.question import Question
from pipeline.visit.ask import answered, ask
from pipeline.visit.circumstances import hazards
from pipeline.visit.known_call import Asked
from pipeline.words.appliance import about

if TYPE_CHECKING:
    from models.plan.plan import Node
    from pipeline import Workshop
    from pipeline.visit.answer import Answer
    from pipeline.visit.plan import VisitPlan

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
WRONG = (
    "powered behind covers",
    "closed twice",
    "drained before look",
    "part before advised look",
    "part or panel before what anyone can see",
    "cleared though seen clear",
)
SEEN_BY_ANYONE, WORTH_A_GLANCE = 0.5, 0.05  # the rule as it is told to people


def answers(workshop: Workshop, count: int) -> list[Answer]:
    """Answers to so many calls, spread over kinds, complaints, ages, intermittent faults and things seen before."""
    kinds = [str(kind) for kind in workshop.words.kinds()["kind"]]
    trades = {kind: about(workshop.words, kind) for kind in kinds}
    rows = [
        AdviceRow(part, tuple(kinds), None, None, None, None, 14, 19, 900.0, look, ()) for part, look in LOOKS.items()
    ]
    pairs = [(kind, symptom) for kind, trade in trades.items() for symptom in trade.shares]
    variants = itertools.cycle(({"age_years": 2.0}, {"age_years": 9.0, "seen": True}, {"complaint": "now and then"}))
    questions = []
    for (kind, symptom), variant in zip(pairs[:: max(len(pairs) // count, 1)], variants, strict=False):
        given = dict(variant)
        seen = next((card for card in trades[kind].checks if len(card.values) == 2), None)
        question = Question(kind, symptoms=(symptom,))
        if given.pop("seen", False) and seen is not None:
            question = replace(question, findings={seen.finding: seen.values[1]})
        questions.append(replace(question, **given))
    asked = ask(workshop.database, workshop.words, workshop.settings, questions[:count])
    return [answer for one in asked if (answer := answered(one, rows)).visit is not None]


def asked_of(workshop: Workshop, question: Question) -> Asked:
    """What the workshop knows of one question."""
    (asked,) = ask(workshop.database, workshop.words, workshop.settings, [question])
    return asked


def walks(node: Node, before: tuple[Node, ...] = ()) -> Iterator[tuple[Node, ...]]:
    """Every way through a plan."""
    here = (*before, node)
    following = [after for _, _, after in node.branches if after is not None]
    if not following:
        yield here
    for after in following:
        yield from walks(after, here)


def counted(told: Sequence[Answer]) -> dict[str, int]:
    """How often each wrong order is met, over all ways through all plans."""
    wrong = dict.fromkeys(WRONG, 0)
    for answer in told:
        assert answer.visit is not None
        if answer.is_unsafe or any(one.first for one in hazards(answer.question, answer.visit.trade).values()):
            continue  # what can hurt goes before advice and before what anyone can see: tests/visit/test_safety.py
        for walk in walks(answer.visit.plan.root):
            _count(wrong, answer.visit, walk, dict(answer.question.findings), bool(answer.question.complaint))
    return wrong


def _count(
    wrong: dict[str, int], visit: VisitPlan, walk: Sequence[Node], seen: dict[str, str], is_intermittent: bool
) -> None:
    opened, is_live, is_drained, closings = set[str](), True, False, 0
    made, cards = set(seen), {card.name: card for card in visit.checks}
    at_first, follows = visit.plan.root.p, visit.plan.problem.due
    for node, after in itertools.zip_longest(walk, walk[1:]):
        step = None if node.step < 0 else (visit.acts if node.do == "act" else visit.checks)[node.step]
        if step is not None and (step.access if node.do == "check" else step.name != follows and step.parts):
            wrong["part or panel before what anyone can see"] += any(
                _shows(visit, card.name, at_first) >= WORTH_A_GLANCE
                and _shows(visit, card.name, node.p) >= WORTH_A_GLANCE
                for card in visit.checks
                if card.is_for_anyone and card.name not in made and card is not step
                if not (card.water == "in" and is_drained)
                and not (card.power == "needed" and (node.machine.stays_off or not is_live))
            )
        if node.do == "close up":
            opened, is_live, closings = set(), True, closings + 1
        elif node.do == "refill":
            is_drained = False
        elif node.do == "check":
            card = visit.checks[node.step]
            wrong["powered behind covers"] += card.power == "needed" and (bool(opened) or not is_live)
            wrong["drained before look"] += is_drained and card.water == "in"
            is_live = is_live and card.power != "off" and not card.access
            opened |= {card.access} - {""}
            is_drained |= card.water == "out"
            made |= {card.name, card.finding}
            outcome = next(name for name, _, then in node.branches if then is after)
            seen = {**seen, card.name: outcome}
            follows = visit.plan.problem.checks[node.step].clears.get(outcome, "")
        elif node.do == "act":
            act = visit.acts[node.step]
            covers = {group for group in act.access if not group.startswith("at the ")}
            opened |= covers
            is_live = is_live and act.power != "off" and not covers
            is_drained |= act.water == "out"
            if seen.get(act.looked_at_by) in ("clear", "clean", "good", "free", "normal"):
                wrong["cleared though seen clear"] += not is_intermittent and act.name != follows
            made.add(act.looked_at_by)
            wrong["part before advised look"] += act.name != follows and any(
                LOOKS.get(part) in cards and LOOKS[part] not in made for part in act.parts if part in LOOKS
            )
    wrong["closed twice"] += closings > 1


def _shows(visit: VisitPlan, check: str, p: Sequence[float]) -> float:
    """Odds of the causes that a check shows by an unusual value, as the word lists state it."""
    card = next(card for card in visit.checks if card.name == check)
    usual = card.values[:1] if card.values[0] not in ("yes", "no") else ()
    stated = [visit.trade.stated.get((cause, card.finding), {}) for cause in visit.plan.problem.causes]
    shown = [max((chance for value, chance in row.items() if value not in usual), default=0.0) for row in stated]
    return float(sum(odds for odds, chance in zip(p, shown, strict=True) if chance >= SEEN_BY_ANYONE))
