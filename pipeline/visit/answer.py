"""The answer to one call: likely causes, what to do in order, what to carry, what it may cost; as JSON and in lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from pipeline.advice.kept import AdviceRow
from pipeline.call.question import Question, said
from pipeline.call.word_account import CODE, DENIED, FINDING, TOLD, Heard
from pipeline.terminal.text import Shown, safe
from pipeline.visit.circumstances import hazards
from pipeline.visit.costs import Costs
from pipeline.visit.odds import Odds
from pipeline.visit.plan import Carry, Step, VisitPlan
from pipeline.visit.quote import LEAST_ODDS, Range
from pipeline.visit.similar_jobs import FEW, Evidence
from pipeline.visit.why import Reason
from pipeline.words.appliance import AFTER_EVERY_REPAIR, ALWAYS, DO_NOT_ENERGISE, NOT_UNDERSTOOD, Trade
from pipeline.words.burnt import burnt
from pipeline.words.lists import shipped_languages
from reports.render.wording import (
    Finding,
    Sentence,
    Several,
    Wording,
    Written,
    in_language,
    sentence,
    several,
    value_of,
)

NEARLY_SURE = 0.995  # from here on a percentage would be written as a certainty
GENERAL = ("moving parts", AFTER_EVERY_REPAIR, ALWAYS)  # hold for every machine: they stand last
SHOWN_CAUSES, SHOWN_STEPS, SHOWN_CARRY, SHOWN_ADVICE = 4, 5, 3, 2


@dataclass(frozen=True)
class CauseRow:
    """One likely cause with the evidence behind it; what lies between ``low`` and ``high`` says `Answer.ranges`."""

    cause: str
    probability: float
    low: float
    high: float
    similar_jobs: int
    cured_by: tuple[str, ...]
    jobs: tuple[str, ...]
    is_confirmed: bool = True
    """Whether a check of the lists can show it."""
    why: tuple[Reason, ...] = ()
    """What each fact of the call does to it, strongest first."""


@dataclass(frozen=True, repr=False)
class Answer(Shown):
    """Everything known about one call; ``as_json`` and ``lines`` are its two faces.

    Attributes
    ----------
    causes
        Likeliest first, those of at least 0.1%.
    visit
        The plan; None for gas and refrigerant work, where no step is given.
    steps
        The plan as a list, each step with its cautions.
    quote
        name (money, minutes, parts) → P10, P50, P90.
    """

    question: Question
    odds: Odds
    causes: tuple[CauseRow, ...]
    costs: Costs
    evidence: Evidence
    visit: VisitPlan | None
    steps: tuple[Step, ...]
    quote: Mapping[str, Range]
    advice: tuple[AdviceRow, ...]
    remark: str
    currency: str

    @property
    def trade(self) -> Trade:
        """The kind's word lists."""
        return self.costs.trade

    @property
    def similar_jobs(self) -> int:
        """Jobs on record like this one."""
        return sum(self.evidence.similar_jobs.values())

    @property
    def note(self) -> Several:
        """How much stands behind the odds, in words; of work for licensed people, or a rescue, that there are none."""
        if self.is_referred:
            return several([sentence("answer.not_weighed" if self.is_licensed else "answer.rescue_first")], " ")
        similar = self.similar_jobs
        if similar == 0:
            basis = sentence("answer.basis_none")
        else:
            basis = sentence("answer.basis_few" if similar < FEW else "answer.basis", n=similar)
        notes = [basis] if self.odds.model else [basis, sentence("answer.untrained")]
        return several([*notes, *([self.odds.note] if self.odds.note else [])], " ")

    @property
    def ranges(self) -> Sentence | None:
        """What the range beside a cause is, and how often it held in trials; None where none is told."""
        similar = self.similar_jobs
        if not self.causes or not similar:
            return None
        is_learned = self.odds.width is not None and len(self.odds.width) > 0
        return sentence("answer.ranges") if is_learned else sentence("answer.ranges_of_jobs", n=similar)

    def caution_names(self) -> tuple[str, ...]:
        """What can hurt as told, the cautions of every step, and last those that always hold."""
        return self._cautions_of(self.steps, self.advice)

    def shown_caution_names(self) -> tuple[str, ...]:
        """Those of what `lines` shows."""
        return self._cautions_of(self.steps[:SHOWN_STEPS], self.advice[:SHOWN_ADVICE])

    @property
    def is_cautious(self) -> bool:
        """Whether the cautions stand before all else."""
        return self.is_referred or bool(self.alarms)

    @property
    def alarms(self) -> tuple[str, ...]:
        """Cautions that stand before all else: what was told can hurt."""
        if self.is_referred:
            return ()
        told = [one for one in hazards(self.question, self.trade).values() if one.caution]
        energise = (DO_NOT_ENERGISE,) if self.is_unsafe else ()
        graver, less = ([one.caution for one in told if one.is_off == is_off] for is_off in (False, True))
        is_asked = self.is_unheard or (self.question.may_hurt and not told)
        return (*graver, *energise, *less, *((NOT_UNDERSTOOD,) if is_asked else ()))

    @property
    def dangers(self) -> tuple[Sentence | str, ...]:
        """What was said or seen that forbids to energise it, in the words of the trade."""
        question, unsafe = self.question, self.trade.unsafe
        told: list[Sentence | str] = [name for name in question.symptoms if ("complaint", name) in unsafe]
        seen = [(f, v) for f, v in question.findings.items() if (f, v) in unsafe or burnt({f: v})]
        seen = [one for one in seen if not question.complains_of(*one)]
        return (*told, *(sentence("answer.seen", finding=Finding(f), value=value_of(f, v)) for f, v in seen))

    def caution_title(self, name: str) -> Sentence | str:
        """A caution by its name; with what was said where it forbids to energise it, or may tell of a danger."""
        of: dict[str, Sequence[Sentence | str]] = {
            DO_NOT_ENERGISE: self.dangers,
            NOT_UNDERSTOOD: quoted(self.question.may_hurt),
        }
        return sentence("answer.caution_because", caution=name, dangers=of[name]) if of.get(name) else name

    @property
    def is_unheard(self) -> bool:
        """Whether what is meant is asked, or nothing of the complaint was understood, whatever code stands beside."""
        is_asking = bool(self.steps) and self.steps[0].do == "ask"
        return is_asking or self.question.is_unheard

    def _cautions_of(self, steps: Sequence[Step], advice: Sequence[AdviceRow]) -> tuple[str, ...]:
        names = [*self.alarms, *(c for step in steps for c in step.cautions)]
        names += [name for row in advice for name in self.look_cautions(row)] + [ALWAYS]
        named = dict.fromkeys(name for name in names if name in self.trade.cautions)
        return (*(name for name in named if name not in GENERAL), *(name for name in GENERAL if name in named))

    @property
    def is_referred(self) -> bool:
        """Whether nothing is planned: the work is for licensed people only, or somebody is caught."""
        return self.is_licensed or self.trade.is_rescue(self.question.symptoms)

    @property
    def is_licensed(self) -> bool:
        """Whether the work is for licensed people only."""
        return self.trade.is_gas or bool(self.question.licensed)

    @property
    def is_unsafe(self) -> bool:
        """Whether what was said or measured forbids to energise the appliance before the repair."""
        return self.question.is_unsafe(self.trade.unsafe)

    def look_cautions(self, row: AdviceRow) -> tuple[str, ...]:
        """Cautions of the check an advice row says to make first."""
        return next((card.cautions for card in self.trade.checks if card.name == row.look_first), ())

    def as_json(self) -> dict[str, Any]:
        """Return the contract of the command's JSON."""
        visit = self.visit
        return {
            "model": self.odds.model,
            "job_no": self.question.job_no,
            "asked": self.question.as_json(),
            "not_understood": list(self.question.not_understood),
            "heard": [piece.as_json() for piece in self.question.heard],
            "remarks": [*self.question.remarks, *(visit.remarks if visit else ())],
            "phrases": [phrase.as_json() for phrase in self.question.phrases],
            "evidence": {"similar_jobs": self.similar_jobs, "note": self.note, "ranges": self.ranges},
            "causes": [_cause_json(row) for row in self.causes],
            "none_of_these": round(self.odds.none_of_these, 4) or self.odds.none_of_these,
            "steps": [step_json(step, self.trade) for step in self.steps],
            "expected": {
                "minutes": round(visit.minutes, 1) if visit else None,
                "money": round(visit.money, 2) if visit else None,
                "visits": round(visit.visits, 2) if visit else None,
            },
            "carry": [_carry_json(row) for row in (visit.carry if visit else ())],
            "quote": self._quote_json(),
            "advice": [self._advice_json(row) for row in self.advice],
            "unit": self.question.unit.as_json(),
            "repair_or_replace": self.remark or None,
            "cautions": [self.trade.cautions[name] for name in self.caution_names()],
        }

    def _quote_json(self) -> dict[str, Any]:
        points = ("p10", "p50", "p90")
        if not self.quote:
            return dict.fromkeys(points)
        each = {n: dict(zip(points, (round(x, 2) for x in q), strict=True)) for n, q in self.quote.items()}
        return {**each["money"], "minutes": each["minutes"], "parts": each["parts"], "currency": self.currency}

    def _advice_json(self, row: AdviceRow) -> dict[str, Any]:
        return {
            "part": row.part,
            "count": row.count,
            "of": row.of,
            "look_first": row.look_first,
            "text": row.line(),
            "caution_names": list(self.look_cautions(row)),
            "cautions": list(row.cautions),
        }

    @cached_property
    def wording(self) -> Wording:
        """The workshop's language."""
        return in_language(self.costs.settings.locale, self.currency)

    def lines(self) -> list[str]:
        """Lines for a terminal: what is likely, what to do, what to carry, what may hurt; a line each caution.

        What was said that can hurt stands first.
        """
        tell, told = self.wording.tell, self.wording.told
        head = [tell("answer.head", asked=said(self.question), note=self.note)]
        if self.question.not_understood:
            head.append(tell("answer.not_understood", texts=quoted(self.question.not_understood)))
            settings = self.costs.settings
            if settings.locale in shipped_languages() and settings.locale not in settings.languages:
                both = ", ".join(f'"{code}"' for code in (*settings.languages, settings.locale))
                head.append(tell("answer.language_off", languages=Written(both)))
        head += [told(line) for line in (*(p.line() for p in self.question.phrases), *self.question.unit.lines())]
        if aside := _told_aside(self.question):
            head.append(told(aside))
        above = [*head, *_body(self)]
        names = self.shown_caution_names()
        first = [name for name in names if self.is_referred or name in self.alarms]
        danger = [caution_told(self, name) for name in first]
        rest = [caution_told(self, name) for name in names if name not in first]
        shown = [*danger, *above, *rest]
        return [safe(line).replace("\n", " ") for line in shown]


