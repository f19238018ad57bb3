"""From odds to a visit: what each check and repair costs here, the plan over them, and every step with its cautions."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.trade import AFTER_EVERY_REPAIR, CheckCard, PartCard, Repair, Trade

if TYPE_CHECKING:
    from models.likelihood import Likelihoods
    from models.plan_table import Node, Plan
    from pipeline.evidence import Evidence
    from pipeline.settings import Settings

NONE_OF_THESE = "none of these"
HAND_OVER = "hand over"
FURTHER_TRIP = "further trip"

# common practice, no source: minutes to open, to search further after a hand-over, jobs that a listed figure is worth
OPENING_MINUTES = {"machine tilted": 6.0, "bench": 10.0, "glass up": 6.0, "front off": 5.0}
OTHER_OPENING = 4.0
HANDOVER_MINUTES = 60.0
STRANGE_FAULT_MINUTES = 90.0
REFERRAL_MINUTES = 15.0
LISTED_WORTH = 8.0
OWN_REPAIR_MINUTES = 30.0
SMALLEST_ODDS = 0.004
# what carrying a part costs, whatever its price: it is picked, takes a place, and comes back
CARRY_MONEY = 1.5


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


@dataclass(frozen=True)
class Step:
    """One step as people read it.

    Attributes
    ----------
    do
        check, fit, clear, or hand over.
    given
        What led here: "water left: no", "not cured"; empty for the first.
    minutes, money
        Of this step alone, with what must be opened for it.
    cures_probability
        Chance that it ends the fault once the step is reached; 0 for a check.
    tells
        What each answer would mean.
    cautions
        Names, most important first; ``Trade.cautions`` has their text.
    """

    do: str
    name: str
    given: str
    minutes: float
    money: float
    cures_probability: float
    tells: str
    cautions: tuple[str, ...]
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Carry:
    """One part that may be needed: its chance, and whether taking it along pays."""

    part: str
    probability: float
    worth_it: bool
    price: float


@dataclass(frozen=True)
class VisitPlan:
    """The plan of one call, in the trade's words."""

    plan: Plan
    trade: Trade
    checks: tuple[CheckCard, ...]
    acts: tuple[Act, ...]
    rate: float
    carry: tuple[Carry, ...]
    minutes: float
    money: float
    visits: float

    def step(self, node: Node, given: str = "", opened: frozenset[str] = frozenset()) -> Step:
        """One point of the plan as a step."""
        if node.do == "check":
            card = self.checks[node.step]
            minutes = check_minutes(card) + _opening_minutes({card.access} - opened)
            tells = self._tells(node)
            return Step("check", card.name, given, minutes, minutes * self.rate, 0.0, tells, card.cautions)
        if node.do == "act":
            act = self.acts[node.step]
            minutes = act.minutes + _opening_minutes({act.access} - opened)
            cured = sum(chance for outcome, chance, _ in node.branches if outcome == "cured")
            after = next((after for outcome, _, after in node.branches if outcome == "not cured"), None)
            tells = f"if not cured: {self._leading(after)}" if after else ""
            money = minutes * self.rate + act.price
            return Step(act.do, act.name, given, minutes, money, cured, tells, act.cautions, act.parts)
        return self._handing_over(node, given)

    def _handing_over(self, node: Node, given: str) -> Step:
        causes = self.plan.problem.causes
        likeliest = causes[int(node.p.argmax())]
        if self.trade.is_licensed(likeliest):
            repair = self.trade.repairs.get(likeliest)
            caution = "gas" if self.trade.is_gas or "gas" in likeliest.split() else "sealed system"
            name = repair.action if repair else "refer to licensed people"
            return Step(HAND_OVER, name, given, REFERRAL_MINUTES, REFERRAL_MINUTES * self.rate, 0.0, "", (caution,))
        name = "hand over: bench, or a second visit with more time"
        return Step(HAND_OVER, name, given, 0.0, 0.0, 0.0, "", self.trade.kind_cautions)

    def _tells(self, node: Node) -> str:
        """What each answer would mean; answers that mean the same stand together, the likeliest first."""
        meaning: dict[str, list[str]] = {}
        for outcome, _, after in sorted(node.branches, key=lambda branch: -branch[1]):
            if after is not None:
                said = self._leading(after)
                same = next((k for k in meaning if k.rsplit(" ", 1)[0] == said.rsplit(" ", 1)[0]), said)
                meaning.setdefault(same, []).append(outcome)
        if len(meaning) == 1:
            return "; ".join(f"{outcome}: {self._leading(after)}" for outcome, _, after in node.branches if after)
        return "; ".join(f"{' or '.join(outcomes)}: {said}" for said, outcomes in meaning.items())

    def _leading(self, node: Node) -> str:
        place = int(node.p.argmax())
        return f"{self.plan.problem.causes[place]} {node.p[place]:.0%}"

    def steps(self, most: int = 6) -> list[Step]:
        """The plan as one list, following the likelier answer at each check and "not cured" after each repair."""
        steps: list[Step] = []
        node: Node | None = self.plan.root
        given, opened = "", self.plan.problem.opened
        while node is not None and len(steps) < most:
            steps.append(self.step(node, given, opened))
            opened |= self.plan.access_of(node)
            following = [(chance, -k) for k, (_, chance, after) in enumerate(node.branches) if after is not None]
            if not following:
                break
            outcome, _, after = node.branches[-max(following)[1]]
            given = f"{self.checks[node.step].finding}: {outcome}" if node.do == "check" else outcome
            node = after
        return steps


