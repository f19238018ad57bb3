"""The exact dynamic programme behind a plan: every outcome of the checks in its window by every set of repairs done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from models.plan_problem import Floats, Problem, without_checks

Ints = NDArray[np.int64]

SMALLEST_REACH = 1e-9


@dataclass(frozen=True, eq=False)
class Node:
    """One point of the plan.

    ``step`` counts in ``problem.checks`` (do = "check") or ``problem.actions`` (do = "act"); -1 for "hand over".
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


@lru_cache(maxsize=32)
def _by_count(actions: int) -> tuple[tuple[Ints, Ints, Ints], ...]:
    """For each number of actions done, most first: the sets with that many, what may follow, the sets it leads to."""
    levels = []
    sets = np.arange(2**actions)
    counts = np.array([int(s).bit_count() for s in sets])
    for count in range(actions - 1, -1, -1):
        here = sets[counts == count]
        free = np.array([[a for a in range(actions) if not int(s) >> a & 1] for s in here])
        levels.append((here, free, here[:, None] | (1 << free)))
    return tuple(levels)


class Table:
    """The dynamic programme: ``value[outcome of each check, 0 = not done][set of actions]``, money × probability."""

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
        return np.array([[g in access for g in groups] for access in accesses], dtype=bool).reshape(
            len(accesses), len(groups)
        )

    def _open(self, done: int) -> NDArray[np.bool_]:
        """Which groups are open after the checks in ``done``, for every set of actions."""
        by_checks = self.open_before.copy()
        for axis in range(len(self.looking)):
            if done >> axis & 1:
                by_checks = by_checks | self.needs_check[axis]
        is_open: NDArray[np.bool_] = self.open_by_actions | by_checks
        return is_open

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
        sub = replace(self.problem, p=p, checks=(), opened=frozenset(opened))
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
