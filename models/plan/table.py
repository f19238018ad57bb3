"""The exact dynamic programme behind a plan: every outcome of the checks in its window by every set of repairs done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from models.plan.problem import Action, Check, Floats, Problem, money_of_ways, walk

Ints = NDArray[np.int64]

SMALLEST_REACH = 1e-9


@dataclass(frozen=True, eq=False)
class Node:
    """One point of the plan.

    ``step`` counts in ``problem.checks`` (do = "check") or ``problem.actions`` (do = "act"); -1 for "hand over".
    ``reach`` is the probability of getting here, ``p`` the odds on arrival, ``cost`` the expected money from here on.
    ``branches`` holds (what was seen, probability given arrival, next node); a cure ends with None.
    ``is_looked_at`` tells of an action whether its part is looked at first, and fitted only if it seems faulty.
    """

    do: str
    step: int
    reach: float
    p: Floats
    cost: float
    branches: tuple[tuple[str, float, Node | None], ...] = ()
    is_looked_at: bool = False


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

    def access_of(self, node: Node) -> frozenset[str]:
        """What a step opens."""
        if node.do == "check":
            return self.problem.checks[node.step].access
        return self.problem.actions[node.step].access if node.do == "act" else frozenset()

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


@dataclass(frozen=True, eq=False)
class ActionLevel:
    """Sets of actions of one size, which are the columns ``first`` to ``end``.

    ``free`` names the actions that may follow each set, ``after`` the column each of them leads to.
    """

    first: int
    end: int
    free: Ints
    after: Ints


@lru_cache(maxsize=32)
def _action_columns(actions: int) -> tuple[Ints, Ints, tuple[ActionLevel, ...]]:
    """Set of actions of each column (small sets first), column of each set, and the levels, large sets first."""
    sets = np.array(sorted(range(2**actions), key=lambda s: (int(s).bit_count(), s)))
    column = np.empty(len(sets), dtype=np.int64)
    column[sets] = np.arange(len(sets))
    counts = np.array([int(s).bit_count() for s in sets])
    levels = []
    for count in range(actions - 1, -1, -1):
        here = sets[counts == count]
        free = np.array([[a for a in range(actions) if not int(s) >> a & 1] for s in here])
        first = int(np.searchsorted(counts, count))
        levels.append(ActionLevel(first, first + len(here), free, column[here[:, None] | (1 << free)]))
    return sets, column, tuple(levels)


@dataclass(frozen=True, eq=False)
class CheckLevel:
    """Rows with the same number of checks left: which rows, and for each check the rows each outcome leads to.

    ``axis`` and ``then`` have one entry a slot (a check left); outcomes beyond a check's own lead to the last row,
    whose value is 0.
    """

    rows: Ints
    axis: Ints
    then: Ints


@lru_cache(maxsize=256)
def _check_rows(outcomes: tuple[int, ...]) -> tuple[Ints, tuple[CheckLevel, ...]]:
    """Outcome of each check in every row (0 = not done), and the levels, those with nothing left to check first."""
    shape = tuple(n + 1 for n in outcomes)
    count = int(np.prod(shape, dtype=np.int64))
    digits = np.stack(np.unravel_index(np.arange(count), shape), axis=1) if shape else np.zeros((1, 0), dtype=np.int64)
    strides = np.array([int(np.prod(shape[axis + 1 :], dtype=np.int64)) for axis in range(len(shape))], dtype=np.int64)
    left = (digits == 0).sum(axis=1)
    levels = []
    for number in range(1, len(shape) + 1):
        rows = np.flatnonzero(left == number)
        axis = np.nonzero(digits[rows] == 0)[1].reshape(len(rows), number)
        steps = np.arange(1, max(outcomes) + 1)
        then = rows[:, None, None] + strides[axis][:, :, None] * steps
        then[steps[None, None, :] > np.array(outcomes)[axis][:, :, None]] = count
        levels.append(CheckLevel(rows, axis, then))
    return digits, tuple(levels)


class Table:
    """The dynamic programme: ``value[outcomes of the checks][set of actions done]``, money × probability."""

    def __init__(self, problem: Problem, looking: list[int], acting: list[int], tail: list[int]) -> None:
        self.problem, self.looking, self.acting, self.tail = problem, looking, acting, tail
        checks, actions = [problem.checks[k] for k in looking], [problem.actions[i] for i in acting]
        self.shape = tuple(len(check.outcomes) + 1 for check in checks)
        self.digits, check_levels = _check_rows(tuple(len(check.outcomes) for check in checks))
        self.sets, self.column, action_levels = _action_columns(len(acting))
        self.bits = (self.sets[:, None] >> np.arange(len(acting))) & 1 == 1
        self.left = np.ones((len(self.sets), len(problem.p)))
        for place, action in enumerate(actions):
            self.left[self.bits[:, place]] *= 1 - action.cures
        self.joint = np.tile(problem.p, (len(self.digits), 1))
        for axis, check in enumerate(checks):
            chances = np.concatenate([np.ones((1, len(problem.p))), check.likelihood.T])
            self.joint *= chances[self.digits[:, axis]]
        self.mass = self.joint @ self.left.T
        self._open(checks, actions)
        self.value = np.zeros((len(self.digits) + 1, len(self.sets)))
        self.value[:-1] = self._handing_over()
        self.choice = np.full((len(self.digits), len(self.sets)), -1, dtype=np.int8)
        self._check(check_levels, slice(len(self.sets) - 1, len(self.sets)))
        for level in action_levels:
            self._act(level)
            self._check(check_levels, slice(level.first, level.end))

    def _open(self, checks: Sequence[Check], actions: Sequence[Action]) -> None:
        """Money of opening for the next check and the next action, by what was checked and done before."""
        groups = sorted(self.problem.openings)
        price = np.array([self.problem.openings[group] for group in groups])
        before = np.array([group in self.problem.opened for group in groups], dtype=bool)
        by_check, by_action, self.needs_tail = (
            np.array([[group in access for group in groups] for access in accesses], dtype=bool).reshape(
                len(accesses), len(groups)
            )
            for accesses in (
                [check.access for check in checks],
                [action.access for action in actions],
                [self.problem.actions[i].access for i in self.tail],
            )
        )
        open_rows = before | ((self.digits > 0).astype(int) @ by_check.astype(int) > 0)
        open_columns = self.bits.astype(int) @ by_action.astype(int) > 0
        shut = ~open_rows[:, None, :] & ~open_columns[None, :, :]
        self.shut = shut * price
        self.check_opening = np.tensordot(self.shut, by_check.astype(float), axes=(2, 1))
        self.action_opening = np.tensordot(self.shut, by_action.astype(float), axes=(2, 1))

    def _handing_over(self) -> Floats:
        """Value of leaving the window: the remaining actions in p/c order up to the best point, then handing over."""
        left, mass, spent = self.left, self.mass, np.zeros_like(self.mass)
        shut = self.shut.copy()
        best = self.joint @ (left * self.problem.handover).T
        for position, i in enumerate(self.tail):
            action, needs = self.problem.actions[i], self.needs_tail[position]
            left = left * (1 - action.cures)
            not_cured = self.joint @ left.T
            cured = mass - not_cured
            ways = [cured * cures + not_cured * fails for cures, fails in money_of_ways([action])[:, 0]]
            spent = spent + np.minimum(*ways) + np.tensordot(shut, needs.astype(float), axes=1) * mass
            shut[..., needs] = 0.0
            mass = not_cured
            best = np.minimum(best, spent + self.joint @ (left * self.problem.handover).T)
        return best

    def _act(self, level: ActionLevel) -> None:
        """Take the cheapest next action where that beats handing over; the sets it leads to are settled."""
        here = slice(level.first, level.end)
        shape = (len(self.digits), *level.free.shape)
        after = level.after.ravel()
        not_cured = self.mass.take(after, axis=1).reshape(shape)
        mass = self.mass[:, here, None]
        cured = mass - not_cured
        ways = money_of_ways([self.problem.actions[i] for i in self.acting])[:, level.free]
        spent = np.minimum(*(cured * way[..., 0] + not_cured * way[..., 1] for way in ways))
        opening = np.take_along_axis(self.action_opening[:, here], level.free[None], axis=2)
        acted = spent + mass * opening + self.value[:-1].take(after, axis=1).reshape(shape)
        first = acted.argmin(axis=2)
        self._settle(slice(None), here, acted.min(axis=2), level.free[np.arange(len(level.free)), first])

    def _check(self, levels: Sequence[CheckLevel], here: slice) -> None:
        """Make the most telling next check where that beats acting; what it leads to is settled."""
        for level in levels:
            then = self.value[level.then, here].sum(axis=2)
            cost = np.array([self.problem.checks[k].cost for k in self.looking])[level.axis]
            opening = np.take_along_axis(self.check_opening[level.rows, here], level.axis[:, None, :], axis=2)
            looked = then + (cost[:, :, None] + opening.transpose(0, 2, 1)) * self.mass[level.rows, here][:, None, :]
            first = looked.argmin(axis=1)
            chosen = len(self.acting) + np.take_along_axis(level.axis, first, axis=1)
            self._settle(level.rows, here, looked.min(axis=1), chosen)

    def _settle(self, rows: Ints | slice, here: slice, offered: Floats, choice: Ints) -> None:
        now = self.value[:-1][rows, here]
        better = offered < now - 1e-12
        self.value[:-1][rows, here] = np.where(better, offered, now)
        self.choice[rows, here] = np.where(better, choice, self.choice[rows, here])

    @property
    def cost(self) -> float:
        """Expected money of the whole plan."""
        return float(self.value[0, 0])

    def node(self, row: int = 0, column: int = 0, reach: float = 1.0) -> Node:
        """Point of the plan after these outcomes and actions, with all that follows."""
        joint = self.joint[row] * self.left[column]
        mass = float(self.mass[row, column])
        p, cost = joint / mass, float(self.value[row, column]) / mass
        choice = int(self.choice[row, column])
        if choice < 0:
            return self._tail_node(row, column, joint, reach)
        if choice < len(self.acting):
            after = int(self.column[self.sets[column] | 1 << choice])
            not_cured = float(self.mass[row, after]) / mass
            following = self.node(row, after, reach * not_cured) if reach * not_cured > SMALLEST_REACH else None
            return _act_node(self.problem, self.acting[choice], reach, p, cost, not_cured, following)
        axis = choice - len(self.acting)
        check = self.problem.checks[self.looking[axis]]
        stride = int(np.prod(self.shape[axis + 1 :], dtype=np.int64))
        found: list[tuple[str, float, Node | None]] = []
        for number, outcome in enumerate(check.outcomes, start=1):
            then = row + number * stride
            chance = float(self.mass[then, column]) / mass
            if reach * chance > SMALLEST_REACH:
                found.append((outcome, chance, self.node(then, column, reach * chance)))
        return Node("check", self.looking[axis], reach, p, cost, tuple(found))

    def _tail_node(self, row: int, column: int, joint: Floats, reach: float) -> Node:
        """Rest of the actions in p/c order as far as they pay, then the hand-over."""
        checked = [self.problem.checks[self.looking[axis]].access for axis in np.flatnonzero(self.digits[row])]
        acted = [self.problem.actions[self.acting[place]].access for place in np.flatnonzero(self.bits[column])]
        opened = self.problem.opened.union(*checked, *acted)
        rest = replace(self.problem, p=joint / joint.sum(), checks=(), opened=opened)
        masses, spent = walk(rest, self.tail)
        costs = [money + float(left @ rest.handover) for money, left in zip(spent, masses, strict=True)]
        last = int(np.argmin(costs))
        node: Node | None = None
        for position in range(last, -1, -1):
            here = float(masses[position].sum())
            p, cost = masses[position] / here, (costs[last] - spent[position]) / here
            if reach * here <= SMALLEST_REACH and position:
                continue
            if position == last:
                node = Node("hand over", -1, reach * here, p, cost)
                continue
            not_cured = float(masses[position + 1].sum()) / here
            node = _act_node(self.problem, self.tail[position], reach * here, p, cost, not_cured, node)
        assert node is not None  # noqa: S101 - the first position is always there
        return node


def _act_node(
    problem: Problem, step: int, reach: float, p: Floats, cost: float, not_cured: float, after: Node | None
) -> Node:
    branches = (("cured", 1 - not_cured, None), ("not cured", not_cured, after))
    looks = problem.actions[step].is_looked_at(1 - not_cured, not_cured)
    return Node("act", step, reach, p, cost, branches[: 2 if after else 1], looks)