def plan_visit(
    odds: Mapping[str, float],
    trade: Trade,
    evidence: Evidence,
    settings: Settings,
    *,
    seen: Collection[str] = (),
    opened: frozenset[str] = frozenset(),
    tried: Collection[str] = (),
    carried: Collection[str] | None = None,
) -> VisitPlan:
    """Plan one call.

    Parameters
    ----------
    odds
        Cause → probability; what is missing to 1 is "none of these".
    trade, evidence, settings
        The kind's word lists, the workshop's records, rates.
    seen
        Findings already known, or that could not be told: their checks are not offered again.
    opened
        Access groups already open.
    tried
        Names of repairs already done without cure.
    carried
        Parts in the van; None = those worth carrying by their own odds.
    """
    from models.plan import make_plan

    costs = Costs(trade, evidence, settings)
    kept = {c: p for c, p in odds.items() if p >= SMALLEST_ODDS and c != NONE_OF_THESE}
    acts = tuple(act for act in costs.acts(list(kept)) if act.name not in tried)
    carry = carry_list(kept, acts, costs)
    in_van = {row.part for row in carry if row.worth_it} if carried is None else set(carried)
    checks = tuple(card for card in trade.checks if card.finding not in seen)
    likelihoods = _likelihoods(trade, evidence)
    problem = costs.problem(kept, checks, acts, likelihoods, opened, in_van)
    plan = make_plan(problem)
    minutes, visits = _expected(plan, costs, checks, acts)
    return VisitPlan(plan, trade, checks, acts, costs.rate, carry, minutes, plan.cost, visits)


def _likelihoods(trade: Trade, evidence: Evidence) -> Likelihoods:
    from models.likelihood import learn

    return learn(evidence.findings, trade.expected)


