"""From odds to a visit: what each check and repair costs here, the plan over them, and every step with its cautions."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.visit.costs import (
    HANDOVER_MINUTES,
    IN_VAIN_MONEY,
    LOOK_CATCHES,
    LOOK_MINUTES,
    NONE_OF_THESE,
    REFERRAL_MINUTES,
    UNNOTICED,
    Act,
    Costs,
    check_minutes,
    opening_minutes,
)

if TYPE_CHECKING:
    from models.plan.table import Node, Plan
    from pipeline.words.appliance import CheckCard, Trade

HAND_OVER = "hand over"
SMALLEST_ODDS = 0.004
# what carrying a part costs, whatever its price: it is picked, takes a place, and comes back
CARRY_MONEY = 1.5


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
    look_minutes
        Of looking at the part first: it is fitted only if it seems faulty; 0 = do it at once.
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
    look_minutes: float = 0.0

    @property
    def told(self) -> str:
        """The step as one is told to do it."""
        return f"{self.name}, if faulty" if self.look_minutes else self.name

    def time(self) -> str:
        """Minutes of the step in words."""
        look = f"look {self.look_minutes:.0f} min, fit " if self.look_minutes else ""
        return f"{look}{self.minutes:.0f} min"


@dataclass(frozen=True)
class Carry:
    """One part that may be needed: its chance, and whether taking it along pays."""

    part: str
    probability: float
    worth_it: bool
    price: float


@dataclass(frozen=True)
class VisitPlan:
    """The plan of one call, in the trade's words; minutes, money and visits are what it is expected to take in all."""

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
            minutes = check_minutes(card) + opening_minutes({card.access} - opened)
            tells = self._tells(node)
            return Step("check", card.name, given, minutes, minutes * self.rate, 0.0, tells, card.cautions)
        if node.do == "act":
            act = self.acts[node.step]
            minutes = act.minutes + opening_minutes({act.access} - opened)
            cured = sum(chance for outcome, chance, _ in node.branches if outcome == "cured")
            after = next((after for outcome, _, after in node.branches if outcome == "not cured"), None)
            tells = f"if {_not_cured(node)}: {self._leading(after)}" if after else ""
            money = minutes * self.rate + act.price
            look = LOOK_MINUTES if node.is_looked_at else 0.0
            return Step(act.do, act.name, given, minutes, money, cured, tells, act.cautions, act.parts, look)
        return self._handing_over(node, given)

    def _handing_over(self, node: Node, given: str) -> Step:
        causes = self.plan.problem.causes
        likeliest = causes[int(node.p.argmax())]
        if self.trade.is_licensed(likeliest):
            repair = self.trade.repairs.get(likeliest)
            caution = "gas" if self.trade.is_gas or "gas" in likeliest.split() else "sealed system"
            name = repair.action if repair else "refer to licensed people"
            return Step(HAND_OVER, name, given, REFERRAL_MINUTES, REFERRAL_MINUTES * self.rate, 0.0, "", (caution,))
        name = "take to the workshop, or book a longer visit"
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
            given = f"{self.checks[node.step].finding}: {outcome}" if node.do == "check" else _not_cured(node)
            node = after
        return steps


def _not_cured(node: Node) -> str:
    return "looks good or not cured" if node.is_looked_at else "not cured"


def plan_visit(
    odds: Mapping[str, float],
    costs: Costs,
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
    costs
        Minutes, money and records of its kind.
    seen
        Findings already known, or that could not be told: their checks are not offered again.
    opened
        Access groups already open.
    tried
        Names of repairs already done without cure, or whose part was seen to be good.
    carried
        Parts in the van; None = those worth carrying by their own odds.
    """
    from models.plan.plan import make_plan

    kept = likely(odds)
    acts = tuple(act for act in costs.acts(list(kept)) if act.name not in tried)
    carry = carry_list(kept, acts, costs)
    in_van = {row.part for row in carry if row.worth_it} if carried is None else set(carried)
    checks = tuple(card for card in costs.trade.checks if card.finding not in seen)
    plan = make_plan(costs.problem(kept, checks, acts, opened, in_van))
    minutes, money, visits = _expected(plan, costs, checks, acts, in_van)
    return VisitPlan(plan, costs.trade, checks, acts, costs.rate, carry, minutes, money, visits)


def likely(odds: Mapping[str, float]) -> dict[str, float]:
    """Causes that a plan is made for."""
    return {cause: p for cause, p in odds.items() if p >= SMALLEST_ODDS and cause != NONE_OF_THESE}


def carry_list(odds: Mapping[str, float], acts: Sequence[Act], costs: Costs) -> tuple[Carry, ...]:
    """Parts that may be needed, likeliest first, and whether taking each along pays."""
    rows = []
    for part in dict.fromkeys(part for act in acts for part in act.parts):
        wanted = sum(odds[cause] for act in acts if part in act.parts for cause in act.cures)
        price = costs.price(part)
        rows.append(Carry(part, wanted, wanted * costs.trip > CARRY_MONEY, price))
    return tuple(sorted(rows, key=lambda row: (-row.probability, row.part)))


def _expected(
    plan: Plan, costs: Costs, checks: Sequence[CheckCard], acts: Sequence[Act], in_van: Collection[str]
) -> tuple[float, float, float]:
    """Expected minutes, money and visits of the whole plan (arriving, leaving and further trips included)."""
    minutes, money, visits = costs.besides, plan.cost + costs.besides * costs.rate, 1.0
    trip_minutes = costs.settings.trip_minutes + costs.besides
    for node, opened in _walk(plan.root, plan):
        if node.do == "hand over":
            minutes += node.reach * (HANDOVER_MINUTES + trip_minutes)
            visits += node.reach
            continue
        minutes += node.reach * opening_minutes(plan.access_of(node) - opened)
        if node.do == "check":
            minutes += node.reach * check_minutes(checks[node.step])
            continue
        act = acts[node.step]
        cured = sum(chance for outcome, chance, _ in node.branches if outcome == "cured")
        in_vain = (1 - cured) * (1 - LOOK_CATCHES if node.is_looked_at else 1.0)
        done = cured + in_vain
        trips = (done if set(act.parts) - set(in_van) else 0.0) + UNNOTICED * in_vain
        looking = LOOK_MINUTES if node.is_looked_at else 0.0
        minutes += node.reach * (looking + done * act.minutes + trips * trip_minutes)
        visits += node.reach * trips
        money -= node.reach * in_vain * IN_VAIN_MONEY if act.parts else 0.0
    return minutes, money, visits


def _walk(root: Node, plan: Plan) -> Iterator[tuple[Node, frozenset[str]]]:
    waiting = [(root, plan.problem.opened)]
    while waiting:
        node, opened = waiting.pop()
        yield node, opened
        opened |= plan.access_of(node)
        waiting.extend((after, opened) for _, _, after in node.branches if after is not None)
