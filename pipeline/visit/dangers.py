"""Dangers told before or met on a job: which customers are rung first, and what stops a visit that is tapped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.visit.circumstances import hazards
from pipeline.words.appliance import DO_NOT_ENERGISE, NOT_UNDERSTOOD
from pipeline.words.licensed import ESCAPES, FUMES, GAS_SMELL, said_of_licensed

if TYPE_CHECKING:
    from pipeline.call.question import Question
    from pipeline.words.appliance import Hazard, Trade

GAS, FUMES_OF_GAS = "gas", "carbon monoxide"
_LABELS = {GAS: "smell of gas", ESCAPES: "refrigerant escapes", FUMES_OF_GAS: "fumes or headache near gas"}


def ring_first(question: Question, trade: Trade) -> tuple[str, ...]:
    """Cautions to ring a customer with before the round begins, the gravest first; none = it can wait for the visit.

    What may only be a danger is asked by telephone too.
    """
    smelt = said_of_licensed([question.complaint], question.kind)
    if FUMES in smelt:
        return FUMES_OF_GAS, GAS
    if GAS_SMELL in smelt:
        return (GAS,)
    if ESCAPES in smelt and not trade.is_gas:
        return (ESCAPES,)
    told = hazards(question, trade).items()
    names = [_caution(one) for _, one in told]
    names += [DO_NOT_ENERGISE] if question.is_unsafe(trade.unsafe) else []
    return tuple(dict.fromkeys(names)) or ((NOT_UNDERSTOOD,) if question.may_hurt else ())


def to_meet(trade: Trade) -> list[tuple[str, tuple[str, ...]]]:
    """Every danger that may be met on a job of this kind, as people say it, with the cautions that hold then."""
    licensed = [FUMES_OF_GAS, GAS] if trade.is_gas else [GAS]
    if not trade.is_gas and (not trade.repairs or any(map(trade.is_licensed, trade.repairs))):
        licensed.append(ESCAPES)
    met = [(_LABELS[name], (name,)) for name in licensed]
    of_kind = [(name, tuple(dict.fromkeys((_caution(one), DO_NOT_ENERGISE)))) for name, one in trade.hazards.items()]
    return [*met, *of_kind]


def _caution(hazard: Hazard) -> str:
    return hazard.caution or DO_NOT_ENERGISE
