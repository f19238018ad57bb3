"""What of a call makes a cause more or less likely: its odds as told against its odds had one fact not been told."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.words.customer_remarks import NEWLY_PLACED

if TYPE_CHECKING:
    from pipeline.call.question import Question
    from pipeline.visit.odds import Odds


@dataclass(frozen=True)
class Reason:
    """One fact of a call and what it does to one cause.

    Attributes
    ----------
    fact
        In words: "age 6 years".
    odds_ratio
        The cause's odds as told, divided by its odds had this fact alone not been told; over 1 speaks for the cause.
        Facts that say the same share the effect: each by itself may show little.
    """

    fact: str
    odds_ratio: float

    def as_json(self) -> dict[str, Any]:
        """Return it with three significant digits."""
        return {"fact": self.fact, "odds_ratio": float(f"{self.odds_ratio:.3g}")}


def untold(question: Question) -> dict[str, Question]:
    """Each fact of a question, in words → the question had nobody told it. The kind is always told."""
    from models.causes.features import season_of

    found: dict[str, Question] = {}
    if question.symptoms or question.complaint:
        told = ", ".join(question.symptoms) or "its words"
        found[f"complaint: {told}"] = replace(question, symptoms=(), complaint="")
    if question.codes:
        found[f"code {', '.join(question.codes)}"] = replace(question, codes=())
    if question.make:
        found[f"make {question.make}"] = replace(question, make=None)
    if question.model_family:
        found[f"model {question.model or question.model_family}"] = replace(question, model_family=None)
    if question.age_years is not None:
        found[f"age {question.age_years:.3g} years"] = replace(question, age_years=None)
    if question.on is not None:
        found[f"season {season_of(question.on)}"] = replace(question, on=None)
    if question.is_newly_placed:
        found[NEWLY_PLACED] = replace(question, is_newly_placed=False)
    for finding, value in question.findings.items():
        left = {name: seen for name, seen in question.findings.items() if name != finding}
        found[f"{finding}={value}"] = replace(question, findings=left)
    return found


def reasons(told: Odds, without: Mapping[str, Odds]) -> dict[str, tuple[Reason, ...]]:
    """What each fact does to each cause, the strongest first.

    Parameters
    ----------
    told
        Odds of the question as told.
    without
        Fact → odds of the question had it not been told.
    """
    log_odds = {cause: _log_odds(p) for cause, p in told.causes.items()}
    ratios = {
        cause: {fact: mine - _log_odds(other.causes[cause]) for fact, other in without.items() if cause in other.causes}
        for cause, mine in log_odds.items()
    }
    return {
        cause: tuple(
            Reason(fact, math.exp(ratio)) for fact, ratio in sorted(of_facts.items(), key=lambda row: -abs(row[1]))
        )
        for cause, of_facts in ratios.items()
    }


def _log_odds(p: float) -> float:
    kept = min(max(p, 1e-9), 1 - 1e-9)
    return math.log(kept / (1 - kept))
