"""The answer to one visit's question: likely causes, what to do in order, what to carry, what it may cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.advice.kept import AdviceRow, kept
from pipeline.terminal.text import Shown
from pipeline.visit.advice_for_call import for_parts
from pipeline.visit.circumstances import circumstances, first_things_first
from pipeline.visit.costs import Costs
from pipeline.visit.odds import Odds, model_for, odds_of, opinions
from pipeline.visit.plan import Step, VisitPlan, plan_visit
from pipeline.visit.question import Question, read_question
from pipeline.visit.similar_jobs import FEW, SHOWN_JOBS, Evidence, gather
from pipeline.words.appliance import ALWAYS, Trade, about

if TYPE_CHECKING:
    from models.plan.machine import Machine
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

LEAST_ODDS = 0.01
LOOKING_MINUTES = (
    15.0  # what finding a cause takes beside curing it, for a quote with few jobs (common practice, no source)
)
BEYOND_SHARE, BEYOND_JOBS = 0.25, 10
Range = tuple[float, float, float]


@dataclass(frozen=True)
class CauseRow:
    """One likely cause with the evidence behind it."""

    cause: str
    probability: float
    low: float
    high: float
    similar_jobs: int
    cured_by: tuple[str, ...]
    jobs: tuple[str, ...]


@dataclass(frozen=True)
class Asked:
    """A call before its plan: the question, what is known of its kind, the jobs like it, the odds."""

    question: Question
    costs: Costs
    evidence: Evidence
    odds: Odds

    @property
    def has_plan(self) -> bool:
        """Whether steps may be given: none on gas appliances, nor where gas is spoken of."""
        return not self.costs.trade.is_gas and "gas" not in self.question.words()


@dataclass(frozen=True, repr=False)
class Answer(Shown):
    """Everything known about one call; ``as_json`` and ``lines`` are its two faces.

    Attributes
    ----------
    causes
        Likeliest first, those of at least 1%.
    visit
        The plan; None for gas appliances, where no step is given.
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
    def note(self) -> str:
        """How much stands behind the odds, in words."""
        similar = self.similar_jobs
        if similar == 0:
            basis = "No similar job on record: the word lists' rough shares stand in"
        else:
            basis = f"{similar:,} similar job{'' if similar == 1 else 's'}" + (": few" if similar < FEW else "")
        untrained = "" if self.odds.model else " No model is trained: run priorjobs train."
        return f"{basis}.{untrained}" + (f" {self.odds.note}" if self.odds.note else "")

    def caution_names(self) -> tuple[str, ...]:
        """Cautions of the kind, of every step, and the two that always hold."""
        names = [*self.trade.kind_cautions, *(c for step in self.steps for c in step.cautions)]
        names += [name for row in self.advice for name in self.look_cautions(row)] + [ALWAYS]
        return tuple(dict.fromkeys(name for name in names if name in self.trade.cautions))

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
            "evidence": {"similar_jobs": self.similar_jobs, "note": self.note},
            "causes": [
                {
                    "cause": row.cause,
                    "probability": round(row.probability, 4),
                    "low": round(row.low, 4),
                    "high": round(row.high, 4),
                    "similar_jobs": row.similar_jobs,
                    "cured_by": list(row.cured_by),
                    "jobs": list(row.jobs),
                }
                for row in self.causes
            ],
            "none_of_these": round(self.odds.none_of_these, 4),
            "steps": [step_json(step, self.trade) for step in self.steps],
            "expected": {
                "minutes": round(visit.minutes, 1) if visit else None,
                "money": round(visit.money, 2) if visit else None,
                "visits": round(visit.visits, 2) if visit else None,
            },
            "carry": [
                {"part": row.part, "probability": round(row.probability, 4), "worth_it": row.worth_it}
                for row in (visit.carry if visit else ())
            ],
            "quote": {
                **dict(zip(("p10", "p50", "p90"), (round(x, 2) for x in self.quote["money"]), strict=True)),
                **{
                    name: dict(zip(("p10", "p50", "p90"), (round(x, 2) for x in self.quote[name]), strict=True))
                    for name in ("minutes", "parts")
                },
                "currency": self.currency,
            }
            if self.quote
            else {"p10": None, "p50": None, "p90": None},
            "advice": [
                {
                    "part": row.part,
                    "count": row.count,
                    "of": row.of,
                    "look_first": row.look_first,
                    "text": row.line(),
                    "caution_names": list(self.look_cautions(row)),
                    "cautions": list(row.cautions),
                }
                for row in self.advice
            ],
            "repair_or_replace": self.remark or None,
            "remarks": list(visit.remarks) if visit else [],
            "cautions": [self.trade.cautions[name] for name in self.caution_names()],
        }

    def lines(self) -> list[str]:
        """At most 20 lines for a terminal; see `pipeline.visit.answer_text`."""
        from pipeline.visit.answer_text import lines

        return lines(self)


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
        "cautions": [trade.cautions[name] for name in step.cautions if name in trade.cautions],
    }


