"""What each check and repair of a call costs here: the workshop's own jobs, shrunk to the word lists."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.visit.check_signs import AT_HAND, Signs
from pipeline.words.appliance import AFTER_EVERY_REPAIR, ALWAYS, BY_EYE, CheckCard, PartCard, Repair, Trade

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.visit.similar_jobs import KindRecords

NONE_OF_THESE = "none of these"

# common practice, no source: minutes to open, to isolate or switch on, to refill; the share of opening that closing up
# takes; minutes to search further after a hand-over, jobs that a listed figure is worth
OPENING_MINUTES = {"machine tilted": 6.0, "bench": 10.0, "glass up": 6.0, "front off": 5.0}
OTHER_OPENING = 5.0
CLOSING_SHARE = 1.0
ISOLATING_MINUTES = 1.0
REFILLING_MINUTES = 4.0
SHOP = "bench"  # access group of what is done in the shop
JOB = "at the "  # begins the name of an access group that is no cover: the place a look and a repair have in common
HANDOVER_MINUTES = 60.0
REFERRAL_MINUTES = 15.0
LISTED_WORTH = 8.0
OWN_REPAIR_MINUTES = 30.0
ADVICE_MINUTES = 10.0
ARRIVAL_MINUTES = 10.0
LOOK_MINUTES = 7.0  # of looking at a part before fitting it (common practice, no source)
# what the plan gives to spare a part fitted in vain, beside its price, work and trip (the customer's trust); no money
# is told with it. In the demo world up to this much spares wrong parts and costs no more; beyond it money rises.
IN_VAIN_MONEY = 100.0


@dataclass(frozen=True)
class Act:
    """One repair of this call.

    Attributes
    ----------
    do
        fit (with parts) or clear.
    minutes
        Without what must be opened for it.
    access
        What must be opened; the place it shares with a look is among it.
    looked_at_by
        Check that looks at the very thing it puts right; "" = none.
    catches
        Share of good parts that a look before fitting knows as good.
    """

    do: str
    name: str
    minutes: float
    parts: tuple[str, ...]
    price: float
    cautions: tuple[str, ...]
    access: frozenset[str]
    cures: tuple[str, ...]
    power: str = "off"
    water: str = "any"
    looked_at_by: str = ""
    catches: float = BY_EYE


class Costs:
    """Minutes and money of checks and repairs of one kind of appliance.

    Attributes
    ----------
    trade, records, settings
        The kind's word lists, the workshop's records, rates.
    signs
        Which check shows which cause.
    rate, trip
        Money of a minute, and of a further visit (`further_trip`).
    besides
        Minutes that every visit takes beside checks and repairs.
    """

    def __init__(self, trade: Trade, records: KindRecords, settings: Settings) -> None:
        self.trade, self.records, self.settings = trade, records, settings
        self.rate = settings.hour_rate / 60
        self.besides, self._minutes = self._own_minutes()
        self.trip = further_trip(settings)
        self.signs = Signs(trade, records.likelihoods.jobs)
        self._shared: dict[str, float] = {}
        self._looks = {cause: self._looked_at_by(cause) for cause in trade.repairs}
        self._shared = self._minutes_in_common()

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
        """How a cause is cured: by the word lists, else by the part or the advice that most of its jobs ended with."""
        listed = self.trade.repairs.get(cause)
        if listed is not None:
            return listed
        part = self.records.cured_by.get(cause)
        if part is not None:
            return Repair((part,), f"fit {part}", None)
        advice = self.records.advised.get(cause)
        if advice is not None:
            return Repair((), advice, ADVICE_MINUTES, (ALWAYS,))
        return Repair((), f"repair: {cause}", OWN_REPAIR_MINUTES)

    def is_guess(self, cause: str) -> bool:
        """Whether neither list, nor job, nor decision says how a cause is cured, and no check shows it."""
        known = (self.trade.repairs, self.records.cured_by, self.records.advised)
        return not any(cause in cured for cured in known) and self.signs.own_check(cause) is None

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
        place = self.signs.place(causes[0])
        look = next((found for cause in causes if (found := self._looks.get(cause)) is not None), None)
        covers = frozenset({SHOP if self.is_shop_work(causes[0]) else place.access if place else ""} - {""})
        minutes = sum(self.minutes(cause) for cause in causes) / len(causes) - self.opening_minutes(covers)
        parts = repair.parts
        of_parts = tuple(c for part in parts for c in self.part(part).cautions)
        cautions = repair.cautions or of_parts or self.trade.kind_cautions
        shared = self._place_of(look)
        at = look or place
        drains = "water" in cautions if parts else at is not None and at.water == "out"
        return Act(
            do="fit" if parts else "clear",
            name=repair.action,
            minutes=max(minutes - self.opening_minutes(shared), 3.0 if not shared else 1.0),
            parts=parts,
            price=sum(self.price(part) for part in parts),
            cautions=tuple(dict.fromkeys([*cautions, AFTER_EVERY_REPAIR])),
            access=covers | shared,
            cures=tuple(causes),
            power="any" if look and look.power == "any" and not covers else "off",
            water="out" if drains else "any",
            looked_at_by=look.name if look else "",
            catches=min((self.part(part).by_eye for part in parts), default=BY_EYE),
        )

    def _looked_at_by(self, cause: str) -> CheckCard | None:
        """Find the check that looks at the very thing a repair without parts puts right, under no power."""
        is_cleared = not self.repair(cause).parts and not self.trade.is_licensed(cause)
        return self.signs.own_check(cause) if is_cleared else None

    def _minutes_in_common(self) -> dict[str, float]:
        """Place → minutes that looking at it and putting it right have in common: it is one job, paid once."""
        shared: dict[str, float] = {}
        for cause, card in self._looks.items():
            if card is not None:
                covers = frozenset({card.access} - {""})
                both = min(card.minutes, self.listed_minutes(self.repair(cause))) - self.opening_minutes(covers) - 1.0
                if both > 0:
                    shared[JOB + card.finding] = min(both, shared.get(JOB + card.finding, both))
        return shared

    def _place_of(self, card: CheckCard | None) -> frozenset[str]:
        """The place a check has in common with a repair; none for most."""
        return frozenset({JOB + card.finding} & set(self._shared)) if card else frozenset()

    def access_of(self, card: CheckCard) -> frozenset[str]:
        """What must be opened for a check."""
        return frozenset({card.access} - {""}) | self._place_of(card)

    def opening_minutes(self, groups: Collection[str]) -> float:
        """Minutes of opening these access groups."""
        return sum(
            self._shared[group] if group in self._shared else OPENING_MINUTES.get(group, OTHER_OPENING)
            for group in groups
        )

    def closing_minutes(self, group: str) -> float:
        """Minutes of closing one access group."""
        return 0.0 if group in self._shared else CLOSING_SHARE * self.opening_minutes({group})

    def is_place(self, group: str) -> bool:
        """Whether an access group is no cover but a place that a look and a repair have in common."""
        return group in self._shared

    def check_minutes(self, card: CheckCard) -> float:
        """Minutes of a check once its place is open."""
        return max(card.minutes - self.opening_minutes(self.access_of(card)), 1.0)

    def check_minutes_of(self, name: str) -> float:
        """Minutes of a check by its name, once its place is open."""
        return next(self.check_minutes(card) for card in self.trade.checks if card.name == name)

    def is_at_hand(self, act: Act, in_van: Collection[str]) -> bool:
        """Whether the parts of a repair are there when it is done: on the van, or in the shop for work on the bench."""
        return SHOP in act.access or set(act.parts) <= set(in_van)

    def is_shop_work(self, cause: str) -> bool:
        """Whether a cause can be told and cured only on the bench."""
        stated = [self.trade.stated.get((cause, card.finding), {}) for card in self.trade.checks if card.access == SHOP]
        return any(max(chances.values(), default=0.0) >= AT_HAND for chances in stated)


def further_trip(settings: Settings) -> float:
    """Money of one further visit, wherever it is counted: the way there and the minutes that arriving takes."""
    return settings.trip_cost + (settings.trip_minutes + ARRIVAL_MINUTES) * settings.hour_rate / 60
