"""From odds to a visit: what each check and repair costs here, the plan over them, and every step with its cautions."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.visit.check_signs import AT_HAND
from pipeline.visit.circumstances import Circumstances
from pipeline.visit.costs import (
    ARRIVAL_MINUTES,
    HANDOVER_MINUTES,
    IN_VAIN_MONEY,
    ISOLATING_MINUTES,
    LOOK_MINUTES,
    NONE_OF_THESE,
    REFERRAL_MINUTES,
    REFILLING_MINUTES,
    SHOP,
    Act,
    Costs,
)
from pipeline.words.appliance import AFTER_EVERY_REPAIR, DO_NOT_ENERGISE, is_handed_on
from pipeline.words.retests import is_earth_fault_beside
from reports.render.wording import Finding, Sentence, Several, sentence, several, value_of

if TYPE_CHECKING:
    from models.plan.machine import Machine
    from models.plan.plan import Node, Plan
    from pipeline.words.appliance import CheckCard, Trade

HAND_OVER = "hand over"
CHANGES = {  # what changes the state of the machine: its name, why, its cautions
    "close up": ("close up and switch on", "answer.needs_power", ("moving parts",)),
    "refill": ("refill with water", "answer.needs_water", ("water",)),
}
# cautions of a kind that apply to taking it away
MOVING = ("isolate", "microwave", "water", "hot water", "weight", "transit bolts", "battery", "hob below")
ASK_AGAIN = "after the repair and its tests: ask again"
HAND_BACK = "tested again and good: try it out, then end the visit"
LONGER_VISIT = "book a longer visit"
STANDS_OUT = 0.3
SMALLEST_ODDS = 0.004
LEAST_RISE = 0.05  # of a cause's odds, for an answer to be told by it
# what carrying a part costs, whatever its price: it is picked, takes a place, and comes back
CARRY_MONEY = 1.5


@dataclass(frozen=True)
class Step:
    """One step as people read it.

    Attributes
    ----------
    do
        check, fit, clear, close up, refill, hand over, or ask (the customer, before any plan).
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
    about, options
        Of a question: what it is about (complaint, or a finding) and its answers.
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
    about: str = ""
    options: tuple[str, ...] = ()

    @property
    def told(self) -> str:
        """The step as one is told to do it."""
        return sentence("answer.if_faulty", step=self.name) if self.look_minutes else self.name

    def time(self) -> Sentence:
        """Minutes of the step in words."""
        if self.look_minutes:
            return sentence("answer.look_fit", look=round(self.look_minutes), minutes=round(self.minutes))
        return sentence("answer.minutes", minutes=round(self.minutes))


@dataclass(frozen=True)
class Carry:
    """One part that may be needed: its chance, and whether taking it pays; units there are, None = not counted."""

    part: str
    probability: float
    worth_it: bool
    price: float
    on_van: int | None = None
    in_store: int | None = None