def causes(
    database: Database,
    words: Words,
    settings: Settings,
    *,
    kind: str,
    make: str | None = None,
    model: str | None = None,
    age: str | None = None,
    complaint: str | None = None,
    code: str | None = None,
    found: Sequence[str] = (),
    job_no: str | None = None,
) -> Answer:
    """Answer one question in the words of a job sheet.

    Raises
    ------
    UsageError
        No kind of appliance was given.
    ModelError
        The model in use is damaged.
    """
    question = read_question(
        words,
        database.connection,
        kind=kind,
        make=make,
        model=model,
        age=age,
        complaint=complaint,
        code=code,
        found=found,
        job_no=job_no,
    )
    return answer(database, words, settings, question)


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
) -> Answer:
    """Answer a question already read.

    Parameters
    ----------
    question
        From `read_question`.
    unknowable
        Findings that could not be told: their checks are not offered again.
    machine, tried
        Its state, repairs done without cure or whose part was seen to be good; see `plan_visit`.
    aside
        Repairs that cannot be done at this visit.
    """
    (asked,) = ask(database, words, settings, [question])
    if tried:
        asked = replace(asked, odds=_without(asked.odds, asked.costs, tried))
    return answered(asked, kept(database), unknowable=unknowable, machine=machine, passed=(*tried, *aside))


def ask(database: Database, words: Words, settings: Settings, questions: Sequence[Question]) -> list[Asked]:
    """Look up what all questions need, every kind, record and the model once."""
    trades = {kind: about(words, kind) for kind in sorted({question.kind for question in questions})}
    whole = questions
    questions = [first_things_first(question, trades[question.kind]) for question in whole]
    found = gather(database.connection, questions, trades)
    costs = {
        question.kind: Costs(trades[question.kind], evidence.of_kind, settings)
        for question, evidence in {q.kind: (q, e) for q, e in zip(questions, found, strict=True)}.values()
    }
    if not questions:
        return []
    model, name = model_for(database, words)
    told = opinions(questions, model)
    return [
        Asked(asked, costs[q.kind], evidence, odds_of(q, trades[q.kind], evidence, model, name, opinion))
        for asked, q, evidence, opinion in zip(whole, questions, found, told, strict=True)
    ]


