"""What each check and repair of a call costs here: the workshop's own jobs, shrunk to the word lists."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.visit.circumstances import Circumstances
from pipeline.words.appliance import AFTER_EVERY_REPAIR, ALWAYS, BY_EYE, CheckCard, PartCard, Repair, Trade

if TYPE_CHECKING:
    from models.plan.machine import Machine
    from models.plan.problem import First, Floats, Look, Problem
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
ADVISE = "advise"  # begins the name of a repair that only tells the customer something
JOB = "at the "  # begins the name of an access group that is no cover: the place a look and a repair have in common
AT_HAND = 0.7  # chance of an outcome under a cause from which on the outcome shows the cause itself
NOT_ELSEWHERE = 0.3  # most odds of other causes that would show the same
# least chance that what anyone can see shows a cause, and least odds of such causes, for which parts and panels wait
SEEN_BY_ANYONE = 0.5
WORTH_A_GLANCE = 0.05
# jobs from which on a cause shows in a check though no list says so; least odds of what shows for it to be a step
LEAST_JOBS, LEAST_SHOWN = 4, 0.01
COMES_AND_GOES = 0.5  # chance that a fault that comes and goes does not show when it is looked for
HANDOVER_MINUTES = 60.0
STRANGE_FAULT_MINUTES = 90.0
REFERRAL_MINUTES = 15.0
LISTED_WORTH = 8.0
OWN_REPAIR_MINUTES = 30.0
ADVICE_MINUTES = 10.0
ARRIVAL_MINUTES = 10.0
# common practice, no source: looking at a part before fitting it, and how often a repair that did not help is noticed
# only after leaving, where it does not show at once
LOOK_MINUTES = 7.0
UNNOTICED = 0.3
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
        self._usual_values: dict[str, str] = {}
        self._shared: dict[str, float] = {}
        self._places: dict[str, CheckCard | None] = {}
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
        return (
            None if self.repair(cause).parts or self.trade.is_licensed(cause) else self._shown_by_check(cause, AT_HAND)
        )

    def _shown(self, cause: str, card: CheckCard) -> tuple[str, float]:
        """Return the outcome other than the usual that a cause shows most plainly in a check, and its chance."""
        from models.plan.likelihood import NORMAL

        stated = self.trade.stated.get((cause, card.finding), {})
        usual = card.values[0] if card.values[0] in NORMAL else ""
        return max(
            ((value, p) for value, p in stated.items() if value != usual), key=lambda row: row[1], default=("", 0.0)
        )

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

    def check_minutes(self, card: CheckCard) -> float:
        """Minutes of a check once its place is open."""
        return max(card.minutes - self.opening_minutes(self.access_of(card)), 1.0)

    def check_minutes_of(self, name: str) -> float:
        """Minutes of a check by its name, once its place is open."""
        return next(self.check_minutes(card) for card in self.trade.checks if card.name == name)

    def clears(self, card: CheckCard, odds: Mapping[str, float], acts: Sequence[Act]) -> dict[str, str]:
        """Outcome of a check → repair that follows at once: what is seen blocked or faulty is put right next."""
        found: dict[str, tuple[float, str]] = {}
        for act in acts:
            for cause in act.cures:
                value, _ = self._shown(cause, card)
                chance = sum(odds.get(name, 0.0) for name in act.cures)
                is_own = self._shown_by_check(cause, AT_HAND) is card
                if is_own and self._elsewhere(card, value, odds, act) <= NOT_ELSEWHERE:
                    found[value] = max(found.get(value, (0.0, "")), (chance, act.name))
        return {value: name for value, (_, name) in found.items()}

    def _elsewhere(self, card: CheckCard, value: str, odds: Mapping[str, float], act: Act) -> float:
        """Share of the other causes' odds that would show the same."""
        others = {cause: p for cause, p in odds.items() if cause not in act.cures and cause != NONE_OF_THESE}
        same = sum(p for c, p in others.items() if self.trade.stated.get((c, card.finding), {}).get(value, 0.0) >= 0.5)
        return same / max(sum(others.values()), 1e-9)

    def _place(self, cause: str) -> CheckCard | None:
        """Find the check that looks at the place of a cause: the one it shows in most plainly by an unusual value."""
        if cause not in self._places:
            self._places[cause] = self._find_place(cause)
        return self._places[cause]

    def _find_place(self, cause: str) -> CheckCard | None:
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
        machine: Machine,
        in_van: Collection[str],
        call: Circumstances,
    ) -> Problem:
        """Put the call to the planner."""
        import numpy as np

        from models.plan.likelihood import NORMAL
        from models.plan.machine import Prices
        from models.plan.problem import Action, Check, Problem

        causes = (*odds, NONE_OF_THESE)
        p = np.array([*odds.values(), max(1.0 - sum(odds.values()), 1e-6)])
        p = p / p.sum()
        first = self._safe_first(causes, checks, acts, call)
        looks = []
        for card in self._telling(checks, odds, call):
            chances = self.records.likelihoods.of(card.finding, card.values, causes)
            if call.is_intermittent and card.values[0] in NORMAL:
                chances = (1 - COMES_AND_GOES) * chances + COMES_AND_GOES * (np.arange(len(card.values)) == 0)
            looks.append(
                Check(
                    card.name,
                    self.check_minutes(card) * self.rate,
                    card.values,
                    chances,
                    self.access_of(card),
                    card.power,
                    card.covers,
                    card.water,
                    {} if first[1:] else self.clears(card, odds, acts),
                    rules_out=self._rules_out(card, acts, call),
                    forbids=frozenset(value for value in card.values if (card.finding, value) in self.trade.unsafe),
                )
            )
        tells = not call.is_intermittent and self.trade.decisive.isdisjoint(call.findings.items())  # a look at a part
        due = self._due(odds, acts, call)
        unnoticed = 0.0 if call.shows_at_once and not call.is_intermittent else UNNOTICED
        repairs = tuple(
            Action(
                act.name,
                act.minutes * self.rate + act.price + (0.0 if self.is_at_hand(act, in_van) else self.trip),
                np.array([float(cause in act.cures) for cause in causes]),
                act.access,
                unnoticed * self.trip + (IN_VAIN_MONEY if act.parts else 0.0),
                self._look(act) if act.parts and tells and act.name != due else None,
                act.power,
                act.water,
                frozenset({act.looked_at_by} - {""}),
            )
            for act in acts
        )
        accesses = [*(look.access for look in looks), *(repair.access for repair in repairs), machine.opened]
        groups = sorted(frozenset[str]().union(*accesses))
        prices = Prices(
            {group: self.opening_minutes({group}) * self.rate for group in groups},
            {group: self.closing_minutes(group) * self.rate for group in groups if group not in self._shared},
            ISOLATING_MINUTES * self.rate,
            ISOLATING_MINUTES * self.rate,
            REFILLING_MINUTES * self.rate,
        )
        handover = np.array([self._handover(c, acts) for c in causes])
        if not first:
            later = [act for act in acts if not (act.parts and act.name == due)]
            glances = [] if machine.stays_off else self._glances(causes, p, checks, later)
            first = [*self._advised(causes, acts, call), *glances]  # what is unsafe is made safe first
        return Problem(causes, p, tuple(looks), repairs, handover, prices, machine, due, tuple(first))

    def _telling(self, checks: Sequence[CheckCard], odds: Mapping[str, float], call: Circumstances) -> list[CheckCard]:
        """Checks in which a cause shows, by the word lists or in enough jobs; chance alone makes no step."""
        asked = {*call.first, *call.looks_first.values()}
        return [
            card
            for card in checks
            if card.name in asked or sum(p for cause, p in odds.items() if self._shows(cause, card)) >= LEAST_SHOWN
        ]

    def _shows(self, cause: str, card: CheckCard) -> bool:
        """Whether a check was ever known to show a cause by a value that is not the usual one."""
        usual = self._usual(card)
        if any(value != usual for value in self.trade.stated.get((cause, card.finding), {})):
            return True
        jobs = self.records.likelihoods.jobs.get((cause, card.finding), {})
        return sum(jobs.values()) >= LEAST_JOBS and max(jobs, key=lambda value: jobs[value]) != usual

    def _usual(self, card: CheckCard) -> str:
        """Value that a check shows most often in the workshop's jobs; where it has none, that of a sound appliance."""
        if card.finding not in self._usual_values:
            seen: dict[str, float] = {}
            for (_, finding), jobs in self.records.likelihoods.jobs.items():
                for value, count in jobs.items() if finding == card.finding else ():
                    seen[value] = seen.get(value, 0.0) + count
            of_sound = "" if card.values[0] in ("yes", "no") else card.values[0]
            self._usual_values[card.finding] = max(seen, key=lambda value: seen[value], default=of_sound)
        return self._usual_values[card.finding]

    def _look(self, act: Act) -> Look:
        """A look at a part as it is fitted: only once the checks of its own, such as that of a meter, are made."""
        from models.plan.problem import Look

        own = [self._shown_by_check(cause, AT_HAND) for cause in act.cures]
        after = frozenset(card.name for card in own if card and card.covers != "on")
        return Look(LOOK_MINUTES * self.rate, 1 - act.catches, after)

    def _shown_by(self, act: Act) -> str:
        """Check without power that shows all that a repair cures: what is found good there is not mended; "" = none."""
        if not act.parts:
            return act.looked_at_by
        places = {place.name if place else "" for place in (self._shown_by_check(c, AT_HAND) for c in act.cures)}
        return places.pop() if len(places) == 1 else ""

    def _shown_by_check(self, cause: str, least: float) -> CheckCard | None:
        """Check without power that looks at the place of a cause and shows it with at least such a chance."""
        place = self._place(cause)
        return place if place and place.power != "needed" and self._shown(cause, place)[1] >= least else None

    def ruled_out(self, acts: Sequence[Act], call: Circumstances) -> set[str]:
        """Repairs of what was already seen to be in order."""
        rows = ((call.findings.get(card.finding, ""), self._rules_out(card, acts, call)) for card in self.trade.checks)
        return {ruled[value] for value, ruled in rows if value in ruled}

    def _rules_out(self, card: CheckCard, acts: Sequence[Act], call: Circumstances) -> dict[str, str]:
        """Outcome of a check → repair of the very thing looked at, seen to be in order; not where a fault may hide."""
        ruled: dict[str, str] = {}
        for act in acts:
            if card.name == self._shown_by(act) and not call.is_intermittent:
                faulty = {self._shown(cause, card)[0] for cause in act.cures}
                ruled |= {value: act.name for value in card.values if value not in faulty}
        return ruled

    def _safe_first(
        self, causes: Sequence[str], checks: Sequence[CheckCard], acts: Sequence[Act], call: Circumstances
    ) -> list[First]:
        """Checks that what is told asks for, in their order, before everything else."""
        import numpy as np

        from models.plan.problem import First

        every = np.ones(len(causes), dtype=bool)
        wait = frozenset((*(card.name for card in checks), *(act.name for act in acts)))
        names = [name for name in call.first if name in wait]
        return [
            First(name, wait - frozenset(names[: place + 1]), every, is_strict=True) for place, name in enumerate(names)
        ]

    def _advised(self, causes: Sequence[str], acts: Sequence[Act], call: Circumstances) -> list[First]:
        """Checks that the workshop's advice names to come before a part, and those that show what is written off."""
        import numpy as np

        from models.plan.problem import First

        every = np.ones(len(causes), dtype=bool)
        advised = [
            First(look, frozenset(act.name for act in acts if part in act.parts), every, is_strict=True)
            for part, look in call.looks_first.items()
        ]
        written_off = [act for act in acts if act.name.startswith(ADVISE) and act.looked_at_by]
        return [*advised, *(First(act.looked_at_by, frozenset({act.name}), every) for act in written_off)]

    def _glances(
        self, causes: Sequence[str], p: Floats, checks: Sequence[CheckCard], acts: Sequence[Act]
    ) -> list[First]:
        """What anyone can see or turn comes before any panel and any repair but those of what is seen so."""
        import numpy as np

        from models.plan.problem import First

        shown = {
            card.name: np.array([self._shown(cause, card)[1] >= SEEN_BY_ANYONE for cause in causes])
            for card in checks
            if card.is_for_anyone
        }
        seen = {cause for found in shown.values() for cause, is_seen in zip(causes, found, strict=True) if is_seen}
        later = frozenset(act.name for act in acts if act.parts or not seen.issuperset(act.cures)) | frozenset(
            card.name for card in checks if card.access
        )
        return [
            First(name, later - {name}, found, WORTH_A_GLANCE)
            for name, found in shown.items()
            if p @ found >= WORTH_A_GLANCE
        ]

    def is_at_hand(self, act: Act, in_van: Collection[str]) -> bool:
        """Whether the parts of a repair are there when it is done: on the van, or in the shop for work on the bench."""
        return SHOP in act.access or set(act.parts) <= set(in_van)

    def is_shop_work(self, cause: str) -> bool:
        """Whether a cause can be told and cured only on the bench."""
        stated = [self.trade.stated.get((cause, card.finding), {}) for card in self.trade.checks if card.access == SHOP]
        return any(max(chances.values(), default=0.0) >= AT_HAND for chances in stated)

    def _due(self, odds: Mapping[str, float], acts: Sequence[Act], call: Circumstances) -> str:
        """Repair that what was seen calls for at once; the likeliest where there are several."""
        found = [
            name
            for card in self.trade.checks
            if (name := self.clears(card, odds, acts).get(call.findings.get(card.finding, "")))
        ]
        chance = {act.name: sum(odds.get(cause, 0.0) for cause in act.cures) for act in acts}
        return max(found, key=lambda name: chance[name], default="")

    def _handover(self, cause: str, acts: Sequence[Act]) -> float:
        if cause != NONE_OF_THESE and self.trade.is_licensed(cause):
            return self.trip + REFERRAL_MINUTES * self.rate
        cured = [act.minutes * self.rate + act.price for act in acts if cause in act.cures]
        usual = sorted(act.minutes * self.rate + act.price for act in acts)
        search = HANDOVER_MINUTES if cured else STRANGE_FAULT_MINUTES
        repair = min(cured) if cured else (usual[len(usual) // 2] if usual else OWN_REPAIR_MINUTES * self.rate)
        return self.trip + search * self.rate + repair


def further_trip(settings: Settings) -> float:
    """Money of one further visit, wherever it is counted: the way there and the minutes that arriving takes."""
    return settings.trip_cost + (settings.trip_minutes + ARRIVAL_MINUTES) * settings.hour_rate / 60
