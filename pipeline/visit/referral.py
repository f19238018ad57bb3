"""Gas and the refrigerant circuit: who may do it, and nothing else; no cause, no step, no part."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.visit.answer import Answer
from pipeline.visit.plan import HAND_OVER, Step
from pipeline.words.licensed import ESCAPES, said_of_licensed

if TYPE_CHECKING:
    from pipeline.visit.known_call import Asked


def referral(asked: Asked) -> Answer:
    """Answer with nothing but who may do it."""
    if asked.question.licensed == "refrigerant" and not asked.costs.trade.is_gas:
        escapes = (ESCAPES,) if ESCAPES in said_of_licensed([asked.question.complaint], asked.question.kind) else ()
        name, cautions = "refer to a person certified for refrigerants", (*escapes, "sealed system")
    else:
        fumes = ("carbon monoxide",) if asked.question.licensed == "fumes" else ()
        name, cautions = "refer to a person licensed for gas", (*fumes, "gas")
    refer = Step(HAND_OVER, name, "", 0.0, 0.0, 0.0, "", cautions)
    currency = asked.costs.settings.currency
    return Answer(asked.question, asked.odds, (), asked.costs, asked.evidence, None, (refer,), {}, (), "", currency)