@dataclass(frozen=True)
class VisitPlan:
    """The plan of one call, in the trade's words; minutes, money and visits are what it is expected to take in all.

    The plan of a machine that stays off ends with its repair (`ends_with`).

    Attributes
    ----------
    remarks
        What people should know of the order.
    ahead
        Point of the plan → minutes, money and further visits from there on.
    carried
        Parts in the van.
    call
        What the call says besides.
    """

    plan: Plan
    costs: Costs
    checks: tuple[CheckCard, ...]
    acts: tuple[Act, ...]
    remarks: tuple[str, ...]
    carry: tuple[Carry, ...]
    minutes: float
    money: float
    visits: float
    ahead: Mapping[Node, tuple[float, float, float]]
    carried: frozenset[str]
    call: Circumstances = field(default_factory=Circumstances)

    def is_earth_fault(self, node: Node, outcome: str) -> bool:
        """Whether what a check shows is an earth fault that must be found before this plan goes on."""
        found = {self.checks[node.step].finding: outcome} if node.do == "check" else {}
        return is_earth_fault_beside(self.trade, found, self.call.complaints)

    def settled(self, node: Node, outcome: str) -> tuple[str, ...]:
        """Causes of the kind that a reading settles though this plan has none of them: an element measured to earth."""
        finding, trade = self.checks[node.step].finding, self.trade
        if (finding, outcome) not in trade.unsafe & trade.decisive:
            return ()
        shown = [c for c in trade.repairs if trade.stated.get((c, finding), {}).get(outcome, 0.0) >= AT_HAND]
        return () if set(shown) & set(self.plan.problem.causes) else tuple(shown)

    def at(self, node: Node) -> VisitPlan:
        """What is left of the plan at one of its points; minutes and money are those still ahead."""
        minutes, money, visits = self.ahead[node]
        rest = replace(self.plan, root=node)
        return replace(self, plan=rest, remarks=(), minutes=minutes, money=money, visits=1 + visits)

    @property
    def trade(self) -> Trade:
        """The kind's word lists."""
        return self.costs.trade

    @property
    def rate(self) -> float:
        """Money of a minute."""
        return self.costs.rate

    def step(self, node: Node, given: str = "") -> Step:
        """One point of the plan as a step."""
        step = self._step(node, given)
        if node.machine.stays_off and DO_NOT_ENERGISE in self.trade.cautions:
            return replace(step, cautions=tuple(dict.fromkeys((DO_NOT_ENERGISE, *step.cautions))))
        return step

    def _step(self, node: Node, given: str) -> Step:
        minutes = minutes_of(self.plan, node, self.costs, self.acts)
        if node.do == "check":
            card = self.checks[node.step]
            tells = self._tells(node)
            return Step("check", card.name, given, minutes, minutes * self.rate, 0.0, tells, card.cautions)
        if node.do == "act":
            act = self.acts[node.step]
            cured = sum(chance for outcome, chance, _ in node.branches if outcome == "cured")
            after = next((after for outcome, _, after in node.branches if outcome == "not cured"), None)
            then = sentence("answer.if_then", what=_not_cured(node), then=self._leading(after)) if after else ""
            money = minutes * self.rate + act.price
            look = LOOK_MINUTES if node.is_looked_at else 0.0
            return Step(act.do, act.name, given, minutes, money, cured, then, act.cautions, act.parts, look)
        if node.do in CHANGES:
            name, why, cautions = CHANGES[node.do]
            worth = node.saves / self.rate if self.rate else 0.0
            tells = several([sentence(why), *([sentence("answer.saves", minutes=round(worth))] if worth >= 1 else [])])
            known = tuple(caution for caution in cautions if caution in self.trade.cautions)
            return Step(node.do, name, given, minutes, minutes * self.rate, 0.0, tells, known)
        return self._handing_over(node, given)

    def _handing_over(self, node: Node, given: str) -> Step:
        causes = self.plan.problem.causes
        likeliest = causes[int(node.p.argmax())]
        if self.trade.is_licensed(likeliest):
            repair = self.trade.repairs.get(likeliest)
            caution = "gas" if self.trade.is_gas or "gas" in likeliest.split() else "sealed system"
            name = repair.action if repair else "refer to licensed people"
            return Step(HAND_OVER, name, given, REFERRAL_MINUTES, REFERRAL_MINUTES * self.rate, 0.0, "", (caution,))
        if not self.trade.goes_to_workshop:
            return Step(HAND_OVER, LONGER_VISIT, given, 0.0, 0.0, 0.0, "", self.trade.kind_cautions)
        name = "take to the workshop, or book a longer visit"
        moving = tuple(name for name in self.trade.kind_cautions if name in MOVING)
        return Step(HAND_OVER, name, given, 0.0, 0.0, 0.0, "", moving)

    def _tells(self, node: Node) -> Several:
        """What each answer would mean; answers that mean the same stand together, the likeliest first."""
        finding = self.checks[node.step].finding
        led = [
            (value_of(finding, outcome), chance, after) for outcome, chance, after in node.branches if after is not None
        ]
        meaning: dict[str, tuple[Sentence | str, Sentence | str]] = {}
        values = [value for value, _, _ in node.branches]
        faults = {value_of(finding, value) for value in values if self.is_earth_fault(node, value)}
        others = {value_of(finding, value): found[0] for value in values if (found := self.settled(node, value))}
        for outcome, _, after in sorted(led, key=lambda branch: -branch[1]):
            is_fault = outcome in faults
            cause = ASK_AGAIN if is_fault else others.get(outcome, self._likeliest(after)[0])
            means = sentence("answer.earth_fault_first") if is_fault else others.get(outcome) or self._leading(after)
            leading, outcomes = meaning.get(cause, (means, ""))
            meaning[cause] = leading, sentence("answer.either", first=outcomes, other=outcome) if outcomes else outcome
        if len(meaning) == 1:
            told = [
                sentence("answer.means", outcomes=outcome, leading=self._rising(node, after))
                for outcome, _, after in led
            ]
        else:
            told = [sentence("answer.means", outcomes=either, leading=leading) for leading, either in meaning.values()]
        return several(told)

    def _likeliest(self, node: Node) -> tuple[str, float]:
        place = int(node.p.argmax())
        return self.plan.problem.causes[place], float(node.p[place])

    def _rising(self, before: Node, node: Node) -> Sentence:
        """The cause whose odds an answer raises most, where the likeliest is the same for all of them."""
        place = int((node.p - before.p).argmax())
        if place == int(node.p.argmax()) or node.p[place] - before.p[place] < LEAST_RISE:
            return self._leading(node)
        return sentence("answer.rises", cause=self.plan.problem.causes[place], chance=float(node.p[place]))

    def _leading(self, node: Node) -> Sentence:
        cause, chance = self._likeliest(node)
        return sentence("answer.leading", cause=cause, chance=chance)

    def steps(self, most: int = 6) -> list[Step]:
        """The plan as one list, following the likelier answer at each check and "not cured" after each repair."""
        steps: list[Step] = []
        node: Node | None = self.plan.root
        given = ""
        while node is not None and len(steps) < most:
            steps.append(self.step(node, given))
            if self.ends_with(node):
                return [*steps, ask_again(_not_cured(node))]
            following = [(chance, -k) for k, (_, chance, after) in enumerate(node.branches) if after is not None]
            if not following:
                break
            outcome, _, after = node.branches[-max(following)[1]]
            given = self.seen(node, outcome)
            node = after
        return steps

    def ends_with(self, node: Node) -> bool:
        """Whether nothing may be looked for after this step before its repair has passed the tests."""
        return node.machine.stays_off and node.do == "act" and not is_handed_on(self.acts[node.step].name)

    def seen(self, node: Node, outcome: str) -> str:
        """What led on from a step, in words."""
        if node.do == "check":
            finding = self.checks[node.step].finding
            return sentence("answer.found", finding=Finding(finding), value=value_of(finding, outcome))
        return _not_cured(node) if node.do == "act" else ""


