"""What to do next at a visit: the cheapest order of checks and repairs, in expected money, as a tree of steps.

One fault is present (or none of those listed). A check costs money and shifts the odds; an action costs money and
cures the fault with a stated chance for each cause; what is left is handed over (bench, second visit). Changing the
state of the machine costs money too (`models.plan.machine`). The order is found by `models.plan.search`; without checks
it is that of falling p/c (Kadane & Simon 1975; Kalagnanam & Henrion 1988, arXiv 1304.2362) with the hand-over point
found by trying each (Heckerman, Breese & Rommelse 1995, CACM 38(3)).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from threadpoolctl import ThreadpoolController

from models.plan.bounds import cures_in_order
from models.plan.machine import CLOSE_UP, Machine, change
from models.plan.points import Point
from models.plan.problem import Action, Check, Floats, Problem, outcome_seen
from models.plan.search import Search

POINTS = 170
OPTIMISM = 0.55
TOLERANCE = 0.003
SMALLEST_REACH = 1e-9
LEAST_INFORMATION = 0.01
FURTHER = 4  # times the points, where a plan hands over this often something still so likely that a repair cures
GIVEN_UP, STILL_LIKELY = 0.2, 0.2
LEAST_MOVED = 0.02  # by which some odds must change for a check to be worth making where the next step does not


@dataclass(frozen=True, eq=False)
class Node:
    """One point of the plan.

    Attributes
    ----------
    do
        "check" or "act", with ``step`` counting in ``problem.checks`` or ``problem.actions``; "close up", "refill",
        "hand over".
    reach, p, cost
        Probability of getting here, the odds on arrival, the expected money from here on.
    machine
        Its state on arrival.
    branches
        (what was seen, probability given arrival, next node); a cure ends with None.
    is_looked_at
        Of an action, whether its part is looked at first, and fitted only if it seems faulty.
    saves
        Of closing up: expected money less than with the best way on without power.
    owed
        Of handing over: what its cost holds for checks that should have come before.
    """

    do: str
    step: int
    reach: float
    p: Floats
    cost: float
    machine: Machine
    branches: tuple[tuple[str, float, Node | None], ...] = ()
    is_looked_at: bool = False
    saves: float = 0.0
    owed: float = 0.0


@dataclass(frozen=True, eq=False)
class Plan:
    """The whole policy.

    Attributes
    ----------
    problem
        The call, without the checks that cannot tell anything.
    root, cost
        Its first point, and its expected money under the problem's own odds.
    repairs_alone
        Expected money of repairs alone, in falling p/c order; what they wait for is paid, without regard to what it
        shows.
    first_costs
        Name of each possible first step → expected money with it first and the best order known after it.
    is_exact
        Whether no cheaper plan exists for the problem as put.
    """

    problem: Problem
    root: Node
    cost: float
    repairs_alone: float
    first_costs: Mapping[str, float]
    is_exact: bool

    def nodes(self) -> Iterator[Node]:
        """Every point of the plan that can be reached, parents first."""
        waiting = [self.root]
        while waiting:
            node = waiting.pop()
            yield node
            waiting.extend(after for _, _, after in node.branches if after is not None)

    def use(self) -> dict[str, float]:
        """Probability that each check, each action and "hand over" will be done before the visit ends."""
        total: dict[str, float] = {}
        for node in self.nodes():
            name = name_of(self.problem, node)
            total[name] = total.get(name, 0.0) + node.reach
        return total


def name_of(problem: Problem, node: Node) -> str:
    """Name of the step a point of the plan stands for."""
    step = step_of(problem, node)
    return node.do if step is None else step.name


def step_of(problem: Problem, node: Node) -> Check | Action | None:
    """Check or action of a point; None when it is neither."""
    if node.do == "check":
        return problem.checks[node.step]
    return problem.actions[node.step] if node.do == "act" else None


def state_after(plan: Plan, node: Node) -> Machine:
    """State of the machine once a step is done."""
    step = step_of(plan.problem, node)
    if step is None:
        return _ready(node.machine, (node.do,))
    needed = change(node.machine, step, plan.problem.prices)
    return needed.then if needed else node.machine


def make_plan(problem: Problem, points: int = POINTS, optimism: float = OPTIMISM, tolerance: float = TOLERANCE) -> Plan:
    """Cheapest plan found.

    Parameters
    ----------
    problem
        One call. ``p`` must sum to 1 and have at least one cause.
    points
        Points the search opens; more where that still pays.
    optimism
        How much cheaper than known a plan may be hoped to be, as a share of the way to the lower bound; with 1 and
        enough points the plan is exact.
    tolerance
        Share of the money that is left unsearched.

    Returns
    -------
    Plan
        Its cost is what the policy really costs under the problem's own odds; where nothing has to wait, never more
        than repairs alone.
    """
    problem = replace(problem, checks=telling(problem))
    plan = _cheapest(problem, points, optimism, tolerance)
    if _gives_up(plan):
        points *= FURTHER
        plan = _cheapest(problem, points, optimism, tolerance)
    if idle := _idle(plan):
        checks = tuple(check for check in plan.problem.checks if check.name not in idle)
        first = tuple(first for first in problem.first if first.check not in idle)
        plan = _cheapest(replace(problem, checks=checks, first=first), points, optimism, tolerance)
    return plan


def _cheapest(problem: Problem, points: int, optimism: float, tolerance: float) -> Plan:
    with _threads().limit(limits=1, user_api="blas"):  # small products: more threads only wait for one another
        search = Search(problem, points, optimism, tolerance)
        root = search.root
        return Plan(
            problem,
            _Tree(search).node(root, 1.0, problem.machine),
            root.upper,
            search.repairs_alone,
            search.first_costs(),
            root.upper - root.lower <= 1e-9 * max(root.upper, 1.0),
        )


def _gives_up(plan: Plan) -> bool:
    """Whether it hands over what it may well cure, seldom looked at: with few points the search stops at such ends."""
    curable = (
        np.max([action.cures for action in plan.problem.actions], axis=0, initial=0.0) if plan.problem.actions else 0
    )
    return not plan.is_exact and any(
        node.do == "hand over" and node.reach >= GIVEN_UP and float((node.p * curable).max()) >= STILL_LIKELY
        for node in plan.nodes()
    )


def _idle(plan: Plan) -> set[str]:
    """Checks that change nothing wherever the plan makes them: neither the odds nor what comes next."""
    kept = {first.check for first in plan.problem.first if first.is_strict}
    kept |= {check.name for check in plan.problem.checks if check.forbids} | plan.problem.before_handover
    made = set[str]()
    for node in plan.nodes():
        if node.do == "check":
            name, after = plan.problem.checks[node.step].name, [then for _, _, then in node.branches if then]
            made.add(name)
            moved = max((float(np.abs(then.p - node.p).max()) for then in after), default=1.0)
            if moved >= LEAST_MOVED or len({(then.do, then.step) for then in after}) != 1:
                kept.add(name)
    return made - kept


def telling(problem: Problem) -> tuple[Check, ...]:
    """Checks that may tell something, were the causes more even; those that come before other steps stay in."""
    named = {first.check for first in problem.first if problem.p @ first.causes >= first.least}
    named |= problem.before_handover
    even = np.sqrt(problem.p)
    return tuple(
        check
        for check in problem.checks
        if check.name in named or _information(even / even.sum(), check.likelihood) >= LEAST_INFORMATION
    )


def _information(p: Floats, likelihood: Floats) -> float:
    """Mutual information of cause and outcome, nats."""
    joint = p[:, None] * likelihood
    independent = p[:, None] * joint.sum(axis=0)
    there = joint > 0
    return float((joint[there] * np.log(joint[there] / independent[there])).sum())


@cache
def _threads() -> ThreadpoolController:
    return ThreadpoolController()


class _Tree:
    """The best plan of a search, written out."""

    def __init__(self, search: Search) -> None:
        self.search, self.problem = search, search.problem
        self.layout = search.layout
        ends = search.ends()
        orders = [tail.order for tail in search.tails(ends)]
        joints = cures_in_order(self.layout, np.array([point.joint for point in ends]), orders) if ends else ()
        self.repairs = dict(zip(map(id, ends), zip(orders, joints, strict=True), strict=True))

    def node(self, point: Point, reach: float, machine: Machine) -> Node:
        """Point of the plan, with all that follows; ``machine`` is its state on arrival."""
        step = self.search.best(point)
        if step is None:
            return self._repairs(point, reach, machine)
        checks = len(self.problem.checks)
        if step >= checks:
            (row,) = self.layout.rows_of_step[step]
            child = self.search.child(point, row)
            may_look = self._may_look(point)[step - checks]
            return self._act(step - checks, point.joint, machine, reach, point.upper, child, may_look=may_look)
        return self._check(point, step, machine, reach)

    def _check(self, point: Point, k: int, machine: Machine, reach: float) -> Node:
        check = self.problem.checks[k]
        needed = change(machine, check, self.problem.prices)
        assert needed is not None  # noqa: S101 - the search makes only checks that can be made
        branches = []
        for number, row in enumerate(self.layout.rows_of_step[k]):
            joint = point.joint * check.likelihood[:, number]
            chance = float(joint.sum()) / point.mass
            if reach * chance <= SMALLEST_REACH:
                continue
            after = outcome_seen(needed.then, check, number)
            branches.append((check.outcomes[number], chance, self._seen(point, row, joint, after, reach * chance)))
        p, cost = point.joint / point.mass, point.upper / point.mass
        node = Node("check", k, reach, p, cost, _ready(machine, needed.first), tuple(branches))
        for first in reversed(needed.first):
            at = _ready(machine, needed.first[: needed.first.index(first)])
            saves = self.search.saved_by_closing(point) if first == CLOSE_UP else 0.0
            node = Node(first, -1, reach, p, cost, at, (("done", 1.0, node),), saves=saves)
        return node

    def _seen(self, point: Point, row: int, joint: Floats, machine: Machine, reach: float) -> Node:
        """What follows an outcome: the repair that it calls for, or the next point."""
        follows, child = int(self.layout.clears[row]), self.search.child(point, row)
        if follows >= 0:
            return self._act(follows, joint, machine, reach, None, child)
        assert child is not None  # noqa: S101 - the outcome can happen
        return self.node(child, reach, machine)

    def _may_look(self, point: Point) -> list[bool]:
        """Whether each part may be looked at as it is fitted at a point."""
        may: list[bool] = self.layout.may_look(np.array(point.seen)).tolist()
        return may

    def _act(
        self,
        a: int,
        joint: Floats,
        machine: Machine,
        reach: float,
        cost: float | None,
        child: Point | None,
        *,
        may_look: bool = False,
    ) -> Node:
        """One repair; ``cost`` None = of a repair that follows what was seen, done without a look."""
        action, mass = self.problem.actions[a], float(joint.sum())
        moved = change(machine, action, self.problem.prices)
        not_cured = float((joint * (1 - action.cures)).sum()) / mass
        after = None
        if child is not None and reach * not_cured > SMALLEST_REACH:
            after = self.node(child, reach * not_cured, moved.then if moved else machine)
        if cost is None:
            money = action.money(looking=False)
            spent = (1 - not_cured) * money[0] + not_cured * money[1] + (moved.money if moved else 0.0)
            cost = mass * spent + (child.upper if child is not None else 0.0)
            looks = False
        else:
            looks = may_look and action.is_looked_at(1 - not_cured, not_cured)
        branches = (("cured", 1 - not_cured, None), ("not cured", not_cured, after))
        return Node("act", a, reach, joint / mass, cost / mass, machine, branches[: 2 if after else 1], looks)

    def _repairs(self, point: Point, reach: float, machine: Machine) -> Node:
        """Repairs alone in order as far as they pay, then the hand-over."""
        order, joints = self.repairs[id(point)]
        actions = [self.problem.actions[a] for a in order]
        masses = joints.sum(axis=1).tolist()
        share = reach / point.mass
        count = next((k for k, mass in enumerate(masses) if k and mass * share <= SMALLEST_REACH), len(actions))
        machines, moves = [machine], []
        for action in actions[:count]:
            moves.append(change(machines[-1], action, self.problem.prices))
            machines.append(moves[-1].then if moves[-1] else machines[-1])
        node: Node | None = None
        money, may_look = 0.0, self._may_look(point)
        if masses[count] * share > SMALLEST_REACH or not count:
            p, owed = joints[count] / masses[count], float(self.layout.owed_before(np.array([point.seen])).item())
            money = float(joints[count] @ self.problem.handover) + masses[count] * owed
            cost = money / masses[count]
            node = Node("hand over", -1, masses[count] * share, p, cost, machines[count], owed=owed)
        for k in reversed(range(count)):
            action, here, left, moved = actions[k], masses[k], masses[k + 1], moves[k]
            money += action.expected(here - left, left, may_look=may_look[order[k]])
            money += here * (moved.money if moved else 0.0)
            branches = (("cured", 1 - left / here, None), ("not cured", left / here, node))[: 2 if node else 1]
            looks = may_look[order[k]] and action.is_looked_at(here - left, left)
            p = joints[k] / here
            node = Node("act", order[k], here * share, p, money / here, machines[k], branches, looks)
        assert node is not None  # noqa: S101 - a repair or the hand-over is always there
        return node


def _ready(machine: Machine, first: tuple[str, ...]) -> Machine:
    """The machine once it was closed up or refilled."""
    for done in first:
        if done == CLOSE_UP:
            machine = machine._replace(opened=frozenset(), is_live=True, may_close=False, was_closed=True)
        else:
            machine = machine._replace(is_drained=False)
    return machine
