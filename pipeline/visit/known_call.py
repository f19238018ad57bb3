"""A call before its plan: the question, and what is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline.visit.later_jobs import Learned

if TYPE_CHECKING:
    from pipeline.call.question import Question
    from pipeline.visit.costs import Costs
    from pipeline.visit.odds import Odds
    from pipeline.visit.similar_jobs import Evidence
    from pipeline.visit.why import Reason


@dataclass(frozen=True)
class Asked:
    """A call before its plan: the question, what is known of its kind, the jobs like it, the odds and their reasons.

    ``learned`` is what later jobs taught of quotes.
    """

    question: Question
    costs: Costs
    evidence: Evidence
    odds: Odds
    why: Mapping[str, tuple[Reason, ...]]
    learned: Learned = field(default_factory=Learned)

    @property
    def has_plan(self) -> bool:
        """Whether steps may be given: none on gas appliances, of gas or the refrigerant circuit, or for a rescue."""
        trade, question = self.costs.trade, self.question
        return not (trade.is_gas or question.licensed or trade.is_rescue(question.symptoms))
