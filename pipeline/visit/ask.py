"""From a call to its answer: what the records say, the odds, the plan, put together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.advice.kept import AdviceRow, kept
from pipeline.call.question import Call, Question, age
from pipeline.call.read_call import read_questions
from pipeline.call.unit_history import Unit, UnitHistory, histories
from pipeline.store.cache import while_unchanged
from pipeline.train import phrases
from pipeline.visit import later_jobs
from pipeline.visit.advice_for_call import for_parts
from pipeline.visit.answer import Answer, CauseRow
from pipeline.visit.ask_first import ask_customer, ask_kind, is_silent
from pipeline.visit.callback_odds import NO_RETURNS, returns_after_part, with_history
from pipeline.visit.circumstances import as_learned, circumstances, first_things_first, hazards
from pipeline.visit.costs import Costs
from pipeline.visit.known_call import Asked
from pipeline.visit.looks_for_own_causes import with_own_looks
from pipeline.visit.odds import Odds, model_for, odds_of, opinions
from pipeline.visit.plan import Step, VisitPlan, plan_visit
from pipeline.visit.quote import quote
from pipeline.visit.referral import referral
from pipeline.visit.similar_jobs import SHOWN_JOBS, Evidence, gather
from pipeline.visit.stock import stock_beside
from pipeline.visit.why import Reason, reasons, untold
from pipeline.words.appliance import about
from reports.render.wording import Written, sentence

if TYPE_CHECKING:
    from models.plan.machine import Machine
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.visit.similar_jobs import KindRecords
    from pipeline.words import Words
    from pipeline.words.appliance import Trade

BEYOND_SHARE, BEYOND_JOBS = 0.25, 10
LEAST_TOLD = 0.001  # odds of a cause from which the answer tells it


def causes(database: Database, words: Words, settings: Settings, call: Call) -> Answer:
    """Answer one call in the words of a job sheet.

    Raises
    ------
    UsageError
        No kind of appliance was given.
    ModelError
        The model in use is damaged.
    """
    (question,) = questions_of(database, words, settings, [call])
    return answer(database, words, settings, question)


def questions_of(
    database: Database, words: Words, settings: Settings, calls: Sequence[Call], *, on: dt.date | None = None
) -> list[Question]:
    """Read calls as `load` reads records, and look up what is on record of each call's unit.

    Raises
    ------
    UsageError
        A call gives no kind of appliance.
    """
    questions = read_questions(words, database, calls, on=on)
    units = [Unit(call.serial, call.customer, q.kind, q.symptoms) for call, q in zip(calls, questions, strict=True)]
    found = histories(database, settings, units, on)
    known = phrases.kept(database)
    return [
        replace(
            _aged(question, unit) if call.serial else question,
            unit=unit,
            phrases=phrases.said_in(known, question.kind, question.complaint, words.filler),
        )
        for call, question, unit in zip(calls, questions, found, strict=True)
    ]


def _aged(question: Question, unit: UnitHistory) -> Question:
    """Take the age from what is on record of a unit known by its serial number, where the call gives none."""
    known = unit.age_now()
    if question.age_years is not None or known is None:
        return question
    years, day = known
    told = sentence("answer.age_of_unit", age=age(years), date=Written(day.isoformat()))
    return replace(question, age_years=years, remarks=(*question.remarks, told))


def answer(
    database: Database,
    words: Words,
    settings: Settings,
    question: Question,
    *,
    unknowable: Sequence[str] = (),
    machine: Machine | None = None,
    tried: Sequence[str] = (),
    aside: Sequence[str] = (),
    carried: Collection[str] | None = None,
    evidence: Evidence | None = None,
) -> Answer:
    """Answer a question already read.

    Parameters
    ----------
    question
        From `questions_of`.
    unknowable
        Findings that could not be told: their checks are not offered again.
    machine, tried
        Its state, repairs done without cure or whose part was seen to be good; see `plan_visit`.
    aside
        Repairs that cannot be done at this visit.
    carried
        As in `answered`.
    evidence
        As in `ask`, of this question.
    """
    (asked,) = ask(database, words, settings, [question], [evidence] if evidence else None)
    stock = _stock(database, words, asked)
    if tried:
        asked = replace(asked, odds=_without(asked.odds, asked.costs, tried))
    return answered(
        asked,
        kept(database),
        unknowable=unknowable,
        machine=machine,
        passed=(*tried, *aside),
        carried=carried,
        stock=stock,
    )


def _stock(database: Database, words: Words, asked: Asked) -> Mapping[str, tuple[int, int]] | None:
    """Units of the parts that a call may need; None = everything can be had, or nothing is planned."""
    parts = {part for cause in asked.odds.causes for part in asked.costs.repair(cause).parts}
    return stock_beside(database, words, asked.question, parts) if asked.has_plan else None


def _costs(database: Database, trade: Trade, records: KindRecords, settings: Settings) -> Costs:
    return while_unchanged(
        database, ("costs", trade, repr(settings)), lambda: Costs(*with_own_looks(trade, records), settings)
    )


def ask(
    database: Database,
    words: Words,
    settings: Settings,
    questions: Sequence[Question],
    evidence: Sequence[Evidence] | None = None,
) -> list[Asked]:
    """Look up what all questions need, every kind, record and the model once.

    Parameters
    ----------
    evidence
        Jobs like each question, where another answer to the same call looked them up and only the odds and the plan are
        wanted; then the reasons of the odds are left out. None = look them up.
    """
    trades = {kind: about(words, kind) for kind in sorted({question.kind for question in questions})}
    whole = questions
    questions = [first_things_first(question, trades[question.kind]) for question in whole]
    found = evidence or gather(database, questions, trades)
    records = {question.kind: one.of_kind for question, one in zip(questions, found, strict=True)}
    costs = {kind: _costs(database, trades[kind], of_kind, settings) for kind, of_kind in records.items()}
    if not questions:
        return []
    model, name = model_for(database, words)
    learned = later_jobs.kept(database)
    if name is not None:
        questions = [as_learned(one, question) for one, question in zip(whole, questions, strict=True)]
    without = [{} if evidence else untold(question) for question in questions]
    others = [one for facts in without for one in facts.values()]
    said = opinions(questions, model, beside=others)
    told, otherwise = said[: len(questions)], iter(said[len(questions) :])
    rate = NO_RETURNS
    if any(q.unit.is_callback for q in questions):
        rate = while_unchanged(database, "returns after a part", lambda: returns_after_part(database))
    asked = []
    for one, q, known, opinion, facts in zip(whole, questions, found, told, without, strict=True):
        trade = trades[q.kind]
        odds = odds_of(q, trade, known, model, name, opinion)
        why = reasons(
            odds, {fact: odds_of(less, trade, known, model, name, next(otherwise)) for fact, less in facts.items()}
        )
        cured_by = {cause: costs[q.kind].repair(cause).parts for cause in odds.causes} if q.unit.is_callback else {}
        odds, unit = with_history(q.unit, odds, cured_by, rate)
        asked.append(Asked(replace(one, unit=unit), costs[q.kind], known, odds, why, learned))
    return asked


def answered(
    asked: Asked,
    advice: Sequence[AdviceRow],
    *,
    unknowable: Sequence[str] = (),
    machine: Machine | None = None,
    passed: Sequence[str] = (),
    carried: Collection[str] | None = None,
    stock: Mapping[str, tuple[int, int]] | None = None,
) -> Answer:
    """Plan a call and put the answer together.

    Parameters
    ----------
    advice
        Rows known of wrong swaps.
    unknowable, machine
        As in `answer`.
    passed
        Repairs not to be offered.
    carried
        Parts in the van; None = those worth carrying by this call alone, as far as there are any.
    stock
        Part → units on the van and in the store; None = everything can be had.
    """
    from models.plan.machine import Machine

    question, odds = asked.question, asked.odds
    if not asked.has_plan:
        return referral(asked)
    trade, currency = asked.costs.trade, asked.costs.settings.currency
    told = hazards(question, trade)
    if any(one.first for one in told.values()):
        advice = ()  # "inspect the lint path first" does not come before an insulation test
    is_unsafe = question.is_unsafe(trade.unsafe)
    if question.other_kind or not trade.can_be_planned(asked.evidence.of_kind.cause_jobs):
        step = ask_kind(asked)
        return Answer(question, odds, (), asked.costs, asked.evidence, None, (step,), {}, (), "", currency)
    is_asking = is_silent(question, odds.causes, trade) and not unknowable and not passed
    if is_asking and (asks := ask_customer(asked)):
        rows = _rows(odds, asked.costs, asked.evidence, asked.why)
        return Answer(question, odds, rows, asked.costs, asked.evidence, None, asks, {}, (), "", currency)
    is_off = bool(question.may_hurt) or question.is_unheard or any(one.is_off for one in told.values())
    visit = plan_visit(
        odds.causes,
        asked.costs,
        seen={*question.findings, *unknowable},
        machine=_without_power(machine or Machine(), is_unsafe=is_unsafe, is_off=is_off),
        tried=set(passed),
        carried=carried,
        stock=stock,
        call=circumstances(question, asked.costs.trade, advice),
    )
    return _planned(asked, advice, visit)


def _without_power(machine: Machine, *, is_unsafe: bool, is_off: bool) -> Machine:
    """The machine as it may be worked on: for good without power, or until a first repair."""
    if is_unsafe:
        return machine._replace(stays_off=True)
    if is_off and not (machine.may_close or machine.was_closed):
        return machine._replace(is_live=False)
    return machine


def _planned(asked: Asked, advice: Sequence[AdviceRow], visit: VisitPlan) -> Answer:
    """Put the answer together from its plan."""
    steps = tuple(visit.steps())
    return Answer(
        question=asked.question,
        odds=asked.odds,
        causes=_rows(asked.odds, asked.costs, asked.evidence, asked.why),
        costs=asked.costs,
        evidence=asked.evidence,
        visit=visit,
        steps=steps,
        quote=quote(asked.costs, asked.evidence, asked.odds, asked.learned.shifts),
        advice=for_parts(advice, asked.question, _parts_in_question(visit, steps)),
        remark=_remark(asked.evidence),
        currency=asked.costs.settings.currency,
    )


def _parts_in_question(visit: VisitPlan, steps: Sequence[Step]) -> list[str]:
    """Parts that this visit may well fit: those among its steps and those worth carrying, likeliest first."""
    in_steps = {part for step in steps for part in step.parts}
    return [row.part for row in visit.carry if row.worth_it or row.part in in_steps]


def _without(odds: Odds, costs: Costs, tried: Sequence[str]) -> Odds:
    """Odds once these repairs were done and did not cure, or their parts were seen to be good."""
    cured = {c for act in costs.acts(list(odds.causes)) if act.name in tried for c in act.cures}
    left = {cause: p for cause, p in odds.causes.items() if cause not in cured}
    total = sum(left.values()) + odds.none_of_these
    scaled = {cause: p / total for cause, p in left.items()}
    return Odds(scaled, odds.none_of_these / total, odds.model, odds.note, odds.width)


def moved(
    now: Answer,
    advice: Sequence[AdviceRow],
    question: Question,
    visit: VisitPlan,
    odds: Mapping[str, float],
    *,
    is_brief: bool = False,
) -> Answer:
    """Give the answer at another point of the same visit.

    Parameters
    ----------
    now
        An earlier one.
    advice
        Rows known of wrong swaps.
    question, visit, odds
        What is known by then, the plan from there on, and cause → probability.
    is_brief
        Whether only the next step is wanted: the list of steps ends with it, and the evidence by cause is left out.
    """
    there = replace(now.odds, causes=odds, none_of_these=max(1.0 - sum(odds.values()), 0.0))
    steps = tuple(visit.steps(1) if is_brief else visit.steps())
    why = {row.cause: row.why for row in now.causes}
    return replace(
        now,
        question=question,
        odds=there,
        causes=() if is_brief else _rows(there, now.costs, now.evidence, why),
        visit=visit,
        steps=steps,
        advice=for_parts(advice, question, _parts_in_question(visit, steps)),
    )


def _rows(odds: Odds, costs: Costs, evidence: Evidence, why: Mapping[str, tuple[Reason, ...]]) -> tuple[CauseRow, ...]:
    import numpy as np

    from models.causes.evidence import interval

    likely = {cause: p for cause, p in odds.causes.items() if p >= LEAST_TOLD}
    low, high = interval(np.array(list(likely.values())), float(sum(evidence.similar_jobs.values())), odds.width)
    jobs: dict[str, list[str]] = {cause: [] for cause in likely}
    for cause, job in zip(evidence.similar.cause, evidence.similar.job_no, strict=True):
        if cause in jobs and job is not None:
            jobs[cause].append(job)
    return tuple(
        CauseRow(
            cause,
            p,
            float(low[place]),
            float(high[place]),
            evidence.similar_jobs.get(cause, 0),
            () if costs.trade.is_licensed(cause) else costs.repair(cause).parts,
            tuple(jobs[cause][:SHOWN_JOBS]),
            costs.repair(cause).is_confirmed,
            why.get(cause, ()),
        )
        for place, (cause, p) in enumerate(likely.items())
    )


def _remark(evidence: Evidence) -> str:
    """Repair or replace, only where enough similar episodes say so."""
    beyond, known = evidence.beyond_repair
    if known < BEYOND_JOBS or beyond < BEYOND_SHARE * known:
        return ""
    return sentence("answer.beyond", beyond=beyond, known=known)