class Costs:
    """Minutes and money of checks and repairs: the workshop's own jobs, shrunk to the word lists."""

    def __init__(self, trade: Trade, evidence: Evidence, settings: Settings) -> None:
        self.trade, self.settings = trade, settings
        self.rate = settings.hour_rate / 60
        self.trip = settings.trip_cost + settings.trip_minutes * self.rate
        self._prices = evidence.prices
        self._cured_by = evidence.cured_by
        self._minutes = self._own_minutes(evidence)

    def _own_minutes(self, evidence: Evidence) -> dict[str, tuple[float, float]]:
        """Cause → (jobs, minutes of the repair itself): visit less its checks and what every visit takes besides."""
        import numpy as np

        rows = [(cause, float(jobs), mean - checks) for cause, (jobs, mean, checks) in evidence.minutes.items()]
        over = [left - self.listed_minutes(self.repair(cause)) for cause, jobs, left in rows if jobs >= LISTED_WORTH]
        besides = float(np.clip(np.median(over), 0, 45)) if over else 0.0
        return {cause: (jobs, max(left - besides, 3.0)) for cause, jobs, left in rows}

    def repair(self, cause: str) -> Repair:
        """How a cause is cured: by the word lists, else by the part that cured it most, else by putting it right."""
        listed = self.trade.repairs.get(cause)
        if listed is not None:
            return listed
        part = self._cured_by.get(cause)
        if part is not None:
            return Repair((part,), f"fit {part}", None)
        return Repair((), f"put right: {cause}", OWN_REPAIR_MINUTES)

    def part(self, part: str) -> PartCard:
        """Return a part's card; a part no list knows takes the kind's cautions."""
        return self.trade.parts.get(part, PartCard(0.0, OWN_REPAIR_MINUTES, self.trade.kind_cautions))

    def price(self, part: str) -> float:
        """Money of one part: median paid, shrunk to the listed price."""
        listed = self.part(part).price
        jobs, paid = self._prices.get(part, (0, 0.0))
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
            minutes=max(minutes - _opening_minutes({access}), 3.0),
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
        likelihoods: Likelihoods,
        opened: frozenset[str],
        in_van: Collection[str],
    ) -> Any:
        """Put the call to the planner."""
        import numpy as np

        from models.plan_problem import Action, Check, Problem

        causes = (*odds, NONE_OF_THESE)
        p = np.array([*odds.values(), max(1.0 - sum(odds.values()), 1e-6)])
        p = p / p.sum()
        looks = tuple(
            Check(
                card.name,
                check_minutes(card) * self.rate,
                card.values,
                likelihoods.of(card.finding, card.values, causes),
                frozenset({card.access} - {""}),
            )
            for card in checks
        )
        repairs = tuple(
            Action(
                act.name,
                act.minutes * self.rate + act.price,
                np.array([float(cause in act.cures) for cause in causes]),
                frozenset(({act.access} - {""}) | ({FURTHER_TRIP} if set(act.parts) - set(in_van) else set())),
            )
            for act in acts
        )
        accesses = [*(look.access for look in looks), *(repair.access for repair in repairs), opened]
        groups = frozenset[str]().union(*accesses)
        openings = {g: self.trip if g == FURTHER_TRIP else _opening_minutes({g}) * self.rate for g in sorted(groups)}
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
    return max(card.minutes - _opening_minutes({card.access}), 1.0)


def _opening_minutes(groups: Collection[str]) -> float:
    return sum(OPENING_MINUTES.get(group, OTHER_OPENING) for group in groups if group)


def carry_list(odds: Mapping[str, float], acts: Sequence[Act], costs: Costs) -> tuple[Carry, ...]:
    """Parts that may be needed, likeliest first, and whether taking each along pays."""
    rows = []
    for part in dict.fromkeys(part for act in acts for part in act.parts):
        wanted = sum(odds[cause] for act in acts if part in act.parts for cause in act.cures)
        price = costs.price(part)
        rows.append(Carry(part, wanted, wanted * costs.trip > CARRY_MONEY, price))
    return tuple(sorted(rows, key=lambda row: (-row.probability, row.part)))


def _expected(plan: Plan, costs: Costs, checks: Sequence[CheckCard], acts: Sequence[Act]) -> tuple[float, float]:
    """Expected minutes (trips on the road included) and visits of the whole plan."""
    minutes, visits = 0.0, 1.0
    for node, opened in _walk(plan.root, plan):
        if node.do == "hand over":
            minutes += node.reach * (HANDOVER_MINUTES + costs.settings.trip_minutes)
            visits += node.reach
            continue
        new = plan.access_of(node) - opened
        own = check_minutes(checks[node.step]) if node.do == "check" else acts[node.step].minutes
        minutes += node.reach * (own + _opening_minutes(new - {FURTHER_TRIP}))
        if FURTHER_TRIP in new:
            minutes += node.reach * costs.settings.trip_minutes
            visits += node.reach
    return minutes, visits


def _walk(root: Node, plan: Plan) -> Iterator[tuple[Node, frozenset[str]]]:
    waiting = [(root, plan.problem.opened)]
    while waiting:
        node, opened = waiting.pop()
        yield node, opened
        opened |= plan.access_of(node)
        waiting.extend((after, opened) for _, _, after in node.branches if after is not None)
