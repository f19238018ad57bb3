"""Gas, the refrigerant circuit, somebody caught: who helps, and nothing else; no cause, no step, no part."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.visit.answer import Answer
from pipeline.visit.circumstances import hazards
from pipeline.visit.plan import HAND_OVER, Step
from pipeline.words.burnt import tells_of_smell
from pipeline.words.danger_signs import signs
from pipeline.words.licensed import ESCAPES, FUMES, GAS_SMELL, said_of_licensed

if TYPE_CHECKING:
    from pipeline.visit.known_call import Asked


RESCUED = "free whoever is caught; once everybody is safe, ask again without it"


def referral(asked: Asked) -> Answer:
    """Answer with nothing but who may do it, or that somebody is freed."""
    told = hazards(asked.question, asked.costs.trade).values()
    rescue = tuple(one.caution for one in told if one.is_rescue)
    if rescue and not asked.costs.trade.is_gas and not asked.question.licensed:
        name, cautions = RESCUED, tuple(one.caution for one in told if one.caution)
    elif asked.question.licensed == "refrigerant" and not asked.costs.trade.is_gas:
        escapes = (ESCAPES,) if ESCAPES in said_of_licensed([asked.question.complaint], asked.question.kind) else ()
        name, cautions = "refer to a person certified for refrigerants", (*rescue, *escapes, "sealed system")
    else:
        name, cautions = "refer to a person licensed for gas", (*rescue, *_of_gas(asked))
    refer = Step(HAND_OVER, name, "", 0.0, 0.0, 0.0, "", cautions)
    currency = asked.costs.settings.currency
    return Answer(asked.question, asked.odds, (), asked.costs, asked.evidence, None, (refer,), {}, (), "", currency)


def _of_gas(asked: Asked) -> tuple[str, ...]:
    """Cautions of gas: of its smell, unless a fault is told that is no danger, and nothing of any smell."""
    question, hazards_told = asked.question, hazards(asked.question, asked.costs.trade)
    if question.licensed == FUMES:
        return "carbon monoxide", "gas"
    is_fault = bool(question.symptoms) and not hazards_told
    has_sign = tells_of_smell(question.complaint) or signs(question.complaint, question.kind, frozenset())
    is_only_gas = is_fault and not has_sign and question.licensed != GAS_SMELL
    return ("licensed for gas",) if is_only_gas else ("gas",)
