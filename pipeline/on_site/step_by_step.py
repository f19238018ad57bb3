"""A visit step by step: what happened, and where that leaves the plan.

The plan made before the visit is followed: what it foresaw leads to its next point, with its odds. Something it did not
foresee (a check that could not be made, a repair put aside, something else seen) makes a new plan from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from pipeline.advice.kept import kept
from pipeline.call.question import Question
from pipeline.visit.answer import Answer
from pipeline.visit.ask import answer, moved
from pipeline.visit.circumstances import circumstances
from pipeline.visit.costs import NONE_OF_THESE
from pipeline.visit.plan import CHANGES, ask_again, hand_back, plan_visit, repeat_test
from pipeline.words.alarms import alarms
from pipeline.words.burnt import burnt
from pipeline.words.licensed import graver, licensed_work
from pipeline.words.retests import to_test_again

if TYPE_CHECKING:
    from models.plan.machine import Machine
    from models.plan.plan import Node
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.visit.plan import Step, VisitPlan
    from pipeline.words import Words
    from pipeline.words.appliance import Trade

What = Literal["seen", "cannot tell", "said", "heard", "changed", "tried", "cured", "looks good", "aside", "ruled out"]
"""What can happen; every language has words for each."""
NOT_CURED = ("tried", "looks good")


@dataclass(frozen=True)
class Event:
    """One thing that happened.

    Attributes
    ----------
    what
        seen (a finding and its value), cannot tell (a finding), said (a complaint), heard (of what can or may hurt),
        changed (the state of the machine), tried, cured, looks good, aside (a repair), ruled out (a cause).
    """

    what: What
    name: str
    value: str = ""
    machine: Machine | None = None
    parts: tuple[str, ...] = ()
    cause: str = ""

    def as_json(self) -> dict[str, Any]:
        """The event as `from_json` reads it."""
        machine = None
        if self.machine is not None:
            machine = {k: sorted(v) if isinstance(v, frozenset) else v for k, v in self.machine._asdict().items()}
        return {
            **{name: getattr(self, name) for name in ("what", "name", "value", "cause")},
            "machine": machine,
            "parts": list(self.parts),
        }

    @classmethod
    def from_json(cls, written: Mapping[str, Any]) -> Event:
        """Read what `as_json` wrote."""
        from models.plan.machine import Machine

        machine = None
        if written["machine"] is not None:
            state: dict[str, Any] = {
                k: frozenset(v) if isinstance(v, list) else v for k, v in written["machine"].items()
            }
            machine = Machine(**state)
        return cls(**{**written, "machine": machine, "parts": tuple(written["parts"])})

    @property
    def recorded(self) -> str:
        """The event as a record says it."""
        if self.what == "seen":
            return f"{self.name}={self.value}"
        return f"looked at {' and '.join(self.parts)}: good" if self.what == "looks good" else self.name


@dataclass(frozen=True)
class Stand:
    """Where a visit stands: its answer by now, what could not be told, and repairs done in vain or put aside."""

    now: Answer
    unknowable: tuple[str, ...] = ()
    tried: tuple[str, ...] = ()
    aside: tuple[str, ...] = ()


def told(question: Question, event: Event) -> Question:
    """Return the question with what an event adds to it."""
    if event.what == "seen":
        return replace(question, findings={**question.findings, event.name: event.value})
    if event.what == "ruled out":
        return replace(question, cleared=question.cleared | {event.name})
    if event.what == "said":
        return replace(question, symptoms=tuple(dict.fromkeys((*question.symptoms, event.name))))
    if event.what == "heard":
        work = graver(question.licensed, licensed_work([event.name], question.kind))
        raised = alarms([event.name], question.kind)
        unheard = () if raised or work else (event.name,)
        told_now = tuple(dict.fromkeys((*raised, *question.symptoms)))
        return replace(question, licensed=work, symptoms=told_now, may_hurt=(*question.may_hurt, *unheard))
    return question


class Walk:
    """Leads a visit on.

    Parameters
    ----------
    database, words, settings
        Of the workshop; asked again only where something is told that no plan foresaw.
    is_brief
        Whether only the next step of every answer is wanted, see `pipeline.visit.ask.moved`; then the jobs like the
        call as it was first told stay those of every later answer.
    """

    def __init__(self, database: Database, words: Words, settings: Settings, *, is_brief: bool = False) -> None:
        self.database, self.words, self.settings, self.is_brief = database, words, settings, is_brief
        self.advice = kept(database)

    def start(self, question: Question) -> Stand:
        """Answer the call as it was told."""
        return Stand(answer(self.database, self.words, self.settings, question))

    def then(self, stand: Stand, event: Event) -> Stand:
        """Where an event leads."""
        question, visit, before = told(stand.now.question, event), stand.now.visit, stand.now.question
        unsafe = to_test_again(stand.now.trade, before.findings)
        if event.what == "cured" and not unsafe:
            return stand
        if event.what == "cannot tell":
            if stand.tried and any(card.finding == event.name for card in unsafe):
                return _only(stand, question, ask_again())
            stand = replace(stand, unknowable=(*stand.unknowable, event.name))
        elif event.what == "aside":
            stand = replace(stand, aside=(*stand.aside, event.name))
        elif event.what in (*NOT_CURED, "cured"):
            stand = replace(stand, tried=(*stand.tried, event.name))
            if unsafe and visit is not None:
                if event.what == "looks good":
                    return self._asked_again(stand, question, event)
                return _only(stand, question, repeat_test(unsafe[0]))
        if stand.tried and unsafe and event.what == "seen":
            left = to_test_again(stand.now.trade, question.findings)
            if not left and _is_all(question, stand.now.trade):
                return _only(stand, question, hand_back())
            if left and left != unsafe:
                return _only(stand, question, repeat_test(left[0]))
        if visit is None or event.what in ("said", "heard"):
            return self._asked_again(stand, question, event)
        if event.what in NOT_CURED and visit.ends_with(visit.plan.root):
            return _only(stand, question, ask_again())
        node = foreseen(visit, event)
        if node is not None:
            return replace(stand, now=self._moved(stand, question, visit.at(node), odds_at(visit, node)))
        if event.what in ("cannot tell", "aside"):
            return replace(stand, now=self._planned_anew(stand, question, visit))
        return self._asked_again(stand, question, event)

    def _planned_anew(self, stand: Stand, question: Question, visit: VisitPlan) -> Answer:
        """Plan from here on with the odds as they are, without what could not be told or done."""
        odds = odds_at(visit, visit.plan.root)
        anew = plan_visit(
            odds,
            visit.costs,
            seen={*question.findings, *stand.unknowable},
            machine=visit.plan.root.machine,
            tried={*stand.tried, *stand.aside},
            carried=visit.carried,
            call=circumstances(question, visit.trade, self.advice),
        )
        return self._moved(stand, question, anew, odds)

    def _moved(self, stand: Stand, question: Question, visit: VisitPlan, odds: Mapping[str, float]) -> Answer:
        return moved(stand.now, self.advice, question, visit, odds, is_brief=self.is_brief)

    def _asked_again(self, stand: Stand, question: Question, event: Event) -> Stand:
        """Ask anew: what was told now may change the odds of everything."""
        visit = stand.now.visit
        now = answer(
            self.database,
            self.words,
            self.settings,
            question,
            unknowable=stand.unknowable,
            machine=event.machine or (visit.plan.root.machine if visit else None),
            tried=stand.tried,
            aside=stand.aside,
            carried=visit.carried if visit else None,
            evidence=stand.now.evidence if self.is_brief else None,
        )
        return replace(stand, now=now)


def _only(stand: Stand, question: Question, step: Step) -> Stand:
    """Leave nothing to do but one step."""
    return replace(stand, now=replace(stand.now, question=question, steps=(step,)))


def _is_all(question: Question, trade: Trade) -> bool:
    """Whether nothing is complained of but what the test has shown to be mended."""
    told = [symptom for symptom in question.symptoms if symptom in trade.shares]
    return all(("complaint", symptom) in trade.decisive for symptom in told)


def foreseen(visit: VisitPlan, event: Event) -> Node | None:
    """Point of the plan that an event leads to; None where the plan has none, or what was seen changes all of it."""
    root = visit.plan.root
    outcome = ""
    if event.what == "seen" and root.do == "check" and visit.checks[root.step].finding == event.name:
        is_danger = burnt({event.name: event.value}) or visit.is_earth_fault(root, event.value)
        is_danger = is_danger or visit.settled(root, event.value)
        outcome = "" if is_danger else event.value
    elif event.what in NOT_CURED and root.do == "act" and visit.acts[root.step].name == event.name:
        outcome = "not cured"
    elif event.what == "changed" and root.do in CHANGES:
        outcome = "done"
    return next((after for name, _, after in root.branches if name == outcome), None)


def odds_at(visit: VisitPlan, node: Node) -> dict[str, float]:
    """Cause → probability at a point of the plan, likeliest first; what is missing to 1 is none of these."""
    odds = dict(zip(visit.plan.problem.causes, node.p.tolist(), strict=True))
    odds.pop(NONE_OF_THESE, None)
    return dict(sorted(odds.items(), key=lambda row: (-row[1], row[0])))
