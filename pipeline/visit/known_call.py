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
        """Whether steps may be given: none where gas or the refrigerant circuit is spoken of, nor on gas appliances."""
        return not self.costs.trade.is_gas and not self.question.licensed
