"""What each check and repair of a call costs here: the workshop's own jobs, shrunk to the word lists."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.words.appliance import AFTER_EVERY_REPAIR, CheckCard, PartCard, Repair, Trade

if TYPE_CHECKING:
    from models.plan.problem import Problem
    from pipeline.settings import Settings
    from pipeline.visit.similar_jobs import KindRecords

NONE_OF_THESE = "none of these"

# common practice, no source: minutes to open, to search further after a hand-over, jobs that a listed figure is worth
OPENING_MINUTES = {"machine tilted": 6.0, "bench": 10.0, "glass up": 6.0, "front off": 5.0}
OTHER_OPENING = 4.0
HANDOVER_MINUTES = 60.0
STRANGE_FAULT_MINUTES = 90.0
REFERRAL_MINUTES = 15.0
LISTED_WORTH = 8.0
OWN_REPAIR_MINUTES = 30.0
ARRIVAL_MINUTES = 10.0
# common practice, no source: looking at a part before fitting it, how often a good part is seen to be good, and how
# often a repair that did not help is noticed only after leaving
LOOK_MINUTES = 7.0
LOOK_CATCHES = 0.9
UNNOTICED = 0.3
# what the plan gives to spare a part fitted in vain, beside its price, work and trip (the customer's trust); no money
# is told with it. In the demo world up to this much spares wrong parts and costs no more; beyond it money rises.
IN_VAIN_MONEY = 100.0


@dataclass(frozen=True)
class Act:
    """One repair of this call: ``do`` is fit (with parts) or clear; minutes without openings; what it cures."""

    do: str
    name: str
    minutes: float
    parts: tuple[str, ...]
    price: float
    cautions: tuple[str, ...]
    access: str
    cures: tuple[str, ...]


class Costs:
    """Minutes and money of checks and repairs of one kind of appliance.

    Attributes
    ----------
    trade, records, settings
        The kind's word lists, the workshop's records, rates.
    rate, trip
        Money of a minute, and of a further visit: the way there and the minutes that every visit takes besides.
    """

    def __init__(self, trade: Trade, records: KindRecords, settings: Settings) -> None:
        self.trade, self.records, self.settings = trade, records, settings
        self.rate = settings.hour_rate / 60
        self.besides, self._minutes = self._own_minutes()
        self.trip = settings.trip_cost + (settings.trip_minutes + self.besides) * self.rate

    def _own_minutes(self) -> tuple[float, dict[str, tuple[float, float]]]:
        """Minutes every visit takes besides; cause → (jobs, minutes of the repair alone, parts looked at before)."""
        import numpy as np

        rows = [
            (cause, float(jobs), mean - checks - (LOOK_MINUTES if self.repair(cause).parts else 0.0))
            for cause, (jobs, mean, checks) in self.records.minutes.items()
        ]
        over = [left - self.listed_minutes(self.repair(cause)) for cause, jobs, left in rows if jobs >= LISTED_WORTH]
        besides = float(np.clip(np.median(over), 0, 45)) if over else ARRIVAL_MINUTES
        return besides, {cause: (jobs, max(left - besides, 3.0)) for cause, jobs, left in rows}

    def repair(self, cause: str) -> Repair:
        """How a cause is cured: by the word lists, else by the part that cured it most, else by putting it right."""
        listed = self.trade.repairs.get(cause)
        if listed is not None:
            return listed
        part = self.records.cured_by.get(cause)
        if part is not None:
            return Repair((part,), f"fit {part}", None)
        return Repair((), f"repair: {cause}", OWN_REPAIR_MINUTES)

    def part(self, part: str) -> PartCard:
        """Return a part's card; a part no list knows takes the kind's cautions."""
        return self.trade.parts.get(part, PartCard(0.0, OWN_REPAIR_MINUTES, self.trade.kind_cautions))

    def price(self, part: str) -> float:
        """Money of one part: median paid, shrunk to the listed price."""
        listed = self.part(part).price
        jobs, paid = self.records.prices.get(part, (0, 0.0))
        worth = LISTED_WORTH if listed else 0.0
        return float((jobs * paid + worth * listed) / (jobs + worth)) if jobs + worth else 0.0

    def listed_minutes(self, repair: Repair) -> float:
        """Minutes the word lists give a repair."""
        if repair.minutes is not None:
            return repair.minutes
        return sum(self.part(part).minutes for part in repair.parts) or OWN_REPAIR_MINUTES

    def minutes(self, cause: str) -> float:
        """Minutes of curing a cause once it is known."""
        jobs, own = self._minutes.get(cause, (0.0, 0.0))
        return (jobs * own + LISTED_WORTH * self.listed_minutes(self.repair(cause))) / (jobs + LISTED_WORTH)

    def acts(self, causes: Sequence[str]) -> list[Act]:
        """Repairs that may cure these causes, each once; licensed work is not among them."""
        cures: dict[tuple[str, ...], list[str]] = {}
        for cause in causes:
            if not self.trade.is_licensed(cause):
                repair = self.repair(cause)
                cures.setdefault(repair.parts or ("", repair.action), []).append(cause)
        return [self._act(cured) for cured in cures.values()]

    def _act(self, causes: Sequence[str]) -> Act:
        repair = self.repair(causes[0])
        place = self._place(causes[0])
        access = place.access if place else ""
        minutes = sum(self.minutes(cause) for cause in causes) / len(causes)
        if repair.parts:
            cautions = [c for part in repair.parts for c in self.part(part).cautions]
        else:
            cautions = list(place.cautions if place else self.trade.kind_cautions)
        return Act(
            do="fit" if repair.parts else "clear",
            name=repair.action,
            minutes=max(minutes - opening_minutes({access}), 3.0),
            parts=repair.parts,
            price=sum(self.price(part) for part in repair.parts),
            cautions=tuple(dict.fromkeys([*cautions, AFTER_EVERY_REPAIR])),
            access=access,
            cures=tuple(causes),
        )

    def _place(self, cause: str) -> CheckCard | None:
        """Find the check that looks at the place of a cause: the one it shows in most plainly by an unusual value."""
        best, most = None, 0.3
        for card in self.trade.checks:
            shown = self.trade.stated.get((cause, card.finding), {})
            unusual = max((p for value, p in shown.items() if value != card.values[0]), default=0.0)
            if unusual > most and card.cautions:
                best, most = card, unusual
        return best

    def problem(
        self,
        odds: Mapping[str, float],
        checks: Sequence[CheckCard],
        acts: Sequence[Act],
        opened: frozenset[str],
        in_van: Collection[str],
    ) -> Problem:
        """Put the call to the planner."""
        import numpy as np

        from models.plan.problem import Action, Check, Look, Problem

        causes = (*odds, NONE_OF_THESE)
        p = np.array([*odds.values(), max(1.0 - sum(odds.values()), 1e-6)])
        p = p / p.sum()
        looks = tuple(
            Check(
                card.name,
                check_minutes(card) * self.rate,
                card.values,
                self.records.likelihoods.of(card.finding, card.values, causes),
                frozenset({card.access} - {""}),
            )
            for card in checks
        )
        look = Look(LOOK_MINUTES * self.rate, 1 - LOOK_CATCHES)
        repairs = tuple(
            Action(
                act.name,
                act.minutes * self.rate + act.price + (0.0 if set(act.parts) <= set(in_van) else self.trip),
                np.array([float(cause in act.cures) for cause in causes]),
                frozenset({act.access} - {""}),
                UNNOTICED * self.trip + (IN_VAIN_MONEY if act.parts else 0.0),
                look if act.parts else None,
            )
            for act in acts
        )
        accesses = [*(check.access for check in looks), *(repair.access for repair in repairs), opened]
        openings = {g: opening_minutes({g}) * self.rate for g in sorted(frozenset[str]().union(*accesses))}
        return Problem(causes, p, looks, repairs, np.array([self._handover(c, acts) for c in causes]), openings, opened)

    def _handover(self, cause: str, acts: Sequence[Act]) -> float:
        if cause != NONE_OF_THESE and self.trade.is_licensed(cause):
            return self.trip + REFERRAL_MINUTES * self.rate
        cured = [act.minutes * self.rate + act.price for act in acts if cause in act.cures]
        usual = sorted(act.minutes * self.rate + act.price for act in acts)
        search = HANDOVER_MINUTES if cured else STRANGE_FAULT_MINUTES
        repair = min(cured) if cured else (usual[len(usual) // 2] if usual else OWN_REPAIR_MINUTES * self.rate)
        return self.trip + search * self.rate + repair


def check_minutes(card: CheckCard) -> float:
    """Minutes of a check once its place is open."""
    return max(card.minutes - opening_minutes({card.access}), 1.0)


def opening_minutes(groups: Collection[str]) -> float:
    """Minutes of opening these access groups; "" is none."""
    return sum(OPENING_MINUTES.get(group, OTHER_OPENING) for group in groups if group)
