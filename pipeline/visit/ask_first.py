"""What to ask the customer when nothing was understood: the two questions whose answers split the odds most."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.visit.plan import Step
from pipeline.words.appliance import ALWAYS, NOT_UNDERSTOOD
from reports.render.wording import Finding, Written, sentence, value_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pipeline.call.question import Question
    from pipeline.visit.costs import Costs
    from pipeline.visit.known_call import Asked
    from pipeline.words.appliance import CheckCard, Trade

COMPLAINT, KIND = "complaint", "kind"
MAY_BE = (NOT_UNDERSTOOD, "gas", "microwave", "sealed system")  # cautions of what an unknown kind may be
MOST_QUESTIONS, MOST_OPTIONS = 2, 12
TOLD_IN = 3.0  # minutes: what takes longer is not asked of a customer (common practice, no source)
SETTLED = 0.5  # a cause likelier than all others together is worth a plan
LEAST_TOLD = 0.02  # nats that an answer must tell


@dataclass(frozen=True)
class Inquiry:
    """One question: about the complaint or a finding, its words, its answers, and the nats its answer tells."""

    about: str
    text: str
    options: tuple[str, ...]
    tells: float


def is_silent(question: Question, odds: Mapping[str, float], trade: Trade) -> bool:
    """Whether nothing of a call was understood but the appliance, nor did past jobs in its very words settle the odds.

    Where the complaint denies the very appliance nothing was understood either.

    Parameters
    ----------
    question
        The call; words that no list knows are none of its complaints, but the model may have learned them.
    odds
        Cause → probability.
    trade
        Of its kind: a danger for which no check looks, and that no cause brings, tells no fault.
    """
    told = [name for name in question.symptoms if not trade.tells_no_fault(name)]
    is_understood = bool(told or question.codes or question.findings)
    return bool(question.other_kind) or (not is_understood and max(odds.values(), default=0.0) < SETTLED)


def inquiries(odds: Mapping[str, float], costs: Costs) -> list[Inquiry]:
    """Choose the questions: the first tells most about the cause, the second most once the first is answered.

    Parameters
    ----------
    odds
        Cause → probability.
    costs
        Word lists and records of the kind.
    """
    import numpy as np

    causes = list(odds)
    if not causes:
        return []
    p = np.array(list(odds.values()))
    p = p / p.sum()
    asked = {COMPLAINT: _complaints(costs.trade, causes)}
    for card in costs.trade.checks:
        if _is_told_by_telephone(card):
            asked[card.finding] = card.values, costs.records.likelihoods.of(card.finding, card.values, causes)
    chosen: list[Inquiry] = []
    worlds = [p]
    while asked and len(chosen) < MOST_QUESTIONS:
        told = {about: sum(_told(world, chances) for world in worlds) for about, (_, chances) in asked.items()}
        best = max(told, key=lambda about: told[about])
        options, chances = asked.pop(best)
        if told[best] < LEAST_TOLD or len(options) < 2:
            break
        chance = p @ chances
        order = sorted(range(len(options)), key=lambda k: -chance[k]) if best == COMPLAINT else range(len(options))
        names = tuple(options[k] for k in order if chance[k] > 0)
        if best != COMPLAINT:
            names = tuple(value_of(best, name) for name in names)
        names = names[:MOST_OPTIONS]
        entry = "answer.ask_complaint" if best == COMPLAINT else "answer.ask_finding"
        text = sentence(entry, about=Finding(best), options=names)
        chosen.append(Inquiry(best, text, names, float(told[best])))
        worlds = [world * chances[:, k] for world in worlds for k in range(len(options))]
    return chosen


def _complaints(trade: Trade, causes: list[str]) -> tuple[tuple[str, ...], NDArray[np.float64]]:
    """Complaints of the kind, and how likely each is told under each cause, by the shares of the word lists."""
    import numpy as np

    symptoms = tuple(trade.shares)
    shares = np.array([[trade.shares[symptom].get(cause, 0.0) for symptom in symptoms] for cause in causes])
    shares = shares.reshape(len(causes), len(symptoms)) + 1e-6
    return symptoms, shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-12)


def _is_told_by_telephone(card: CheckCard) -> bool:
    """Whether a customer can tell without tools, without opening anything and without switching it on."""
    return card.power == "any" and not card.access and card.minutes <= TOLD_IN


def _told(joint: NDArray[np.float64], chances: NDArray[np.float64]) -> float:
    """Mutual information of cause and answer, nats, times the probability of getting here."""
    import numpy as np

    both = joint[:, None] * chances
    mass = float(joint.sum())
    if mass <= 0:
        return 0.0
    independent = joint[:, None] * both.sum(axis=0) / mass
    there = both > 0
    return float((both[there] * np.log(both[there] / independent[there])).sum())


def ask_customer(asked: Asked) -> tuple[Step, ...]:
    """What to ask the customer where nothing was understood, instead of a plan for everything that can break."""
    return tuple(
        Step(
            "ask",
            one.text,
            "",
            0.0,
            0.0,
            0.0,
            "",
            (NOT_UNDERSTOOD, ALWAYS),
            about=one.about,
            options=one.options,
        )
        for one in inquiries(asked.odds.causes, asked.costs)
    )


def ask_kind(asked: Asked) -> Step:
    """Ask what it is: of a kind that no list and no past job knows nothing can be planned, nor what it costs.

    So it is where the complaint says that it is another kind than the call's.
    """
    kinds, other = asked.costs.trade.known_kinds, asked.question.other_kind
    text = (
        sentence("answer.ask_which_kind", kind=asked.question.kind, other=other)
        if other
        else sentence("answer.ask_kind", kind=Written(asked.question.kind), kinds=kinds)
    )
    cautions = (*MAY_BE, *asked.costs.trade.kind_cautions, ALWAYS)
    return Step("ask", text, "", 0.0, 0.0, 0.0, "", cautions, about=KIND)
