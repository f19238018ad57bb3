"""What a visit shows at a step, in few lines for a phone: odds, the step, its cautions, the keys to press."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.on_site.keys import choices
from pipeline.visit.answer import Answer, advice_line, caution_told, step_cost
from pipeline.words.appliance import ALWAYS
from reports.render.wording import Written, sentence

if TYPE_CHECKING:
    from pipeline.visit.plan import Step
    from pipeline.words.appliance import Trade
    from reports.render.wording import Wording


def screen(now: Answer, step: Step, warned: set[str]) -> list[str]:
    """Few lines for a phone: odds, the step, its cautions (their text when they first appear), the numbers to press."""
    tell, told = now.wording.tell, now.wording.told
    names = cautions_on_screen(now, step)
    new = [caution_told(now, name) for name in names if name not in warned]
    known = [name for name in names if name in warned]
    old = [f"! {told(known)}"] if known else []
    keys = "  ".join(f"{key} {told(label)}" for key, label in choices(now, step).items())
    if now.visit is None and step.do != "ask":
        return ["", *new, *old, tell("visit.next", step=step.name), keys]
    odds = " · ".join(
        told(sentence("answer.leading", cause=row.cause, chance=row.probability)) for row in now.causes[:3]
    )
    cost = step_cost(now, step)
    lines = ["", odds, tell("visit.next", step=step.told) + (f" ({cost})" if cost else "")]
    rows = [Written(advice_line(now, row)) for row in now.advice if row.part in step.parts]
    lines += [tell("visit.needless", advice=row) for row in rows]
    lines += [*new, *old]
    if now.visit is not None and not warned:
        worth = [sentence("answer.leading", cause=part, chance=chance) for part, chance in _wanted(now)]
        lines += [tell("visit.carry", parts=worth[:3])] if worth else []
    return [*lines, keys]


def _wanted(now: Answer) -> list[tuple[str, float]]:
    """Parts worth carrying, each with the chance by now that it is needed, the likeliest first."""
    worth = [row.part for row in now.visit.carry if row.worth_it] if now.visit else []
    chances = {
        part: sum(p for cause, p in now.odds.causes.items() if part in now.costs.repair(cause).parts) for part in worth
    }
    return sorted(chances.items(), key=lambda row: -row[1])


def caution_line(wording: Wording, trade: Trade, name: str) -> str:
    """A caution by its name, with its text."""
    return f"! {wording.told(name)}: {wording.told(trade.cautions.get(name, ''))}"


def cautions_on_screen(now: Answer, step: Step) -> tuple[str, ...]:
    """Cautions of the step, and of what advice about its parts says to look at; the one of all steps is told once."""
    looks = [name for row in now.advice if row.part in step.parts for name in now.look_cautions(row)]
    names = dict.fromkeys([*now.alarms, *step.cautions, *looks])
    return tuple(name for name in names if name in now.trade.cautions and name != ALWAYS)
