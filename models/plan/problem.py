"""One call put to the planner: causes, checks, repairs and their costs; and what repairs alone would cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Check:
    """One observation: ``likelihood[cause, outcome]`` is the chance of each outcome under each cause; rows sum to 1."""

    name: str
    cost: float
    outcomes: tuple[str, ...]
    likelihood: Floats
    access: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Look:
    """A look at a part before it is fitted: its money, and the chance that a good part is taken for faulty.

    A part that is the cause is always seen to be faulty.
    """

    cost: float
    mistaken: float


@dataclass(frozen=True, eq=False)
class Action:
    """One repair: ``cures[cause]`` is the chance that it ends the fault.

    ``failed`` is money lost besides ``cost`` when it does not (it is not always noticed on site). With a ``look`` it
    may be done in two ways: at once, or only if the look says so.
    """

    name: str
    cost: float
    cures: Floats
    access: frozenset[str] = frozenset()
    failed: float = 0.0
    look: Look | None = None

    def money(self, *, looking: bool) -> tuple[float, float]:
        """Money when it cures and when it does not, openings left out."""
        if not looking or self.look is None:
            return self.cost, self.cost + self.failed
        return self.look.cost + self.cost, self.look.cost + self.look.mistaken * (self.cost + self.failed)

    def is_looked_at(self, cured: float, not_cured: float) -> bool:
        """Whether looking first is the cheaper way at these probabilities; they need not sum to 1."""
        if self.look is None:
            return False
        now, looking = self.money(looking=False), self.money(looking=True)
        return cured * looking[0] + not_cured * looking[1] < cured * now[0] + not_cured * now[1]

    def expected(self, cured: float, not_cured: float) -> float:
        """Money of the cheaper way, openings left out, times the probability of getting here."""
        cures, fails = self.money(looking=self.is_looked_at(cured, not_cured))
        return cured * cures + not_cured * fails


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


def order_cost(p: Sequence[float], cost: Sequence[float], order: Sequence[int]) -> float:
    """Expected cost of trying independent repairs in ``order`` until one cures: sum of c_i (1 - sum of earlier p_j)."""
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

    Money is what an action costs when it does not cure: that is what the order of two actions turns on.
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
    price = {i: _price(problem.actions[i], gain[i], float(mass.sum()) - gain[i]) for i in waiting}
    missing = {i: frozenset(problem.actions[i].access - opened) for i in waiting}
    best, best_ratio = [waiting[0]], -1.0
    for groups in sorted(set(missing.values()), key=sorted):
        spent, won, block = opening(problem, groups), 0.0, []
        inside = [i for i in waiting if missing[i] <= groups]
        for i in sorted(inside, key=lambda i: (-gain[i] / max(price[i], 1e-12), i)):
            block.append(i)
            spent += price[i]
            won += gain[i]
            ratio = won / max(spent, 1e-12)
            if ratio > best_ratio * (1 + 1e-12):
                best, best_ratio = list(block), ratio
    return best


def _price(action: Action, cured: float, not_cured: float) -> float:
    """Money of an action when it does not cure, done in the way that is cheaper now."""
    return action.money(looking=action.is_looked_at(cured, not_cured))[1]


def opening(problem: Problem, groups: frozenset[str] | set[str]) -> float:
    """Money of opening these groups, those open from the start left out."""
    return sum(problem.openings.get(group, 0.0) for group in groups - problem.opened)


def without_checks(problem: Problem, order: Sequence[int] | None = None) -> tuple[float, int]:
    """Expected money of the actions alone in ``order`` (default p/c) with the best point to hand over.

    Returns
    -------
    tuple
        Expected money, and how many actions to do before handing over.
    """
    masses, spent = walk(problem, blocks_in_pc_order(problem) if order is None else order)
    costs = [money + float(mass @ problem.handover) for money, mass in zip(spent, masses, strict=True)]
    best = int(np.argmin(costs))
    return costs[best], best


def walk(problem: Problem, order: Sequence[int]) -> tuple[list[Floats], list[float]]:
    """Probability of each cause still there, and money spent, before each action of ``order`` and after the last."""
    masses, spent, opened = [problem.p], [0.0], set(problem.opened)
    for i in order:
        action = problem.actions[i]
        left = masses[-1] * (1 - action.cures)
        here, not_cured = float(masses[-1].sum()), float(left.sum())
        money = action.expected(here - not_cured, not_cured) + here * opening(problem, action.access - opened)
        opened |= action.access
        masses.append(left)
        spent.append(spent[-1] + money)
    return masses, spent


def values_of(problem: Problem) -> Floats:
    """Money saved by knowing each check's outcome before acting in p/c order, its own cost not taken off; at least 0.

    Repairs are put in order anew for every outcome, openings counted with each repair that needs them.
    """
    outcomes = [len(check.outcomes) for check in problem.checks]
    joint = np.concatenate([problem.p[None, :], *(problem.p * check.likelihood.T for check in problem.checks)])
    seen = joint.sum(axis=1)
    now, *later = np.split(_costs_by_row(problem, joint / np.maximum(seen, 1e-300)[:, None]) * seen, _starts(outcomes))
    return np.maximum(float(now[0]) - np.array([costs.sum() for costs in later]), 0.0)


def _starts(outcomes: Sequence[int]) -> list[int]:
    """Row of ``joint`` at which each check's outcomes begin, the row of what is known now before them."""
    return [1 + sum(outcomes[:k]) for k in range(len(outcomes))]


def _costs_by_row(problem: Problem, odds: Floats) -> Floats:
    """Expected money of the repairs in p/c order with the best hand-over point, for every row of odds."""
    costs = odds @ problem.handover
    if not problem.actions:
        return costs
    cures = np.array([action.cures for action in problem.actions])
    openings = np.array([opening(problem, action.access) for action in problem.actions])
    ways = money_of_ways(problem.actions) + openings[None, :, None]
    gain = odds @ cures.T
    fails = np.where(_looks(ways, gain, 1 - gain), ways[1, :, 1], ways[0, :, 1])
    order = np.argsort(-gain / np.maximum(fails, 1e-12), axis=1, kind="stable")
    left, spent = odds, np.zeros(len(odds))
    for step in range(len(openings)):
        act = order[:, step]
        here, left = left.sum(axis=1), left * (1 - cures[act])
        not_cured = left.sum(axis=1)
        way = ways[:, act]
        spent = spent + ((here - not_cured) * way[..., 0] + not_cured * way[..., 1]).min(axis=0)
        costs = np.minimum(costs, spent + left @ problem.handover)
    return costs


def money_of_ways(actions: Sequence[Action]) -> Floats:
    """Money by way (at once, after a look), action, and whether it does not cure; without a look both ways are one."""
    return np.array([[action.money(looking=looking) for action in actions] for looking in (False, True)])


def _looks(ways: Floats, cured: Floats, not_cured: Floats) -> NDArray[np.bool_]:
    spent = [cured * way[:, 0] + not_cured * way[:, 1] for way in ways]
    looks: NDArray[np.bool_] = spent[1] < spent[0]
    return looks
