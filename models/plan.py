"""What to do next at a visit: the cheapest sound order of checks and repairs, in expected money.

One fault is present (or none of those listed). A check costs money and shifts the odds; an action costs money and cures
the fault with a stated chance for each cause; what is left at the end is handed over (bench, further visit, specialist).
Opening costs (panel off, machine tilted, a further trip for parts not in the van) are paid once and shared.

Without checks the order of falling p/c is used (Kadane & Simon 1975; Kalagnanam & Henrion 1988, arXiv 1304.2362), with
the rule for shared openings of Ottosen & Jensen 2010 (arXiv 1203.3502) and the hand-over point found by trying each
(Heckerman, Breese & Rommelse 1995, CACM 38(3)). With checks, an exact dynamic programme runs over the window of checks
and actions that fits ``states``; what stands outside the window follows in p/c order. When all fits, the plan is exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STATES = 100_000
SMALLEST_REACH = 1e-9


@dataclass(frozen=True, eq=False)
class Check:
    """One observation: ``likelihood[cause, outcome]`` is the chance of each outcome under each cause; rows sum to 1."""

    name: str
    cost: float
    outcomes: tuple[str, ...]
    likelihood: Floats
    access: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Action:
    """One repair whose result is seen at once: ``cures[cause]`` is the chance that it ends the fault under each cause."""

    name: str
    cost: float
    cures: Floats
    access: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Problem:
    """One call: odds of its causes, what can be looked at, what can be done, and what handing over costs.

    Parameters
    ----------
    causes, p
        Names and probabilities (they sum to 1). A cause that no action cures is "none of these".
    handover
        Money that handing over costs under each cause, the repair itself included.
    openings
        Money of opening each access group named by a check or an action.
    opened
        Groups already open.
    """

    causes: tuple[str, ...]
    p: Floats
    checks: tuple[Check, ...]
    actions: tuple[Action, ...]
    handover: Floats
    openings: Mapping[str, float] = field(default_factory=dict)
    opened: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Node:
    """One point of the plan.

    ``step`` is an index into ``problem.checks`` (do = "check") or ``problem.actions`` (do = "act"), or -1 for "hand over".
    ``reach`` is the probability of getting here, ``p`` the odds on arrival, ``cost`` the expected money from here on.
    ``branches`` holds (what was seen, probability given arrival, next node); a cure ends with None.
    """

    do: str
    step: int
    reach: float
    p: Floats
    cost: float
    branches: tuple[tuple[str, float, Node | None], ...] = ()


@dataclass(frozen=True, eq=False)
class Plan:
    """The whole policy: ``root``, its expected money, and whether no cheaper plan exists for the problem as put."""

    problem: Problem
    root: Node
    cost: float
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
    if node.do == "check":
        return problem.checks[node.step].name
    return problem.actions[node.step].name if node.do == "act" else "hand over"


def order_cost(p: Sequence[float], cost: Sequence[float], order: Sequence[int]) -> float:
    """Expected cost of trying independent repairs in ``order`` until one cures: the sum of c_i (1 - sum of earlier p_j)."""
    left, total = 1.0, 0.0
    for i in order:
        total += cost[i] * left
        left -= p[i]
    return total


def pc_order(p: Sequence[float], cost: Sequence[float]) -> list[int]:
    """Order of falling p/c, ties by position; optimal for one fault and independent repairs without checks."""
    return sorted(range(len(p)), key=lambda i: (-p[i] / cost[i] if cost[i] > 0 else -np.inf, i))


def blocks_in_pc_order(problem: Problem) -> list[int]:
    """Order of the actions by chance of cure per money, actions behind one opening weighed together.

    An action that overlaps others is weighed by what it still adds. Where an opening is shared, the best leading group
    of actions behind it (sum of p over opening plus sum of c) competes as one block (arXiv 1203.3502).
    """
    mass, opened, order = problem.p.copy(), set(problem.opened), []
    waiting = list(range(len(problem.actions)))
    while waiting:
        block = _best_block(problem, mass, opened, waiting)
        for i in block:
            mass = mass * (1 - problem.actions[i].cures)
            opened |= problem.actions[i].access
            waiting.remove(i)
        order.extend(block)
    return order


def _best_block(problem: Problem, mass: Floats, opened: set[str], waiting: list[int]) -> list[int]:
    gain = {i: float(mass @ problem.actions[i].cures) for i in waiting}
    missing = {i: frozenset(problem.actions[i].access - opened) for i in waiting}
    best, best_ratio = [waiting[0]], -1.0
    for groups in sorted(set(missing.values()), key=sorted):
        spent, won, block = _opening(problem, groups), 0.0, []
        inside = [i for i in waiting if missing[i] <= groups]
        for i in sorted(inside, key=lambda i: (-gain[i] / max(problem.actions[i].cost, 1e-12), i)):
            block.append(i)
            spent += problem.actions[i].cost
            won += gain[i]
            ratio = won / max(spent, 1e-12)
            if ratio > best_ratio * (1 + 1e-12):
                best, best_ratio = list(block), ratio
    return best


def _opening(problem: Problem, groups: frozenset[str] | set[str]) -> float:
    return sum(problem.openings.get(group, 0.0) for group in groups - problem.opened)


def without_checks(problem: Problem, order: Sequence[int] | None = None) -> tuple[float, int]:
    """Expected money of the actions alone in ``order`` (default p/c) with the best point to hand over.

    Returns
    -------
    tuple
        Expected money, and how many actions to do before handing over.
    """
    order = blocks_in_pc_order(problem) if order is None else order
    mass, opened, spent = problem.p.copy(), set(problem.opened), 0.0
    costs = [float(mass @ problem.handover)]
    for i in order:
        action = problem.actions[i]
        spent += float(mass.sum()) * (action.cost + _opening(problem, action.access - opened))
        opened |= action.access
        mass = mass * (1 - action.cures)
        costs.append(spent + float(mass @ problem.handover))
    best = int(np.argmin(costs))
    return costs[best], best


def value_of(problem: Problem, check: Check) -> float:
    """Money saved by knowing the outcome of one check before acting in p/c order, its own cost not taken off; never below 0."""
    now, _ = without_checks(problem)
    order = blocks_in_pc_order(problem)
    later = 0.0
    for outcome in range(len(check.outcomes)):
        joint = problem.p * check.likelihood[:, outcome]
        seen = float(joint.sum())
        if seen <= 0:
            continue
        updated = Problem(
            problem.causes, joint / seen, (), problem.actions, problem.handover, problem.openings, problem.opened
        )
        later += seen * min(without_checks(updated)[0], without_checks(updated, order)[0])
    return max(0.0, now - later)


def make_plan(problem: Problem, states: int = STATES) -> Plan:
    """Cheapest policy found within a table of ``states`` entries.

    Parameters
    ----------
    problem
        One call. ``p`` must sum to 1 and have at least one cause.
    states
        Largest table of the dynamic programme; all checks and actions that fit are planned exactly.

    Returns
    -------
    Plan
        Its cost is what the policy really costs under the problem's own odds, never more than ``without_checks``.
    """
    order = blocks_in_pc_order(problem)
    acting, looking = _window(problem, order, states)
    tail = [i for i in order if i not in set(acting)]
    table = _Table(problem, looking, acting, tail)
    root = table.node((0,) * len(looking), 0, 1.0)
    is_exact = len(looking) == len(problem.checks) and not tail
    return Plan(problem, root, float(table.value[(0,) * len(looking)][0]), is_exact)


def _window(problem: Problem, order: list[int], states: int) -> tuple[list[int], list[int]]:
    """Leading actions in p/c order and the most telling checks that fit into a table of ``states`` entries."""
    most_actions = max(1, min(len(order), int(np.log2(max(states, 2)))))
    telling = _most_telling(problem)
    acting = order[: min(most_actions, 7)]
    looking: list[int] = []
    size = 2 ** len(acting)
    for k in telling:
        radix = len(problem.checks[k].outcomes) + 1
        if size * radix <= states:
            looking.append(k)
            size *= radix
    while len(acting) < most_actions and size * 2 <= states:
        acting = order[: len(acting) + 1]
        size *= 2
    return acting, looking


def _most_telling(problem: Problem) -> list[int]:
    """Checks by what they are worth now, then by information per money: a check may pay only after another."""
    score = []
    for k, check in enumerate(problem.checks):
        cost = check.cost + _opening(problem, check.access)
        worth = value_of(problem, check) - cost
        score.append((-max(worth, 0.0), -_information(problem.p, check.likelihood) / max(cost, 1e-9), k))
    return [k for _, _, k in sorted(score)]


def _information(p: Floats, likelihood: Floats) -> float:
    joint = p[:, None] * likelihood
    seen = joint.sum(axis=0)
    independent = p[:, None] * seen[None, :]
    there = joint > 0
    return float((joint[there] * np.log(joint[there] / independent[there])).sum())


@lru_cache(maxsize=32)
def _by_count(actions: int) -> tuple[tuple[Ints, Ints, Ints], ...]:
    """For each number of actions done, most first: the sets with that many, what can follow, and the sets it leads to."""
    levels = []
    sets = np.arange(2**actions)
    counts = np.array([int(s).bit_count() for s in sets])
    for count in range(actions - 1, -1, -1):
        here = sets[counts == count]
        free = np.array([[a for a in range(actions) if not int(s) >> a & 1] for s in here])
        levels.append((here, free, here[:, None] | (1 << free)))
    return tuple(levels)


class _Table:
    """The dynamic programme: ``value[outcome of each check (0 = not done), set of actions done]``, money times probability."""

    def __init__(self, problem: Problem, looking: list[int], acting: list[int], tail: list[int]) -> None:
        self.problem, self.looking, self.acting, self.tail = problem, looking, acting, tail
        shape = tuple(len(problem.checks[k].outcomes) + 1 for k in looking)
        left = np.ones((1, len(problem.p)))
        for i in acting:
            left = np.concatenate([left, left * (1 - problem.actions[i].cures)])
        self.left = left
        self.joint = self._joint(shape)
        self.mass = self.joint @ left.T
        groups = sorted(problem.openings)
        self.price = np.array([problem.openings[g] for g in groups])
        self.needs_check = self._needs([problem.checks[k].access for k in looking], groups)
        self.needs_action = self._needs([problem.actions[i].access for i in acting], groups)
        self.needs_tail = self._needs([problem.actions[i].access for i in tail], groups)
        self.open_before = np.array([g in problem.opened for g in groups], dtype=bool)
        sets = np.arange(2 ** len(acting))
        bits = (sets[:, None] >> np.arange(len(acting))) & 1 == 1
        self.open_by_actions = self.open_before | (bits.astype(int) @ self.needs_action.astype(int) > 0)
        self.value = np.empty((*shape, 2 ** len(acting)))
        self.choice = np.empty(self.value.shape, dtype=np.int16)
        for done in range(2 ** len(looking) - 1, -1, -1):
            self._solve(done)

    def _joint(self, shape: tuple[int, ...]) -> Floats:
        joint = self.problem.p.reshape((1,) * len(shape) + (-1,))
        for axis, k in enumerate(self.looking):
            likelihood = self.problem.checks[k].likelihood
            rows = np.concatenate([np.ones((1, len(self.problem.p))), likelihood.T])
            joint = joint * rows.reshape((1,) * axis + (shape[axis],) + (1,) * (len(shape) - axis - 1) + (-1,))
        return np.ascontiguousarray(joint)

    @staticmethod
    def _needs(accesses: Sequence[frozenset[str]], groups: list[str]) -> NDArray[np.bool_]:
        return np.array([[g in access for g in groups] for access in accesses], dtype=bool).reshape(-1, len(groups))

    def _open(self, done: int) -> NDArray[np.bool_]:
        """Which groups are open after the checks in ``done``, for every set of actions."""
        by_checks = self.open_before.copy()
        for axis in range(len(self.looking)):
            if done >> axis & 1:
                by_checks = by_checks | self.needs_check[axis]
        return self.open_by_actions | by_checks

    def _solve(self, done: int) -> None:
        axes = range(len(self.looking))
        here = tuple(slice(1, None) if done >> axis & 1 else 0 for axis in axes)
        mass, is_open = self.mass[here], self._open(done)
        best = self._handing_over(here, mass, is_open)
        choice = np.full(best.shape, -1, dtype=np.int16)
        for axis in axes:
            if done >> axis & 1:
                continue
            then = tuple(slice(1, None) if other == axis else here[other] for other in axes)
            summed_axis = sum(1 for other in range(axis) if done >> other & 1)
            opening = (self.needs_check[axis] & ~is_open) @ self.price
            cost = self.problem.checks[self.looking[axis]].cost + opening
            looked = cost * mass + self.value[then].sum(axis=summed_axis)
            better = looked < best - 1e-12
            np.copyto(best, looked, where=better)
            choice[better] = len(self.acting) + axis
        if self.acting:
            opening = (self.needs_action[None, :, :] & ~is_open[:, None, :]) @ self.price
            cost = np.array([self.problem.actions[i].cost for i in self.acting]) + opening
            for sets, free, after in _by_count(len(self.acting)):
                acted = mass[..., sets, None] * cost[sets[:, None], free] + best[..., after]
                first = acted.argmin(axis=-1)
                acted_best = np.take_along_axis(acted, first[..., None], axis=-1)[..., 0]
                now = best[..., sets]
                better = acted_best < now - 1e-12
                best[..., sets] = np.where(better, acted_best, now)
                choice[..., sets] = np.where(better, free[np.arange(len(sets)), first], choice[..., sets])
        self.value[here], self.choice[here] = best, choice

    def _handing_over(self, here: tuple[slice | int, ...], mass: Floats, is_open: NDArray[np.bool_]) -> Floats:
        """Value of leaving the window: the remaining actions in p/c order up to the best point, then handing over."""
        joint = self.joint[here]
        left, spent, is_open = self.left, np.zeros_like(mass), is_open.copy()
        best = joint @ (left * self.problem.handover).T
        for position, i in enumerate(self.tail):
            action, needs = self.problem.actions[i], self.needs_tail[position]
            spent = spent + (action.cost + (needs & ~is_open) @ self.price) * (joint @ left.T)
            is_open |= needs
            left = left * (1 - action.cures)
            best = np.minimum(best, spent + joint @ (left * self.problem.handover).T)
        return best

    def node(self, seen: tuple[int, ...], done: int, reach: float) -> Node:
        """Point of the plan after these outcomes and actions, with all that follows."""
        joint = self.joint[seen] * self.left[done]
        mass = float(joint.sum())
        p, cost = joint / mass, float(self.value[seen][done]) / mass
        choice = int(self.choice[seen][done])
        if choice < 0:
            return self._tail_node(joint, set(self._open_groups(seen, done)), reach, 0)
        if choice < len(self.acting):
            after = done | 1 << choice
            not_cured = float(self.mass[seen][after]) / mass
            following = self.node(seen, after, reach * not_cured) if reach * not_cured > SMALLEST_REACH else None
            branches = (("cured", 1 - not_cured, None), ("not cured", not_cured, following))
            return Node("act", self.acting[choice], reach, p, cost, branches[: 2 if following else 1])
        axis = choice - len(self.acting)
        check = self.problem.checks[self.looking[axis]]
        found: list[tuple[str, float, Node | None]] = []
        for number, outcome in enumerate(check.outcomes, start=1):
            then = (*seen[:axis], number, *seen[axis + 1 :])
            chance = float(self.mass[then][done]) / mass
            if reach * chance > SMALLEST_REACH:
                found.append((outcome, chance, self.node(then, done, reach * chance)))
        return Node("check", self.looking[axis], reach, p, cost, tuple(found))

    def _open_groups(self, seen: tuple[int, ...], done: int) -> frozenset[str]:
        opened = set(self.problem.opened)
        for axis, outcome in enumerate(seen):
            if outcome:
                opened |= self.problem.checks[self.looking[axis]].access
        for position, i in enumerate(self.acting):
            if done >> position & 1:
                opened |= self.problem.actions[i].access
        return frozenset(opened)

    def _tail_node(self, joint: Floats, opened: set[str], reach: float, position: int) -> Node:
        """Rest of the actions in p/c order as far as they pay, then the hand-over."""
        rest = self.tail[position:]
        mass = float(joint.sum())
        p = joint / mass
        sub = Problem(
            self.problem.causes,
            p,
            (),
            self.problem.actions,
            self.problem.handover,
            self.problem.openings,
            frozenset(opened),
        )
        cost, count = without_checks(sub, rest)
        if count == 0:
            return Node("hand over", -1, reach, p, cost)
        action = self.problem.actions[rest[0]]
        following, left = None, joint * (1 - action.cures)
        not_cured = float(left.sum()) / mass
        if reach * not_cured > SMALLEST_REACH:
            following = self._tail_node(left, opened | action.access, reach * not_cured, position + 1)
        branches = (("cured", 1 - not_cured, None), ("not cured", not_cured, following))
        return Node("act", rest[0], reach, p, cost, branches[: 2 if following else 1])


def main_line(plan: Plan, steps: int = 6) -> list[Node]:
    """The plan as one list: after each check the likelier outcome, after each action "not cured"."""
    line = [plan.root]
    while len(line) < steps and line[-1].branches:
        following = [(chance, -place, after) for place, (_, chance, after) in enumerate(line[-1].branches) if after]
        if not following:
            break
        line.append(max(following, key=lambda branch: branch[:2])[2])
    return line