def quoted(texts: Sequence[str]) -> list[Sentence]:
    """Put texts in quotation marks, as they were written."""
    return [sentence("answer.quoted", text=Written(text)) for text in texts]


def told_terms(piece: Heard) -> list[str]:
    """What a piece of the complaint was taken for, for people."""
    if piece.how == CODE:
        return [Written(code) for code in piece.terms]
    if piece.how not in (FINDING, TOLD):
        return list(piece.terms)
    return [_told_term(term, is_supposed=piece.how == TOLD) for term in piece.terms]


def _told_term(term: str, *, is_supposed: bool) -> str:
    """A finding, or a note: what is only supposed is told as that."""
    name, is_pair, value = term.partition("=")
    if not is_pair:
        return term
    seen = sentence("answer.seen", finding=Finding(name), value=value_of(name, value))
    return sentence("answer.supposed", seen=seen) if is_supposed else seen


def _told_aside(question: Question) -> Several:
    """What was taken from the complaint besides complaints, and what to know of how the question was read."""
    taken = [term for piece in question.heard if piece.how in (FINDING, TOLD) for term in told_terms(piece)]
    taken += [
        sentence("answer.denied", complaint=term) for one in question.heard if one.how == DENIED for term in one.terms
    ]
    told = [sentence("answer.taken", pieces=list(dict.fromkeys(taken)))] if taken else []
    return several([*told, *(sentence("answer.remark", remark=remark) for remark in question.remarks)], " ")


