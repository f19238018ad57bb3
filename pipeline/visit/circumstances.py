"""What a call says besides its odds: which complaint comes first, whether the fault comes and goes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.visit.advice_for_call import holds_for
from pipeline.words.burnt import burnt
from pipeline.words.retests import EARTH_FAULT_COMPLAINT, is_earth_fault_beside
from reports.render.wording import Finding, Sentence, sentence

if TYPE_CHECKING:
    from pipeline.advice.kept import AdviceRow
    from pipeline.call.question import Question
    from pipeline.words.appliance import Hazard, Trade

COMES_AND_GOES = re.compile(
    r"\bintermitt|\bsometimes\b|\bnow and (then|again)\b|\boccasional|\bat times\b|\bcomes and goes\b"
    r"|(?<!click )(?<!clicks )(?<!clicking )(?<!ticks )(?<!flashes )(?<!flashing )(?<!blinks )\bon and off\b"
    r"|\bevery so often\b|\bonce in a while\b|\bnot always\b|\bint\.|\bsporadi|\bmanchmal\b|\bzeitweise\b"
    r"|\bgelegentlich|\bab und zu\b|\bhin und wieder\b|\bunregelmäßig|\bnicht immer\b",
    re.IGNORECASE,
)

GUARANTEED_YEARS = 1.0
"""Younger than this an appliance is mostly under guarantee (common practice, no source)."""


@dataclass(frozen=True)
class Circumstances:
    """What the plan of one call must know besides odds and costs.

    Attributes
    ----------
    findings
        What was seen already.
    complaints
        All that was told.
    shows_at_once
        Whether a cure can be seen before leaving, for every complaint told.
    is_intermittent
        Whether the fault comes and goes: what is found good now may still be the cause.
    looks_first
        Part → check that an advice row of the workshop names to be made before it is fitted.
    put_off
        Complaints that cannot be judged until the first is cured, with the complaint that stops them.
    first
        Checks that come before every repair, the first of them before all else: what was told can hurt.
    is_guaranteed
        Whether it is so young that seller or maker may have to pay.
    """

    findings: Mapping[str, str] = field(default_factory=dict)
    shows_at_once: bool = False
    is_intermittent: bool = False
    looks_first: Mapping[str, str] = field(default_factory=dict)
    put_off: Mapping[str, str] = field(default_factory=dict)
    first: tuple[str, ...] = ()
    is_guaranteed: bool = False
    complaints: tuple[str, ...] = ()

    def remarks(self) -> list[Sentence]:
        """What people should know of it, in words."""
        told = [sentence("answer.burnt", what=Finding(what)) for what in burnt(self.findings)]
        told += [
            sentence(
                "answer.comes_first", first=first, stopped=[one for one, by in self.put_off.items() if by == first]
            )
            for first in dict.fromkeys(self.put_off.values())
        ]
        if self.is_intermittent:
            told.append(sentence("answer.comes_and_goes"))
        if self.is_guaranteed:
            told.append(sentence("answer.guarantee"))
        return told


def circumstances(question: Question, trade: Trade, advice: Sequence[AdviceRow] = ()) -> Circumstances:
    """Read them from the question, as asked, and from the workshop's advice."""
    looks: dict[str, str] = {}
    for row in advice:
        if holds_for(row, question):
            looks.setdefault(row.part, row.look_first)
    return Circumstances(
        question.findings,
        bool(question.symptoms) and trade.shows_later.isdisjoint(question.symptoms),
        bool(COMES_AND_GOES.search(question.complaint)),
        looks,
        put_off(question, trade),
        _first(question, trade),
        question.age_years is not None and question.age_years < GUARANTEED_YEARS,
        question.symptoms,
    )


def _first(question: Question, trade: Trade) -> tuple[str, ...]:
    """Checks that what is told asks for before all else; where the fault was measured, no test looks for it again.

    What another danger was told to be is no measuring: beside a melted plug a smell is still looked for inside.
    """
    seen, known = set(question.findings.items()), hazards(question, trade).values()
    measured = seen.difference(*(one.seen for one in known))
    is_measured = not (trade.unsafe & trade.decisive).isdisjoint(measured) or burnt(dict(measured))
    told = [one for one in known if not (one.is_off and is_measured) and seen.isdisjoint(one.seen)]
    return tuple(dict.fromkeys(name for one in told for name in one.first))


def hazards(question: Question, trade: Trade) -> dict[str, Hazard]:
    """What is told that can hurt → what it asks for, the gravest first."""
    return {name: hazard for name, hazard in trade.hazards.items() if name in question.symptoms}


def put_off(question: Question, trade: Trade) -> dict[str, str]:
    """Complaint that another of the same call, or an earth fault that was measured, stops → the one that stops it."""
    if is_earth_fault_beside(trade, question.findings, question.symptoms):
        return {symptom: EARTH_FAULT_COMPLAINT for symptom in question.symptoms if symptom not in trade.hazards}
    stopped = {
        symptom: [other for other in trade.stops.get(symptom, ()) if other in question.symptoms and other != symptom]
        for symptom in question.symptoms
    }
    later = {other for others in stopped.values() for other in others}
    return {other: symptom for symptom, others in stopped.items() if symptom not in later for other in others}


def first_things_first(question: Question, trade: Trade) -> Question:
    """Leave out what cannot be judged yet, and put an earth fault that was measured in its place."""
    later = put_off(question, trade)
    symptoms = [symptom for symptom in question.symptoms if symptom not in later]
    if is_earth_fault_beside(trade, question.findings, question.symptoms):
        symptoms.append(EARTH_FAULT_COMPLAINT)
    return replace(question, symptoms=tuple(symptoms))


def as_learned(told: Question, first: Question) -> Question:
    """Give back the complaints that were put off: a model learned of jobs told with all of theirs.

    Where an earth fault was measured its complaint keeps their place.
    """
    is_earth_fault = EARTH_FAULT_COMPLAINT in set(first.symptoms) - set(told.symptoms)
    return first if is_earth_fault else replace(first, symptoms=told.symptoms)