def ask_again(given: str = "") -> Step:
    """The step that ends a plan in which nothing may be energised: what is wrong besides is asked once that is safe."""
    return Step(HAND_OVER, ASK_AGAIN, given, 0.0, 0.0, 0.0, "", (DO_NOT_ENERGISE, AFTER_EVERY_REPAIR))


def repeat_test(card: CheckCard) -> Step:
    """The step after a repair of what was measured unsafe: the test once more, before anything else."""
    text = sentence("answer.test_again", test=card.name)
    cautions = (DO_NOT_ENERGISE, *card.cautions)
    return Step("ask", text, "", 0.0, 0.0, 0.0, "", cautions, about=card.finding, options=card.values)


def hand_back() -> Step:
    """The step after a repair whose test was repeated and is good."""
    return Step(HAND_OVER, HAND_BACK, "", 0.0, 0.0, 0.0, "", (AFTER_EVERY_REPAIR,))


def _not_cured(node: Node) -> Sentence:
    return sentence("answer.looks_good_or_not_cured" if node.is_looked_at else "answer.not_cured")


def plan_visit(
    odds: Mapping[str, float],
    costs: Costs,
    *,
    seen: Collection[str] = (),
    machine: Machine | None = None,
    tried: Collection[str] = (),
    carried: Collection[str] | None = None,
    stock: Mapping[str, tuple[int, int]] | None = None,
    call: Circumstances | None = None,
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
    machine
        Its state now; None = live, closed, as found.
    tried
        Names of repairs already done without cure, or whose part was seen to be good.
    carried
        Parts in the van; None = those worth carrying by their own odds, and those of the stock that are on it.
    stock
        Part → units on the van and in the store; None = everything can be had.
    call
        What the call says besides; see `pipeline.visit.circumstances`.
    """
    from models.plan.machine import Machine
    from models.plan.plan import make_plan
    from pipeline.visit.problem import problem, worth_trying

    kept = likely(odds)
    call = call or Circumstances()
    stays_off = machine is not None and machine.stays_off
    acts = tuple(act for act in worth_trying(costs, kept, call, stays_off=stays_off) if act.name not in tried)
    carry = carry_list(kept, acts, costs, stock)
    in_van = {row.part for row in carry if row.worth_it or row.on_van} if carried is None else set(carried)
    known = {*seen, *costs.trade.with_implied(call.findings)}
    checks = tuple(card for card in costs.trade.checks if card.finding not in known)
    plan = make_plan(problem(costs, kept, checks, acts, machine or Machine(), in_van, call))
    ahead = _ahead(plan, costs, acts, in_van, call)
    minutes, money, visits = ahead[plan.root]
    minutes, money, visits = minutes + costs.besides, money + costs.besides * costs.rate, visits + 1
    made = {check.name for check in plan.problem.checks}
    checks = tuple(card for card in checks if card.name in made)
    remarks = [*call.remarks(), *_flat(kept, plan), *_lacking(kept, acts, costs, stock)]
    return VisitPlan(
        plan, costs, checks, acts, tuple(remarks), carry, minutes, money, visits, ahead, frozenset(in_van), call
    )


def _flat(odds: Mapping[str, float], plan: Plan) -> list[Sentence]:
    """Say that looking pays, where no cause stands out and the plan looks first."""
    likeliest = max(odds.values(), default=1.0)
    if likeliest >= STANDS_OUT or plan.root.do != "check":
        return []
    return [sentence("answer.none_stands_out", chance=likeliest)]


def _lacking(
    odds: Mapping[str, float], acts: Sequence[Act], costs: Costs, stock: Mapping[str, tuple[int, int]] | None
) -> list[Sentence]:
    """Parts that would be carried, if there were any."""
    if stock is None:
        return []
    wanted = [row.part for row in carry_list(odds, acts, costs) if row.worth_it]
    none = [part for part in wanted if not any(stock.get(part, (0, 0)))]
    return [sentence("answer.lacking", parts=none)] if none else []


def likely(odds: Mapping[str, float]) -> dict[str, float]:
    """Causes that a plan is made for."""
    return {cause: p for cause, p in odds.items() if p >= SMALLEST_ODDS and cause != NONE_OF_THESE}


def carry_list(
    odds: Mapping[str, float],
    acts: Sequence[Act],
    costs: Costs,
    stock: Mapping[str, tuple[int, int]] | None = None,
) -> tuple[Carry, ...]:
    """Parts that may be needed, likeliest first, and whether taking each along pays and is possible.

    What only the shop's bench can tell is fitted there: its parts stay in the shop.
    """
    rows = []
    for part in dict.fromkeys(part for act in acts for part in act.parts):
        wanted = sum(odds[cause] for act in acts if part in act.parts for cause in act.cures)
        price = costs.price(part)
        stays = all(SHOP in act.access for act in acts if part in act.parts)
        there = (None, None) if stock is None else stock.get(part, (0, 0))
        pays = not stays and wanted * costs.trip > CARRY_MONEY and there != (0, 0)
        rows.append(Carry(part, wanted, pays, price, *there))
    return tuple(sorted(rows, key=lambda row: (-row.probability, row.part)))


def minutes_of(plan: Plan, node: Node, costs: Costs, acts: Sequence[Act]) -> float:
    """Minutes of a step alone, the look before it left out, what must be opened or closed for it included."""
    from models.plan.machine import CLOSE_UP, REFILL, change
    from models.plan.plan import step_of

    if node.do == CLOSE_UP:
        return sum(costs.closing_minutes(group) for group in node.machine.opened) + ISOLATING_MINUTES
    if node.do == REFILL:
        return REFILLING_MINUTES
    step = step_of(plan.problem, node)
    if step is None:
        return 0.0
    needed = change(node.machine, step, plan.problem.prices)
    changing = needed.money / costs.rate if needed and costs.rate else 0.0
    return changing + (acts[node.step].minutes if node.do == "act" else costs.check_minutes_of(step.name))


def _ahead(
    plan: Plan, costs: Costs, acts: Sequence[Act], in_van: Collection[str], call: Circumstances
) -> dict[Node, tuple[float, float, float]]:
    """Minutes, money and further visits expected from each point of a plan on, further trips included."""
    from pipeline.visit.problem import handed_over_in_vain

    ahead: dict[Node, tuple[float, float, float]] = {}
    trust: dict[Node, float] = {}  # what the plan gives to spare work in vain: no money
    trip_minutes = costs.settings.trip_minutes + ARRIVAL_MINUTES
    money_of = handed_over_in_vain(costs, dict(zip(plan.problem.causes, plan.problem.p.tolist(), strict=True)), call)
    in_vain_of = [money_of[cause] for cause in plan.problem.causes]
    for node in reversed(list(plan.nodes())):
        after = [(chance, then) for _, chance, then in node.branches if then is not None]
        minutes, visits = (sum(chance * ahead[then][k] for chance, then in after) for k in (0, 2))
        spared = sum(chance * trust[then] for chance, then in after)
        own = minutes_of(plan, node, costs, acts)
        if node.do == HAND_OVER:
            minutes, visits = HANDOVER_MINUTES + trip_minutes, 1.0
            spared = float(node.p @ in_vain_of) + node.owed
        elif node.do != "act":
            minutes += own
        else:
            act, action = acts[node.step], plan.problem.actions[node.step]
            cured = sum(chance for outcome, chance, _ in node.branches if outcome == "cured")
            in_vain = (1 - cured) * (1 - act.catches if node.is_looked_at else 1.0)
            done = cured + in_vain
            in_vain_money = IN_VAIN_MONEY if act.parts else 0.0
            unnoticed = (action.failed - in_vain_money) / costs.trip if costs.trip else 0.0
            trips = (0.0 if costs.is_at_hand(act, in_van) else done) + unnoticed * in_vain
            looking = LOOK_MINUTES if node.is_looked_at else 0.0
            minutes += looking + own - act.minutes + done * act.minutes + trips * trip_minutes
            visits += trips
            spared += in_vain * in_vain_money
        ahead[node], trust[node] = (minutes, node.cost - spared, visits), spared
    return ahead