def _cause_json(row: CauseRow) -> dict[str, Any]:
    return {
        "cause": row.cause,
        "probability": round(row.probability, 4),
        "low": round(row.low, 4),
        "high": round(row.high, 4),
        "similar_jobs": row.similar_jobs,
        "cured_by": list(row.cured_by),
        "jobs": list(row.jobs),
        "has_confirming_check": row.is_confirmed,
        "why": [reason.as_json() for reason in row.why],
    }


def _carry_json(row: Carry) -> dict[str, Any]:
    return {
        "part": row.part,
        "probability": round(row.probability, 4),
        "worth_it": row.worth_it,
        "on_van": row.on_van,
        "in_store": row.in_store,
    }


def step_json(step: Step, trade: Trade) -> dict[str, Any]:
    """One step as JSON: its cautions in full, so that no reader can show it without them."""
    return {
        "do": step.do,
        "name": step.name,
        "given": step.given,
        "minutes": round(step.minutes, 1),
        "look_minutes": round(step.look_minutes, 1),
        "money": round(step.money, 2),
        "cures_probability": round(step.cures_probability, 4),
        "tells": step.tells,
        "parts": list(step.parts),
        "about": step.about,
        "options": list(step.options),
        "cautions": [trade.cautions[name] for name in step.cautions if name in trade.cautions],
    }


