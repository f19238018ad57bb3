"""One call put to the planner: which checks and repairs are steps at all, what follows at once, what comes first."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from models.plan.likelihood import NORMAL
from models.plan.machine import Machine, Prices
from models.plan.problem import Action, Check, First, Floats, Look, Problem
from pipeline.visit.check_signs import SEEN_BY_ANYONE
from pipeline.visit.circumstances import Circumstances
from pipeline.visit.costs import (
    HANDOVER_MINUTES,
    IN_VAIN_MONEY,
    ISOLATING_MINUTES,
    LOOK_MINUTES,
    NONE_OF_THESE,
    OWN_REPAIR_MINUTES,
    REFERRAL_MINUTES,
    REFILLING_MINUTES,
    Act,
    Costs,
)
from pipeline.words.burnt import burnt, put_right

if TYPE_CHECKING:
    from pipeline.words.appliance import CheckCard, Trade

# common practice, no source
STRANGE_FAULT_MINUTES = 90.0  # to search further where the fault is none of those listed
ADVISE = "advise"  # stands in the name of a repair that tells the customer something, first in one that does no more
# most odds of other causes that would show the same, for what is seen to be put right at once: without and with a part
NOT_ELSEWHERE, NO_OTHER = 0.6, 0.03
WORTH_A_GLANCE = 0.05  # least odds of causes that anyone can see, for which parts and panels wait
LIGHT_MINUTES = 8.0  # of a look that comes before handing over
MAINS = "fixed wiring"  # caution of a look at socket and breaker
LEAST_REFERRED = 0.05  # least odds of causes for licensed people, for a plan to end in a referral
DEAD = "dead"  # complaint of an appliance that may get no power
NEEDS_POWER = "powered"  # caution of a repair that only a running machine makes: suds are rinsed out
LEAST_SHOWN = 0.01  # least odds of what a check shows, or a repair without a check cures, for it to be a step
LEAST_ELSEWHERE = 0.05  # such odds of a cause that the lists do not give for the complaint
LEAST_ADVISED = 0.05  # such odds of what is cured by telling the customer something, where no check shows it
SURELY = 0.97  # chance from which on a cause always shows so
COMES_AND_GOES = 0.5  # chance that a fault that comes and goes does not show when it is looked for
UNNOTICED = 0.3  # how often a repair that did not help is noticed only after leaving, where it does not show at once


def worth_trying(costs: Costs, odds: Mapping[str, float], call: Circumstances, *, stays_off: bool = False) -> list[Act]:
    """Repairs that may be steps: not of what was seen in order, on a faint suspicion only where a check can show it.

    What was seen burnt is put right before anything else is a cure; a machine that stays off is not run to cure it.
    """
    acts = costs.acts(list(odds))
    put = _Put(costs, odds, acts, call)
    seen = [(card, call.findings[card.finding]) for card in costs.trade.checks if card.finding in call.findings]
    of_no_use = {
        name
        for card, value in seen
        if not burnt({card.finding: value})  # of two burnt things each is put right
        for name in put.rules_out(card).get(value, ())
    }
    kept = [act for act in acts if act.name not in of_no_use and put.is_suspected(act)]
    if stays_off:
        kept = [act for act in kept if NEEDS_POWER not in act.cautions]
    if what := burnt(call.findings):
        right = {cause for one in what for cause in put_right(costs.trade, one)}
        kept = [act for act in kept if not right.isdisjoint(act.cures)]
    return kept


def problem(
    costs: Costs,
    odds: Mapping[str, float],
    checks: Sequence[CheckCard],
    acts: Sequence[Act],
    machine: Machine,
    in_van: Collection[str],
    call: Circumstances,
) -> Problem:
    """Put the call to the planner."""
    put = _Put(costs, odds, acts, call)
    first, due = put.safe_first(checks), put.due()
    follow_at_once = not first[1:]
    looks = [put.check(card, follow_at_once=follow_at_once) for card in put.telling(checks)]
    repairs = [put.action(act, in_van, due) for act in acts]
    if not first:
        later = [act for act in acts if act.name != due]
        glances = [] if machine.stays_off else put.glances(checks, later)
        first = [
            *put.advised(),
            *put.seen_first(),
            *put.before_guesses(checks),
            *glances,
            *put.supply_first(checks),
        ]  # what is unsafe is made safe first
    accesses = [*(look.access for look in looks), *(repair.access for repair in repairs)]
    groups = sorted(machine.opened.union(*accesses))
    handover = np.array([put.handover(cause) for cause in put.causes])
    return Problem(
        put.causes,
        put.p,
        tuple(looks),
        tuple(repairs),
        handover,
        _prices(costs, groups),
        machine,
        due,
        tuple(first),
        put.before_handover(checks),
    )


def _prices(costs: Costs, groups: Sequence[str]) -> Prices:
    covers = [group for group in groups if not costs.is_place(group)]
    return Prices(
        {group: costs.opening_minutes({group}) * costs.rate for group in groups},
        {group: costs.closing_minutes(group) * costs.rate for group in covers},
        ISOLATING_MINUTES * costs.rate,
        ISOLATING_MINUTES * costs.rate,
        REFILLING_MINUTES * costs.rate,
    )


def handed_over_in_vain(costs: Costs, odds: Mapping[str, float], call: Circumstances) -> dict[str, float]:
    """Cause → what the plan gives, beside money told, not to hand it over in vain.

    In vain is a person licensed for the refrigerant circuit called for what a check without power shows.
    """
    trade, signs = costs.trade, costs.signs
    may_refer = sum(p for cause, p in odds.items() if trade.is_licensed(cause)) >= LEAST_REFERRED
    shown = {c for c in odds if may_refer and not trade.is_licensed(c) and is_of(trade, c, call) and signs.own_check(c)}
    return {cause: IN_VAIN_MONEY if cause in shown else 0.0 for cause in (*odds, NONE_OF_THESE)}


def is_of(trade: Trade, cause: str, call: Circumstances) -> bool:
    """Whether a cause is one of what is complained of; one of own words may be of anything."""
    return cause not in trade.repairs or any(cause in trade.shares.get(one, ()) for one in call.complaints)


class _Put:
    """A call with its odds and repairs."""

    def __init__(self, costs: Costs, odds: Mapping[str, float], acts: Sequence[Act], call: Circumstances) -> None:
        self.costs, self.odds, self.acts, self.call = costs, odds, acts, call
        self.trade, self.signs, self.rate = costs.trade, costs.signs, costs.rate
        self.causes = (*odds, NONE_OF_THESE)
        p = np.array([*odds.values(), max(1.0 - sum(odds.values()), 1e-6)])
        self.p: Floats = p / p.sum()
        self.in_vain = handed_over_in_vain(costs, odds, call)
        self.every = np.ones(len(self.causes), dtype=bool)
        seen_is_sure = self.trade.decisive.isdisjoint(call.findings.items())
        self.look_tells = not call.is_intermittent and seen_is_sure

    def check(self, card: CheckCard, *, follow_at_once: bool) -> Check:
        """A check of the call."""
        chances = self.costs.records.likelihoods.of(card.finding, card.values, self.causes)
        if self.call.is_intermittent and card.values[0] in NORMAL:
            chances = (1 - COMES_AND_GOES) * chances + COMES_AND_GOES * (np.arange(len(card.values)) == 0)
        return Check(
            card.name,
            self.costs.check_minutes(card) * self.rate,
            card.values,
            chances,
            self.costs.access_of(card),
            card.power,
            card.covers,
            card.water,
            self.clears(card) if follow_at_once else {},
            rules_out=self.rules_out(card),
            settles=self.settles(card),
            forbids=frozenset(value for value in card.values if (card.finding, value) in self.trade.unsafe),
        )

    def action(self, act: Act, in_van: Collection[str], due: str) -> Action:
        """A repair of the call; what is due was seen, and is not looked at again."""
        trip = self.costs.trip
        unnoticed = 0.0 if self.call.shows_at_once and not self.call.is_intermittent else UNNOTICED
        return Action(
            act.name,
            act.minutes * self.rate + act.price + (0.0 if self.costs.is_at_hand(act, in_van) else trip),
            np.array([float(cause in act.cures) for cause in self.causes]),
            act.access,
            unnoticed * trip + (IN_VAIN_MONEY if act.parts else 0.0),
            self._look(act) if act.parts and self.look_tells and act.name != due else None,
            act.power,
            act.water,
            frozenset({act.looked_at_by} - {""}),
        )

    def _look(self, act: Act) -> Look:
        """A look at a part as it is fitted: only once the checks of its own, such as that of a meter, are made."""
        own = [self.signs.own_check(cause) for cause in act.cures]
        after = frozenset(card.name for card in own if card and card.covers != "on")
        return Look(LOOK_MINUTES * self.rate, 1 - act.catches, after)

    def telling(self, checks: Sequence[CheckCard]) -> list[CheckCard]:
        """Checks in which a cause shows, by the word lists or in enough jobs; chance alone makes no step."""
        asked = {*self.call.first, *self.call.looks_first.values(), *self.before_handover(checks)}
        return [card for card in checks if card.name in asked or self._shown_in(card) >= LEAST_SHOWN]

    def _shown_in(self, card: CheckCard) -> float:
        shown = [(cause, p) for cause, p in self.odds.items() if self.signs.shows(cause, card)]
        return sum(p for cause, p in shown if p >= LEAST_ELSEWHERE or is_of(self.trade, cause, self.call))

    def _chance(self, act: Act) -> float:
        return sum(self.odds.get(cause, 0.0) for cause in act.cures)

    def is_suspected(self, act: Act) -> bool:
        """Whether a check can show what a repair is for, or its odds are more than a faint suspicion."""
        least = LEAST_ADVISED if act.name.startswith(ADVISE) else LEAST_SHOWN
        return self._chance(act) >= least or any(self.signs.own_check(cause) for cause in act.cures)

    def clears(self, card: CheckCard) -> dict[str, str]:
        """Outcome of a check → repair that follows at once: what is seen blocked or faulty is put right next."""
        found: dict[str, tuple[float, str]] = {}
        for act in self.acts:
            for cause in act.cures:
                value, _ = self.signs.shown(cause, card)
                is_own = self.signs.own_check(cause) is card
                if is_own and self._elsewhere(card, value, act) <= (NO_OTHER if act.parts else NOT_ELSEWHERE):
                    found[value] = max(found.get(value, (0.0, "")), (self._chance(act), act.name))
        return {value: name for value, (_, name) in found.items()}

    def _elsewhere(self, card: CheckCard, value: str, act: Act) -> float:
        """Share of the other causes' odds that would show the same."""
        others = {cause: p for cause, p in self.odds.items() if cause not in act.cures and cause != NONE_OF_THESE}
        same = sum(p for c, p in others.items() if self.trade.stated.get((c, card.finding), {}).get(value, 0.0) >= 0.5)
        return same / max(sum(others.values()), 1e-9)

    def due(self) -> str:
        """Repair that what was seen calls for at once, as anything burnt does; the likeliest of several; "" = none."""
        seen = self.call.findings
        found = [name for card in self.trade.checks if (name := self.clears(card).get(seen.get(card.finding, "")))]
        for what in burnt(seen):
            right = [act.name for act in self.acts if not put_right(self.trade, what).isdisjoint(act.cures)]
            found += right if len(right) == 1 else []
        chance = {act.name: self._chance(act) for act in self.acts}
        if burnt(seen) and not found:  # of a motor or pump nobody knows yet which
            found = list(chance)
        return max(found, key=lambda name: chance[name], default="")

    def rules_out(self, card: CheckCard) -> dict[str, set[str]]:
        """Outcome of a check → repairs of no use then.

        That of the very thing looked at, seen to be in order, where no fault may hide; that whose causes never show so
        (no bearing kit goes into a sealed tub); and all but those of what was seen burnt.
        """
        ruled: dict[str, set[str]] = {value: set() for value in card.values}
        for value in card.values:
            seen = burnt({card.finding: value})
            right = {cause for what in seen for cause in put_right(self.trade, what)}
            for act in self.acts:
                is_other = bool(seen) and right.isdisjoint(act.cures)
                if is_other or (value != card.values[0] and self._needs_usual(act, card)):
                    ruled[value].add(act.name)
        for act in self.acts:
            if card.name == self._shown_by(act) and not self.call.is_intermittent:
                faulty = {self.signs.shown(cause, card)[0] for cause in act.cures}
                for value in set(card.values) - faulty:
                    ruled[value].add(act.name)
        return ruled

    def settles(self, card: CheckCard) -> dict[str, frozenset[str]]:
        """Outcome of a check → checks that tell nothing more then."""
        implied = {value: self.trade.implied.get((card.finding, value), {}) for value in card.values}
        return {
            value: frozenset(other.name for other in self.trade.checks if other.finding in findings)
            for value, findings in implied.items()
            if findings
        }

    def _needs_usual(self, act: Act, card: CheckCard) -> bool:
        """Whether every cause of a repair surely shows the usual value: a tub that can be opened."""
        stated = (self.trade.stated.get((cause, card.finding), {}) for cause in act.cures)
        return all(chances.get(card.values[0], 0.0) >= SURELY for chances in stated)

    def _shown_by(self, act: Act) -> str:
        """Check without power that shows all that a repair cures: what is found good there is not mended; "" = none."""
        if not act.parts:
            return act.looked_at_by
        checks = {check.name if check else "" for check in map(self.signs.own_check, act.cures)}
        return checks.pop() if len(checks) == 1 else ""

    def safe_first(self, checks: Sequence[CheckCard]) -> list[First]:
        """Checks that what is told asks for, in their order, before everything else."""
        wait = frozenset((*(card.name for card in checks), *(act.name for act in self.acts)))
        names = [name for name in self.call.first if name in wait]
        return [
            First(name, wait - frozenset(names[: place + 1]), self.every, is_strict=True)
            for place, name in enumerate(names)
        ]

    def advised(self) -> list[First]:
        """Checks that the workshop's advice names to come before a part."""
        return [
            First(look, frozenset(act.name for act in self.acts if part in act.parts), self.every, is_strict=True)
            for part, look in self.call.looks_first.items()
        ]

    def seen_first(self) -> list[First]:
        """Checks that show what the customer would be told of: nobody is told of a clock that nobody looked at."""
        acts = [act for act in self.acts if ADVISE in act.name and act.looked_at_by]
        return [First(act.looked_at_by, frozenset({act.name}), self.every) for act in acts]

    def before_guesses(self, checks: Sequence[CheckCard]) -> list[First]:
        """Checks of likelier causes, which come before a repair that nobody has said how to make."""
        names = {card.name for card in checks}
        found = []
        for act in (act for act in self.acts if all(map(self.costs.is_guess, act.cures))):
            least = self._chance(act)
            likelier = {
                cause: card.name
                for cause, p in self.odds.items()
                if p > least and (card := self.signs.own_check(cause)) and card.name in names
            }
            for name in dict.fromkeys(likelier.values()):
                mask = np.array([likelier.get(cause) == name for cause in self.causes])
                found.append(First(name, frozenset({act.name}), mask, least))
        return found

    def glances(self, checks: Sequence[CheckCard], acts: Sequence[Act]) -> list[First]:
        """What anyone can see or turn comes before any panel and any repair but those of what is seen so.

        Whether there is mains comes before all that needs power.
        """
        shown = {
            card.name: np.array([self.signs.shown(cause, card)[1] >= SEEN_BY_ANYONE for cause in self.causes])
            for card in checks
            if card.is_for_anyone
        }
        seen = {c for found in shown.values() for c, is_seen in zip(self.causes, found, strict=True) if is_seen}
        later = frozenset(act.name for act in acts if act.parts or not seen.issuperset(act.cures))
        later |= frozenset(card.name for card in checks if card.access)
        mains = {card.name for card in checks if card.is_for_anyone and MAINS in card.cautions}
        powered = {card.name for card in checks if card.power == "needed"} - mains
        return [
            First(name, later - {name} | (powered if name in mains else frozenset()), found, WORTH_A_GLANCE)
            for name, found in shown.items()
            if self.p @ found >= WORTH_A_GLANCE
        ]

    def supply_first(self, checks: Sequence[CheckCard]) -> list[First]:
        """Looks at the terminals of an appliance that is dead, before any part: a new one gets no more power."""
        if DEAD not in self.call.complaints:
            return []
        parts = frozenset(act.name for act in self.acts if act.parts)
        partless = [any(cause in act.cures and not act.parts for act in self.acts) for cause in self.causes]
        found = []
        for card in checks:
            if MAINS in card.cautions and card.power == "off" and card.minutes <= LIGHT_MINUTES:
                shown = [self.signs.shown(cause, card)[1] >= SEEN_BY_ANYONE for cause in self.causes]
                found.append(First(card.name, parts, np.array(shown) & np.array(partless), WORTH_A_GLANCE))
        return found

    def before_handover(self, checks: Sequence[CheckCard]) -> frozenset[str]:
        """Light looks without which nobody else is called.

        What anyone can see without power; and, before a person licensed for the refrigerant circuit comes, what shows
        that it is the circuit: nobody is called for a compressor that nobody has felt.
        """
        of_call = [cause for cause in self.odds if is_of(self.trade, cause, self.call)]
        licensed = [c for c in of_call if self.trade.is_licensed(c) and self.odds[c] >= LEAST_REFERRED]

        def shows_any(card: CheckCard) -> bool:
            causes = of_call if card.is_for_anyone and card.power != "needed" else licensed
            return any(self.signs.shown(cause, card)[1] >= SEEN_BY_ANYONE for cause in causes)

        return frozenset(c.name for c in checks if not c.access and c.minutes <= LIGHT_MINUTES and shows_any(c))

    def handover(self, cause: str) -> float:
        """Money of handing over under a cause, the repair itself included."""
        if cause != NONE_OF_THESE and self.trade.is_licensed(cause):
            return self.costs.trip + REFERRAL_MINUTES * self.rate
        cured = [act.minutes * self.rate + act.price for act in self.acts if cause in act.cures]
        usual = sorted(act.minutes * self.rate + act.price for act in self.acts)
        search = HANDOVER_MINUTES if cured else STRANGE_FAULT_MINUTES
        repair = min(cured) if cured else (usual[len(usual) // 2] if usual else OWN_REPAIR_MINUTES * self.rate)
        return self.costs.trip + search * self.rate + repair + self.in_vain[cause]
