"""The answer to one visit's question: likely causes, what to do in order, what to carry, what it may cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.evidence import FEW, SHOWN_JOBS, Evidence, gather
from pipeline.known_advice import AdviceRow, for_parts, kept
from pipeline.odds import Odds, odds_of, stored_model
from pipeline.question import Question, read_question
from pipeline.trade import ALWAYS, Trade, about
from pipeline.visit_plan import Step, VisitPlan, plan_visit

if TYPE_CHECKING:
    from pipeline.database import Database
    from pipeline.settings import Settings
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
class Answer:
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
    trade: Trade
    evidence: Evidence
    visit: VisitPlan | None
    steps: tuple[Step, ...]
    quote: Mapping[str, Range]
    advice: tuple[AdviceRow, ...]
    remark: str
    currency: str

    @property
    def note(self) -> str:
        """How much stands behind the odds, in words."""
        similar = len(self.evidence.similar)
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
            "evidence": {"similar_jobs": len(self.evidence.similar), "note": self.note},
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
            "cautions": [self.trade.cautions[name] for name in self.caution_names()],
        }

    def lines(self) -> list[str]:
        """At most 20 lines for a terminal; see `pipeline.answer_text`."""
        from pipeline.answer_text import lines

        return lines(self)


def step_json(step: Step, trade: Trade) -> dict[str, Any]:
    """One step as JSON: its cautions in full, so that no reader can show it without them."""
    return {
        "do": step.do,
        "name": step.name,
        "given": step.given,
        "minutes": round(step.minutes, 1),
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
    opened: frozenset[str] = frozenset(),
    tried: Sequence[str] = (),
    aside: Sequence[str] = (),
    carried: Sequence[str] | None = None,
    trade: Trade | None = None,
) -> Answer:
    """Answer a question already read.

    Parameters
    ----------
    question
        From `read_question`.
    unknowable
        Findings that could not be told: their checks are not offered again.
    opened, tried, carried
        What is open, repairs done without cure, parts in the van; see `plan_visit`.
    aside
        Repairs that cannot be done at this visit.
    trade
        The kind's word lists, when already cut.
    """
    trade = trade or about(words, question.kind)
    evidence = gather(database.connection, question, {card.finding: card.minutes for card in trade.checks})
    model, name = stored_model(database)
    odds = odds_of(question, trade, evidence, model, name)
    if tried:
        odds = _without(odds, trade, evidence, settings, tried)
    if trade.is_gas or _smells_of_gas(question):
        return _gas_answer(question, odds, trade, evidence, settings)
    visit = plan_visit(
        odds.causes,
        trade,
        evidence,
        settings,
        seen={*question.findings, *unknowable},
        opened=opened,
        tried={*tried, *aside},
        carried=carried,
    )
    steps = tuple(visit.steps())
    return Answer(
        question=question,
        odds=odds,
        causes=_rows(odds, trade, evidence, settings),
        trade=trade,
        evidence=evidence,
        visit=visit,
        steps=steps,
        quote=_quote(odds, visit, evidence, settings),
        advice=for_parts(kept(database), question, _parts_in_question(visit, steps)),
        remark=_remark(evidence),
        currency=settings.currency,
    )


def _parts_in_question(visit: VisitPlan, steps: Sequence[Step]) -> list[str]:
    """Parts that this visit may well fit: those among its steps and those worth carrying, likeliest first."""
    in_steps = {part for step in steps for part in step.parts}
    return [row.part for row in visit.carry if row.worth_it or row.part in in_steps]


def with_van(one: Answer, settings: Settings, carried: Sequence[str]) -> Answer:
    """Return the same answer planned anew for the parts that are really in the van."""
    if one.visit is None:
        return one
    visit = plan_visit(one.odds.causes, one.trade, one.evidence, settings, seen=one.question.findings, carried=carried)
    return replace(one, visit=visit, steps=tuple(visit.steps()))


def _smells_of_gas(question: Question) -> bool:
    return "gas" in question.complaint.lower().replace(",", " ").replace(".", " ").split()


def _gas_answer(question: Question, odds: Odds, trade: Trade, evidence: Evidence, settings: Settings) -> Answer:
    refer = Step("hand over", "refer to a person licensed for gas", "", 0.0, 0.0, 0.0, "", ("gas",))
    rows = tuple(
        CauseRow(r.cause, r.probability, r.low, r.high, r.similar_jobs, (), r.jobs)
        for r in _rows(odds, trade, evidence, settings)
    )
    return Answer(question, odds, rows, trade, evidence, None, (refer,), {}, (), "", settings.currency)


def _without(odds: Odds, trade: Trade, evidence: Evidence, settings: Settings, tried: Sequence[str]) -> Odds:
    """Odds once these repairs were done and did not cure."""
    from pipeline.visit_plan import Costs

    cured = {
        c for act in Costs(trade, evidence, settings).acts(list(odds.causes)) if act.name in tried for c in act.cures
    }
    left = {cause: p for cause, p in odds.causes.items() if cause not in cured}
    total = sum(left.values()) + odds.none_of_these
    scaled = {cause: p / total for cause, p in left.items()}
    return Odds(scaled, odds.none_of_these / total, odds.model, odds.note)


def _rows(odds: Odds, trade: Trade, evidence: Evidence, settings: Settings) -> tuple[CauseRow, ...]:
    import numpy as np

    from models.evidence import interval
    from pipeline.visit_plan import Costs

    likely = {cause: p for cause, p in odds.causes.items() if p >= LEAST_ODDS}
    similar = evidence.similar
    low, high = interval(np.array(list(likely.values())), float(len(similar)))
    costs = Costs(trade, evidence, settings)
    rows = []
    for (cause, p), lowest, highest in zip(likely.items(), low, high, strict=True):
        jobs = similar.loc[similar["cause"] == cause, "job_no"]
        cured_by = () if trade.is_licensed(cause) else costs.repair(cause).parts
        shown = tuple(str(job) for job in jobs.dropna().head(SHOWN_JOBS))
        rows.append(CauseRow(cause, p, float(lowest), float(highest), len(jobs), cured_by, shown))
    return tuple(rows)


def _quote(
    odds: Odds, visit: VisitPlan, evidence: Evidence, settings: Settings
) -> dict[str, tuple[float, float, float]]:
    from models.quote import quote_range
    from pipeline.visit_plan import Costs

    costs = Costs(visit.trade, evidence, settings)
    likely = {cause: p for cause, p in odds.causes.items() if p >= LEAST_ODDS}
    if not likely:
        return {}
    jobs = evidence.similar
    jobs = jobs.assign(money=jobs["labour_minutes"] * costs.rate + jobs["parts_cost"].fillna(0.0))
    minutes = {cause: costs.minutes(cause) + LOOKING_MINUTES for cause in likely}
    parts = {cause: sum(costs.price(part) for part in costs.repair(cause).parts) for cause in likely}
    money = {cause: minutes[cause] * costs.rate + parts[cause] for cause in likely}
    return {
        "money": quote_range(likely, jobs, money, "money"),
        "minutes": quote_range(likely, jobs, minutes, "labour_minutes"),
        "parts": quote_range(likely, jobs, parts, "parts_cost"),
    }


def _remark(evidence: Evidence) -> str:
    """Repair or replace, only where enough similar episodes say so."""
    beyond, known = evidence.beyond_repair
    if known < BEYOND_JOBS or beyond < BEYOND_SHARE * known:
        return ""
    return f"{beyond} of {known} like it were beyond economic repair: quote before parts"