def money(answer: Answer, amount: float) -> str:
    """Write an amount as people read it."""
    return answer.wording.whole_money(amount)


def advice_line(answer: Answer, row: AdviceRow) -> str:
    """One advice row with the cautions of what it says to look at."""
    names = answer.look_cautions(row)
    return answer.wording.told(row.line()) + (f" [{answer.wording.told(names)}]" if names else "")


def sentences(wording: Wording, texts: Sequence[str]) -> str:
    """Remarks one after the other, each with a capital and a full stop."""
    told = [wording.told(text) for text in texts]
    return " ".join(f"{text[:1].upper()}{text[1:]}." for text in told)


def _body(answer: Answer) -> list[str]:
    visit, tell, told = answer.visit, answer.wording.tell, answer.wording.told
    steps = [_step(answer, number, step) for number, step in enumerate(answer.steps[:SHOWN_STEPS], start=1)]
    if visit is None:
        if answer.steps[0].do != "ask":
            return steps[:1]
        if answer.question.other_kind:
            return [tell("answer.ask_which_first"), *steps]
        is_kind_known = answer.trade.can_be_planned(answer.evidence.of_kind.cause_jobs)
        return [tell("answer.ask_first" if is_kind_known else "answer.ask_kind_first"), *steps]
    has_jobs = answer.similar_jobs > 0
    causes = [
        f"{answer.wording.percent(row.probability).rjust(4)}  {told(row.cause)}"
        + (_backing(answer, row) if has_jobs else "")
        + ("" if row.is_confirmed else f" ({tell('answer.by_exclusion')})")
        for row in answer.causes[:SHOWN_CAUSES]
    ]
    causes.append(f"{answer.wording.chance(answer.odds.none_of_these).rjust(4)}  {told('none of these')}")
    if answer.ranges:
        causes.append(told(answer.ranges))
    expected = {"minutes": round(visit.minutes), "visits": Written(answer.wording.number(visit.visits, 1))}
    do = tell("answer.do", money=Written(money(answer, visit.money)), **expected)
    rest = [_carry(answer, visit)] if visit.carry else []
    rest += [_quote(answer)] if answer.quote else []
    vain = "; ".join(advice_line(answer, row) for row in answer.advice[:SHOWN_ADVICE])
    rest += [tell("answer.needless", advice=Written(vain))] if vain else []
    remarks = [sentences(answer.wording, visit.remarks)] if visit.remarks else []
    return [*causes, *remarks, do, *steps, *rest]


