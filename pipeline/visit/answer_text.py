"""An answer as at most 20 lines for a terminal: what is likely, what to do, what to carry, what may hurt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.terminal.text import safe
from pipeline.visit.question import said

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.advice.kept import AdviceRow
    from pipeline.visit.answer import Answer, CauseRow
    from pipeline.visit.plan import Step, VisitPlan

MOST_LINES = 20
SHOWN_CAUSES, SHOWN_STEPS, SHOWN_CARRY = 4, 5, 3
LEAST_ODDS = 0.01
SIGNS = {"GBP": "£", "EUR": "€", "USD": "$"}


def lines(answer: Answer) -> list[str]:
    """Write an answer; cautions that do not fit a line each share lines, none is left out."""
    head = [f"{said(answer.question)}. {answer.note}"]
    if answer.question.not_understood:
        head.append("Not understood: " + ", ".join(f'"{text}"' for text in answer.question.not_understood[:6]))
    above = [*head, *_body(answer)]
    return [safe(line).replace("\n", " ") for line in [*above, *_cautions(answer, MOST_LINES - len(above))]]


def money(answer: Answer, amount: float) -> str:
    """Write an amount as people read it."""
    return f"{SIGNS.get(answer.currency, answer.currency + ' ')}{amount:,.0f}"


def advice_line(answer: Answer, row: AdviceRow) -> str:
    """One advice row with the cautions of what it says to look at."""
    names = answer.look_cautions(row)
    return row.line() + (f" [{', '.join(names)}]" if names else "")


def _body(answer: Answer) -> list[str]:
    visit = answer.visit
    if visit is None:
        return [_step(answer, 1, step) for step in answer.steps]
    has_jobs = answer.similar_jobs > 0
    causes = [
        f"{row.probability:4.0%}  {row.cause}" + (_backing(row) if has_jobs else "")
        for row in answer.causes[:SHOWN_CAUSES]
    ]
    causes.append(f"{answer.odds.none_of_these:4.0%}  none of these")
    expected = f"expect {visit.minutes:.0f} min, {money(answer, visit.money)}, {visit.visits:.1f} visits"
    steps = [_step(answer, number, step) for number, step in enumerate(answer.steps[:SHOWN_STEPS], start=1)]
    rest = [_carry(visit)] if visit.carry else []
    rest += [_quote(answer)] if answer.quote else []
    vain = "; ".join(advice_line(answer, row) for row in answer.advice[:2])
    rest += [f"Often in vain: {vain}"] if vain else []
    remarks = [". ".join(text[:1].upper() + text[1:] for text in visit.remarks) + "."] if visit.remarks else []
    return [*causes, *remarks, f"Do this, in order ({expected}):", *steps, *rest]


def _backing(row: CauseRow) -> str:
    jobs = f"  jobs {', '.join(row.jobs[:2])}" if row.jobs else ""
    return f" ({row.low:.0%}–{row.high:.0%}){jobs}"


def _step(answer: Answer, number: int, step: Step) -> str:
    given = f"{step.given} → " if step.given else ""
    cost = step.time() + (f", {money(answer, step.money)}" if step.parts else "")
    cures = f", cures {step.cures_probability:.0%}" if step.cures_probability else ""
    cautions = ", ".join(c for c in step.cautions if c != "after repair") or "none"
    tells = f". {step.tells}" if not step.cures_probability and step.tells else ""
    shown_cost = "" if step.do == "hand over" else f" ({cost}{cures})"
    return f" {number} {given}{step.told}{shown_cost}{tells} [{cautions}]"


def _carry(visit: VisitPlan) -> str:
    worth = [f"{row.part} {row.probability:.0%}" for row in visit.carry if row.worth_it][:SHOWN_CARRY]
    other = [row for row in visit.carry if not row.worth_it and row.probability >= LEAST_ODDS][:2]
    left = ", ".join(f"{row.part} {row.probability:.0%}" for row in other)
    return f"Carry: {', '.join(worth) or 'no part pays its place'}" + (f". Leave: {left}" if left else "")


def _quote(answer: Answer) -> str:
    low, middle, high = (money(answer, amount) for amount in answer.quote["money"])
    return f"Quote: {low} to {high}, half under {middle}" + (f". {answer.remark}" if answer.remark else "")


def _cautions(answer: Answer, room: int) -> list[str]:
    """All cautions in at most ``room`` lines, none of them much longer than the others."""
    texts = [f"! {name}: {answer.trade.cautions[name]}" for name in answer.caution_names()]
    longest = max(len(text) for text in texts)
    while len(packed := _packed(texts, longest)) > max(room, 1):
        longest += 1
    return packed


def _packed(texts: Sequence[str], longest: int) -> list[str]:
    """Texts in order, as many to a line as fit."""
    lines: list[str] = []
    for text in texts:
        if lines and len(lines[-1]) + 1 + len(text) <= longest:
            lines[-1] += f" {text}"
        else:
            lines.append(text)
    return lines