def answered(
    asked: Asked,
    advice: Sequence[AdviceRow],
    *,
    unknowable: Sequence[str] = (),
    machine: Machine | None = None,
    passed: Sequence[str] = (),
    carried: Sequence[str] | None = None,
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
        Parts in the van; None = those worth carrying by this call alone.
    """
    question, odds = asked.question, asked.odds
    if not asked.has_plan:
        return _gas_answer(asked)
    visit = plan_visit(
        odds.causes,
        asked.costs,
        seen={*question.findings, *unknowable},
        machine=machine,
        tried=set(passed),
        carried=carried,
        call=circumstances(question, asked.costs.trade, advice),
    )
    steps = tuple(visit.steps())
    return Answer(
        question=question,
        odds=odds,
        causes=_rows(asked),
        costs=asked.costs,
        evidence=asked.evidence,
        visit=visit,
        steps=steps,
        quote=_quote(asked),
        advice=for_parts(advice, question, _parts_in_question(visit, steps)),
        remark=_remark(asked.evidence),
        currency=asked.costs.settings.currency,
    )


def _parts_in_question(visit: VisitPlan, steps: Sequence[Step]) -> list[str]:
    """Parts that this visit may well fit: those among its steps and those worth carrying, likeliest first."""
    in_steps = {part for step in steps for part in step.parts}
    return [row.part for row in visit.carry if row.worth_it or row.part in in_steps]


def _gas_answer(asked: Asked) -> Answer:
    refer = Step("hand over", "refer to a person licensed for gas", "", 0.0, 0.0, 0.0, "", ("gas",))
    rows = tuple(replace(row, cured_by=()) for row in _rows(asked))
    currency = asked.costs.settings.currency
    return Answer(asked.question, asked.odds, rows, asked.costs, asked.evidence, None, (refer,), {}, (), "", currency)


def _without(odds: Odds, costs: Costs, tried: Sequence[str]) -> Odds:
    """Odds once these repairs were done and did not cure, or their parts were seen to be good."""
    cured = {c for act in costs.acts(list(odds.causes)) if act.name in tried for c in act.cures}
    left = {cause: p for cause, p in odds.causes.items() if cause not in cured}
    total = sum(left.values()) + odds.none_of_these
    scaled = {cause: p / total for cause, p in left.items()}
    return Odds(scaled, odds.none_of_these / total, odds.model, odds.note)


def _rows(asked: Asked) -> tuple[CauseRow, ...]:
    import numpy as np

    from models.causes.evidence import interval

    odds, costs, evidence = asked.odds, asked.costs, asked.evidence
    likely = {cause: p for cause, p in odds.causes.items() if p >= LEAST_ODDS}
    low, high = interval(np.array(list(likely.values())), float(sum(evidence.similar_jobs.values())))
    jobs: dict[str, list[str]] = {cause: [] for cause in likely}
    for cause, job in zip(evidence.similar["cause"], evidence.similar["job_no"], strict=True):
        if cause in jobs and isinstance(job, str):
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
        )
        for place, (cause, p) in enumerate(likely.items())
    )


def _quote(asked: Asked) -> dict[str, Range]:
    import numpy as np

    from models.plan.quote import quote_range

    costs, jobs = asked.costs, asked.evidence.similar
    likely = {cause: p for cause, p in asked.odds.causes.items() if p >= LEAST_ODDS}
    if not likely:
        return {}
    minutes = {cause: costs.minutes(cause) + LOOKING_MINUTES for cause in likely}
    parts = {cause: sum(costs.price(part) for part in costs.repair(cause).parts) for cause in likely}
    money = {cause: minutes[cause] * costs.rate + parts[cause] for cause in likely}
    paid = jobs["parts_cost"].to_numpy(dtype=float, na_value=float("nan"))
    took = jobs["labour_minutes"].to_numpy(dtype=float, na_value=float("nan"))
    spent = took * costs.rate + np.nan_to_num(paid)
    causes = jobs["cause"].tolist()
    return {
        "money": quote_range(likely, causes, spent, money),
        "minutes": quote_range(likely, causes, took, minutes),
        "parts": quote_range(likely, causes, paid, parts),
    }


def _remark(evidence: Evidence) -> str:
    """Repair or replace, only where enough similar episodes say so."""
    beyond, known = evidence.beyond_repair
    if known < BEYOND_JOBS or beyond < BEYOND_SHARE * known:
        return ""
    return f"{beyond} of {known} like it were beyond economic repair: quote before parts"