def _backing(answer: Answer, row: CauseRow) -> str:
    jobs = f"  {answer.wording.tell('answer.jobs', jobs=[Written(job) for job in row.jobs[:2]])}" if row.jobs else ""
    if row.low >= NEARLY_SURE:
        return f" ({answer.wording.tell('answer.over', share=0.99)}){jobs}"
    return f" ({answer.wording.percent(row.low)}–{answer.wording.percent(row.high)}){jobs}"


def step_cost(answer: Answer, step: Step) -> str:
    """Minutes of a step, and its money where it takes parts; nothing where it takes neither."""
    if step.do in ("hand over", "ask"):
        return ""
    return answer.wording.told(step.time()) + (f", {money(answer, step.money)}" if step.parts else "")


def _step(answer: Answer, number: int, step: Step) -> str:
    tell, told = answer.wording.tell, answer.wording.told
    given = f"{told(step.given)} → " if step.given else ""
    cures = f", {tell('answer.cures', chance=step.cures_probability)}" if step.cures_probability else ""
    cautions = told([c for c in step.cautions if c not in (AFTER_EVERY_REPAIR, ALWAYS)])
    tells = f". {told(step.tells)}" if not step.cures_probability and step.tells else ""
    cost = step_cost(answer, step)
    heed = f" [{cautions}]" if cautions else ""
    return f" {number} {given}{told(step.told)}{f' ({cost}{cures})' if cost else ''}{tells}{heed}"


def _carry(answer: Answer, visit: VisitPlan) -> str:
    """Parts to take along, those to order because there are none, and those that may be wanted and are left."""
    worth = [row for row in visit.carry if row.worth_it][:SHOWN_CARRY]
    other = [row for row in visit.carry if not row.worth_it and row.probability >= LEAST_ODDS]
    lacking = [row for row in other if (row.on_van, row.in_store) == (0, 0)]
    left = [row for row in other if row not in lacking][:2]
    parts, order, leave = (
        [sentence("answer.leading", cause=r.part, chance=r.probability) for r in rows]
        for rows in (worth, lacking[:SHOWN_CARRY], left)
    )
    none = sentence("answer.carry_none_there" if lacking else "answer.carry_none")
    told = [sentence("answer.carry", parts=parts or none)]
    told += [sentence("answer.order", parts=order)] if order else []
    told += [sentence("answer.leave", parts=leave)] if leave else []
    return str(answer.wording.told(several(told, ". ")))


def _quote(answer: Answer) -> str:
    low, middle, high = (Written(money(answer, amount)) for amount in answer.quote["money"])
    if low == high:
        told = answer.wording.tell("answer.quote_one", money=middle)
    else:
        told = answer.wording.tell("answer.quote", low=low, middle=middle, high=high)
    told += f" ({answer.wording.tell('answer.quote_without_call_out')})"
    return told + (f". {answer.wording.told(answer.remark)}" if answer.remark else "")


def caution_told(answer: Answer, name: str) -> str:
    """A caution of an answer in one line: its name, why it is told, its text."""
    told = answer.wording.told
    return f"! {told(answer.caution_title(name))}: {told(answer.trade.cautions[name])}"
