"""Search for the cheapest plan: points (what was seen and done, the state of the machine) with bounds on their cost.

At every point three amounts are kept, money times the probability of getting there. ``upper`` is what a plan known by
now costs: at first that of repairs alone in falling p/c order. ``lower`` is what no plan can beat: at first that of
somebody who is told the cause. ``hope`` lies between them. The search follows the plan that looks cheapest by hope,
opens the points where it ends, all at once, and passes what it learns back, until that plan ends in repairs and a
hand-over (AO*; Martelli & Montanari 1973; Nilsson 1980, from memory). What is returned is the best plan by ``upper``:
its cost is real, not hoped for. With hope equal to ``lower`` nothing cheaper can exist.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.plan.machine import Machine, change
from models.plan.problem import Action, Check, First, Floats, Problem, outcome_seen

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
STAGES = (0.5, 1.0)
FIRST_SHARE = 0.5  # of the points, for looking behind every first step
TINY = 1e-12
NEVER = 1e9  # money of what cannot be had
SHUT, LOWER, FIRST = range(3)


@dataclass(eq=False, slots=True)
class Point:
    """One point of the search; ``seen`` and ``done`` are bit sets of checks and actions, ``state`` a machine's number.

    What can tell nothing any more counts as seen. Once a point is open, ``by_step`` holds ``upper``, ``hope`` and
    ``lower`` of each of its ``steps`` (those that may pay); ``by_row`` what each row (an outcome of a check, or an
    action that did not cure) leads to: the same three as they were then, its mass, and money of handing over;
    ``passed`` what of each child is in ``by_step``.
    """

    joint: Floats
    mass: float
    seen: int
    done: int
    state: int
    key: tuple[int, int, int]
    upper: float
    hope: float
    lower: float
    handover: float
    repairs: float
    depth: int
    steps: list[int] = field(default_factory=list)
    by_step: list[list[float]] | None = None
    by_row: Floats | None = None
    children: dict[int, Point] = field(default_factory=dict)
    passed: dict[int, list[float]] = field(default_factory=dict)
    parents: list[tuple[Point, int]] = field(default_factory=list)


class Search:
    """The search over one problem.

    Parameters
    ----------
    problem
        One call.
    points
        Most points to open.
    optimism
        Where hope lies between the bounds: 0 = what repairs alone cost, 1 = the lower bound (nothing cheaper exists).
    tolerance
        Share of the whole plan's money that is left unsearched at a point.
    """

    def __init__(self, problem: Problem, points: int, optimism: float, tolerance: float) -> None:
        self.problem, self.optimism = problem, 0.0
        self._lay_out()
        self._states: dict[tuple[Any, ...], int] = {}
        self._machines: list[Machine] = []
        self._moves: list[_Moves | None] = []
        self._known: tuple[list[Any], ...] = ([], [], [])
        self._stacked: list[NDArray[Any]] = [np.zeros(0)] * 3
        self._points: dict[tuple[int, int, int], Point] = {}
        first = self._state(problem.machine)
        seen, done = self._spoilt(problem.machine.spoilt)
        bounds = self._bounds(problem.p[None], *(np.array([x]) for x in (seen, done, first)))
        mass, handing, upper, lower = (x.item() for x in bounds)
        self.repairs_alone = upper
        self.root = self._point(problem.p, mass, handing, seen, done, first, 0, upper, lower)
        self.opened: list[Point] = []
        self._has_moved = False
        self.optimism = STAGES[0] * optimism
        self._open([self.root])
        self._try_first_steps(points * FIRST_SHARE, tolerance)
        for share in STAGES:  # plans known to be cheap first: they make the bounds of the bolder search
            if share > STAGES[0]:
                self._hope_anew(share * optimism)
            while len(self.opened) < points:
                self._has_moved = False
                tips = self._tips([self.root], tolerance * self.root.upper)
                if tips:
                    self._open(tips[: points - len(self.opened)])
                elif not self._has_moved:  # else points met on another way were taken over: follow hope again
                    break

    def _lay_out(self) -> None:
        """Number steps (checks, then actions) and rows (each outcome of each check, then each action)."""
        problem = self.problem
        self.steps: tuple[Check | Action, ...] = (*problem.checks, *problem.actions)
        checks, actions = problem.checks, problem.actions
        places = {action.name: place for place, action in enumerate(actions)}
        self.cures = np.array([action.cures for action in actions]).reshape(len(actions), len(problem.p))
        self.ways = np.array([[a.money(looking=looking) for a in actions] for looking in (False, True)]).reshape(
            2, len(actions), 2
        )
        self.look_more = (self.ways[1] - self.ways[0]).T  # what looking first costs more where it cures, and where not
        factors, before, costs, step_of, outcome_of, clears = [], [], [], [], [], []
        for k, check in enumerate(checks):
            for outcome, name in enumerate(check.outcomes):
                chance = check.likelihood[:, outcome]
                follows = places.get(check.clears.get(name, ""), -1)
                factor, cost = chance, np.zeros(len(chance))
                if follows >= 0:
                    cured, failed = actions[follows].money(looking=False)
                    factor = chance * (1 - self.cures[follows])
                    cost = chance * (self.cures[follows] * cured + (1 - self.cures[follows]) * failed)
                factors.append(factor)
                before.append(chance)
                costs.append(cost)
                step_of.append(k)
                outcome_of.append(outcome)
                clears.append(follows)
        for a in range(len(actions)):
            factors.append(1 - self.cures[a])
            before.append(np.ones(len(problem.p)))
            costs.append(np.zeros(len(problem.p)))
            step_of.append(len(checks) + a)
            outcome_of.append(-1)
            clears.append(-1)
        width = len(problem.p)
        self.factors, self.chances, self.row_costs = (
            np.array(x, dtype=float).reshape(len(step_of), width) for x in (factors, before, costs)
        )
        self.step_of, self.outcome_of, self.clears = (
            np.array(x, dtype=np.int64) for x in (step_of, outcome_of, clears)
        )
        self.step_of_row = [int(s) for s in step_of]
        self.starts = np.flatnonzero(np.diff(self.step_of, prepend=-1)) if step_of else np.zeros(0, np.int64)
        self.check_money = np.array([check.cost for check in checks] + [0.0] * len(actions))
        radix, self.code_of_row = 1, []
        for check in checks:
            self.code_of_row += [radix * (outcome + 1) for outcome in range(len(check.outcomes))]
            radix *= len(check.outcomes) + 1
        self.code_of_row += [0] * len(actions)
        self.rows_of_step = [np.flatnonzero(self.step_of == s).tolist() for s in range(len(self.steps))]
        numbers = {check.name: k for k, check in enumerate(checks)}
        self._lay_out_first(numbers)
        self.check_bits = {name: 1 << k for name, k in numbers.items()}
        self.action_bits = {name: 1 << a for name, a in places.items()}
        looks = [action.look.after if action.look else frozenset() for action in actions]
        self.look_bits = np.array([self._spoilt(names)[0] for names in looks], dtype=np.int64)
        self._lay_out_moves(outcome_of)
        self.alone = self._one_by_one()
        groups = sorted({group for step in self.steps for group in step.access})
        self.group_money = {group: problem.prices.openings.get(group, 0.0) for group in groups}
        covers = problem.prices.closings.keys()
        isolated = [[action.power == "off" or not covers.isdisjoint(action.access)] for action in actions]
        places_needed = np.array(
            [[g in action.access for g in groups] + off for action, off in zip(actions, isolated, strict=True)],
            dtype=bool,
        ).reshape(len(actions), len(groups) + 1)
        self.needs = np.concatenate([places_needed, self.waits[:, len(checks) :].T], axis=1)
        self.members = [(group, np.flatnonzero(needs)) for group, needs in enumerate(self.needs.T) if needs.any()]
        self.row_bits = [self._told_by(*row) for row in zip(step_of, outcome_of, clears, strict=True)]
        self.row_seen, self.row_done = (
            np.array([bits[which] for bits in self.row_bits], dtype=np.int64) for which in (0, 1)
        )

    def _lay_out_moves(self, outcomes: list[int]) -> None:
        """Steps that need and do the same to the machine, with their rows; rows that change it further."""
        self.outcomes = outcomes
        alike: dict[tuple[Any, ...], list[int]] = {}
        for number, step in enumerate(self.steps):
            needs = step.access, step.power, step.covers, step.water, step.is_repair
            alike.setdefault(needs, []).append(number)
        self.alike = [(steps, [row for step in steps for row in self.rows_of_step[step]]) for steps in alike.values()]
        self.row_changes = [
            (number, row)
            for number, step in enumerate(self.steps)
            for row in self.rows_of_step[number]
            if self.clears[row] >= 0 or (isinstance(step, Check) and step.outcomes[outcomes[row]] in step.forbids)
        ]

    def _lay_out_first(self, numbers: dict[str, int]) -> None:
        """Checks that come before other steps: which steps wait for each, and while which causes have what odds."""
        self.first = [first for first in self.problem.first if first.check in numbers]
        count, steps = len(self.first), len(self.steps)
        self.first_checks = [numbers[first.check] for first in self.first]
        self.first_bits = np.array([1 << k for k in self.first_checks], dtype=np.int64)
        self.first_causes = np.array([first.causes for first in self.first], dtype=float).reshape(
            count, len(self.problem.p)
        )
        self.first_least = np.array([first.least for first in self.first])
        self.waits = np.array(
            [[step.name in first.before for step in self.steps] for first in self.first], dtype=bool
        ).reshape(count, steps)

    def _told_by(self, step: int, outcome: int, follows: int) -> tuple[int, int]:
        """Bits of what is seen and done once a row is over, with the repair that follows it (-1 = none)."""
        checks, places = len(self.problem.checks), [step - len(self.problem.checks), follows]
        seen, done = self._spoilt(self.steps[step].spoils)
        if step < checks:
            check = self.problem.checks[step]
            seen |= 1 << step
            done |= self.action_bits.get(check.rules_out.get(check.outcomes[outcome], ""), 0)
        for a in places:
            if a >= 0:
                more = self._spoilt(self.problem.actions[a].spoils)
                seen, done = seen | more[0], done | more[1] | 1 << a
        return seen, done

    def _spoilt(self, names: frozenset[str]) -> tuple[int, int]:
        """Bits of checks and of actions that are of no use any more."""
        return tuple(sum(bits.get(name, 0) for name in names) for bits in (self.check_bits, self.action_bits))  # type: ignore[return-value]

    def _one_by_one(self) -> Bools:
        """Actions whose chances add up because they cure different causes: those that the first bound may use."""
        taken = np.zeros(len(self.problem.p), dtype=bool)
        alone = []
        for cures in self.cures:
            alone.append(not (taken & (cures > 0)).any())
            if alone[-1]:
                taken |= cures > 0
        return np.array(alone, dtype=bool)

    def _state(self, machine: Machine) -> int:
        """Number of a state of the machine, whatever is spoilt; what repairs cost from there is worked out once."""
        was = machine.may_close, machine.was_closed, machine.stays_off
        key = machine.opened, machine.is_live, machine.is_drained, *was
        number = self._states.get(key)
        if number is None:
            number = self._states[key] = len(self._machines)
            self._machines.append(replace(machine, spoilt=frozenset()))
            self._moves.append(None)
            shut = np.array(
                [
                    *(0.0 if g in machine.opened else money for g, money in self.group_money.items()),
                    self.problem.prices.isolating if machine.is_live else 0.0,
                ]
            )
            once = self.ways[..., 0].min(axis=0) + self.needs[:, : len(shut)] @ shut
            lower = np.where(self.cures > 0, once[:, None], np.inf).min(axis=0, initial=np.inf)
            looks = np.array(
                [self._money_first(*row, machine) for row in zip(self.first_checks, self.first, strict=True)]
            )
            for kept, value in zip(self._known, (shut, np.minimum(lower, self.problem.handover), looks), strict=True):
                kept.append(value)
        return number

    def _money_first(self, k: int, first: First, machine: Machine) -> float:
        """Money of a check that comes before other steps; 0 = nothing waits for it."""
        check = self.problem.checks[k]
        needed = change(machine, check, self.problem.prices)
        if needed is None or (needed.first and not first.is_strict):
            return NEVER if first.is_strict else 0.0
        return max(check.cost + needed.money, TINY)

    def _pending(self, joint: Floats, mass: Floats, seen: Ints, states: Ints) -> Floats:
        """Money of each check that other steps wait for now; 0 = nothing waits for it."""
        is_due = joint @ self.first_causes.T >= self.first_least * mass[:, None] - TINY
        pending: Floats = np.where(is_due & self._can_look(seen, states), self._of_states(FIRST, states), 0.0)
        return pending

    def _of_states(self, which: int, states: Ints) -> NDArray[Any]:
        """One column of what is known of every state, for the states asked about."""
        if self._stacked[which].shape[0] != len(self._machines):
            self._stacked[which] = np.array(self._known[which])
        return self._stacked[which][states]

    def _moves_from(self, state: int) -> _Moves:
        """What every step costs and leads to from one state of the machine."""
        known = self._moves[state]
        if known is None:
            machine, prices = self._machines[state], self.problem.prices
            extra, then = np.zeros(len(self.step_of)), np.zeros(len(self.step_of), dtype=np.int64)
            money = np.full(len(self.steps), np.inf)
            for steps, rows in self.alike:
                needed = change(machine, self.steps[steps[0]], prices)
                if needed is not None:
                    money[steps], then[rows] = needed.money, self._state(needed.then)
            for number, row in self.row_changes:
                needed = change(machine, self.steps[number], prices)
                if needed is None:
                    continue
                after, follows = (
                    outcome_seen(needed.then, self.steps[number], self.outcomes[row]),
                    int(self.clears[row]),
                )
                second = change(after, self.problem.actions[follows], prices) if follows >= 0 else None
                if second is not None:
                    extra[row], after = second.money, second.then
                then[row] = self._state(after)
            known = self._moves[state] = _Moves(money, extra, then)
        return known

    def _usable(self, done: Ints) -> Bools:
        """Actions not done before."""
        usable: Bools = (done[:, None] >> np.arange(len(self.problem.actions))) & 1 == 0
        return usable

    def _bounds(self, joint: Floats, seen: Ints, done: Ints, states: Ints) -> tuple[Floats, Floats, Floats, Floats]:
        """Mass, money of handing over, of repairs alone in falling p/c order, and what no plan can beat.

        What other steps wait for is made there, and paid, without regard to what it shows.
        """
        mass, handing = joint.sum(axis=1), joint @ self.problem.handover
        lower = np.einsum("ij,ij->i", joint, self._of_states(LOWER, states))
        return mass, handing, self._repairs_known(joint, mass, handing, seen, done, states), lower

    def _repairs_known(
        self, joint: Floats, mass: Floats, handing: Floats, seen: Ints, done: Ints, states: Ints
    ) -> Floats:
        """Money of repairs alone in falling p/c order, as far as they pay."""
        if not len(self.cures):
            return handing
        usable = self._usable(done) & self.alone
        _, totals = self._in_order(joint, usable, mass, handing, seen, self._shut(joint, mass, seen, states))
        known: Floats = np.minimum(handing, totals.min(axis=1, initial=np.inf))
        return known

    def may_look(self, seen: Ints) -> Bools:
        """Which parts may be looked at as they are fitted: those whose own checks are made."""
        may: Bools = seen[..., None] & self.look_bits == self.look_bits
        return may

    def _in_order(
        self, joint: Floats, usable: Bools, mass: Floats, handing: Floats, seen: Ints, shut: Floats
    ) -> tuple[Ints, Floats]:
        """Order of the actions by chance of cure per money; money of handing over after each of them in that order.

        ``shut`` is what must be paid once before the actions that need it, by column of ``needs``.
        """
        gain = np.where(usable, joint @ self.cures.T, 0.0)
        lost = mass[:, None] - gain
        may_look = self.may_look(seen)
        is_looked = (gain * self.look_more[0] + lost * self.look_more[1] < 0) & may_look
        price = np.where(is_looked, self.ways[1, :, 1], self.ways[0, :, 1]) + shut @ self.needs.T
        order = np.argsort(gain / -np.maximum(price, TINY), axis=1, kind="stable")
        row = np.arange(len(order))[:, None]
        gained = gain[row, order]
        before = mass[:, None] - gained.cumsum(axis=1) + gained
        fails = before - gained
        more = gained * self.look_more[0, order] + fails * self.look_more[1, order]
        costs = gained * self.ways[0, order, 0] + fails * self.ways[0, order, 1]
        costs += np.where(may_look[row, order], np.minimum(more, 0.0), 0.0)
        if shut.any():
            ranks = np.empty_like(order)
            ranks[row, order] = np.arange(order.shape[1])
            for group, members in self.members:
                if shut[:, group].any():
                    first = ranks[:, members].min(axis=1)
                    costs[row[:, 0], first] += before[row[:, 0], first] * shut[:, group]
        handed = np.where(usable, (joint * self.problem.handover) @ self.cures.T, 0.0)[row, order]
        return order, costs.cumsum(axis=1) + handing[:, None] - handed.cumsum(axis=1)

    def _point(
        self,
        joint: Floats,
        mass: float,
        handing: float,
        seen: int,
        done: int,
        state: int,
        code: int,
        upper: float,
        lower: float,
    ) -> Point:
        key = code, done, state
        found = self._points.get(key)
        if found is None:
            hope, depth = upper - self.optimism * (upper - lower), seen.bit_count() + done.bit_count()
            found = Point(joint, mass, seen, done, state, key, upper, hope, lower, handing, upper, depth)
            self._points[key] = found
        return found

    def _try_first_steps(self, points: float, tolerance: float) -> None:
        """Look a little way behind every step that may come first, so that none is passed over for want of a look."""
        assert self.root.by_step is not None  # noqa: S101 - the root is open
        lowers = dict(zip(self.root.steps, self.root.by_step[2], strict=True))
        order = sorted((step for step in lowers if lowers[step] < self.root.upper), key=lowers.__getitem__)
        most = max(int(points / max(len(order), 1)), 1)
        left = dict.fromkeys(order, most)
        while left:
            tips: dict[int, Point] = {}
            for step in list(left):
                children = [self.child(self.root, row) for row in self.rows_of_step[step]]
                found = self._tips([child for child in children if child is not None], tolerance * self.root.upper)
                new = [point for point in found[: left[step]] if id(point) not in tips]
                tips |= {id(point): point for point in new}
                left[step] -= len(new)
                if not new or not left[step]:
                    del left[step]
            if tips:
                self._open(list(tips.values()))

    def _tips(self, starts: Sequence[Point], slack: float) -> list[Point]:
        """Points where the plan that looks cheapest by hope ends and more may be won; those that weigh most first."""
        tips: dict[int, Point] = {}
        waiting, met = list(starts), {id(point) for point in starts}
        while waiting:
            point = waiting.pop()
            if point.upper - point.hope <= slack * min(1.0, point.mass * 4):
                continue
            if point.by_step is None:
                tips[id(point)] = point
                continue
            hopes = point.by_step[1]
            least = min(hopes, default=np.inf)
            if least >= point.handover:
                continue
            for row in self.rows_of_step[point.steps[hopes.index(least)]]:
                child = self.child(point, row)
                if child is not None and id(child) not in met:
                    met.add(id(child))
                    waiting.append(child)
        return sorted(tips.values(), key=lambda point: point.hope - point.upper)

    def child(self, point: Point, row: int) -> Point | None:
        """Point that a row leads to; None where it cannot be reached."""
        found = point.children.get(row)
        if found is not None:
            return found
        assert point.by_row is not None  # noqa: S101 - the point is open
        *passed, mass, handing = point.by_row[:, row].tolist()
        if mass <= TINY:
            return None
        (seen, done), code = self.row_bits[row], point.key[0] + self.code_of_row[row]
        joint, then = point.joint * self.factors[row], int(self._moves_from(point.state).then[row])
        known = len(self._points)
        found = self._point(
            joint, mass, handing, point.seen | seen, point.done | done, then, code, passed[0], passed[2]
        )
        point.children[row], point.passed[row] = found, passed
        found.parents.append((point, row))
        if len(self._points) == known and self._taken_over(point, row, found):
            self._has_moved = True
            self._pass_up([point])
        return found

    def _open(self, tips: Sequence[Point], only: Sequence[int] | None = None) -> None:
        """Open points: bounds of everything that may come next, all in one go; ``only`` = one step of each point.

        A step that cannot beat repairs alone is passed over.
        """
        self.opened += tips
        n, rows = len(tips), len(self.step_of)
        if not rows:
            for point in tips:
                point.by_step, point.by_row = [[], [], []], np.zeros((5, 0))
            return
        joint, checks = np.stack([point.joint for point in tips]), len(self.problem.checks)
        mass, seen, done, _ = _amounts(tips)
        moves = [self._moves_from(point.state) for point in tips]
        change_money = np.stack([move.money for move in moves])
        extra = np.stack([move.extra for move in moves])
        can = np.concatenate([(seen[:, None] >> np.arange(checks)) & 1 == 0, self._usable(done)], axis=1)
        can &= np.isfinite(change_money)
        if self.first:
            self._make_wait(can, tips, joint)
        if only is not None:
            can &= np.arange(len(self.steps)) == np.array(only)[:, None]
        gain = joint @ self.cures.T
        lost = mass[:, None] - gain
        base = np.where(can, (self.check_money + change_money) * mass[:, None], np.inf)
        base[:, checks:] += (
            gain * self.ways[0, :, 0]
            + lost * self.ways[0, :, 1]
            + np.where(self.may_look(seen), np.minimum(gain * self.look_more[0] + lost * self.look_more[1], 0.0), 0.0)
        )
        own = joint @ self.row_costs.T + extra * (joint @ self.chances.T)

        at, row = can[:, self.step_of].nonzero()
        later, then = joint[at] * self.factors[row], np.stack([move.then for move in moves])[at, row]
        by_row = np.zeros((n, 5, rows))
        masses, handings = later.sum(axis=1), later @ self.problem.handover
        by_row[at, 3, row], by_row[at, 4, row] = masses, handings
        by_row[at, 2, row] = np.einsum("ij,ij->i", later, self._of_states(LOWER, then))
        by_step = np.empty((n, 3, len(self.steps)))
        by_step[:, 2] = np.add.reduceat(by_row[:, 2] + own, self.starts, axis=1) + base
        is_free = [only is not None or (point is self.root and bool(self.problem.due)) for point in tips]
        known = np.where(is_free, np.inf, [point.repairs for point in tips])
        pays = by_step[:, 2] < known[:, None]
        worth = pays[at, self.step_of[row]].nonzero()[0]
        at, row = at[worth], row[worth]
        bits = seen[at] | self.row_seen[row], done[at] | self.row_done[row]
        upper = self._repairs_known(later[worth], masses[worth], handings[worth], *bits, then[worth])
        by_row[at, 0, row] = upper
        by_row[:, 1] = by_row[:, 0] - self.optimism * (by_row[:, 0] - by_row[:, 2])
        base = np.where(pays, base, np.inf)
        by_step[:, :2] = np.add.reduceat(by_row[:, :2] + own[:, None], self.starts, axis=2) + base[:, None]
        if self.problem.due and self.root in tips:
            self._put_first(by_step[tips.index(self.root)])
        for point, steps, of_rows, may_pay in zip(tips, by_step, by_row, np.isfinite(by_step[:, 0]), strict=True):
            chosen = may_pay.nonzero()[0]
            point.steps, point.by_step, point.by_row = chosen.tolist(), steps[:, chosen].tolist(), of_rows
        self._pass_up(tips)

    def _make_wait(self, can: Bools, tips: Sequence[Point], joint: Floats) -> None:
        """Take out what has to wait, at points where anything may; set anew there what repairs alone cost without."""
        _, seen, _, states = _amounts(tips)
        may = ((joint @ self.first_causes.T > TINY) | (self.first_least <= 0)) & self._can_look(seen, states)
        which = may.any(axis=1).nonzero()[0]
        if not len(which):
            return
        points = [tips[number] for number in which]
        mass, seen, _, states = _amounts(points)
        waiting = (self._pending(joint[which], mass, seen, states) > 0) @ self.waits
        can[which] &= ~waiting
        for point, tail in zip(points, self._tails(points, np.ones(len(points), dtype=bool)), strict=True):
            point.repairs = tail.money

    def _can_look(self, seen: Ints, states: Ints) -> Bools:
        """Which checks that come before other steps are not made yet and can be."""
        can: Bools = (self._of_states(FIRST, states) > 0) & (seen[:, None] & self.first_bits == 0)
        return can

    def _shut(self, joint: Floats, mass: Floats, seen: Ints, states: Ints) -> Floats:
        """Money that must be paid once at each point before the actions that need it."""
        return np.concatenate([self._of_states(SHUT, states), self._pending(joint, mass, seen, states)], axis=1)

    def _put_first(self, by_step: Floats) -> None:
        """At the root only the step that is due can be made."""
        due = [step.name == self.problem.due for step in self.steps]
        if np.isfinite(by_step[0, due]).any():
            by_step[:, ~np.array(due)] = np.inf
            self.root.repairs = self.root.handover = np.inf

    def _hope_anew(self, optimism: float) -> None:
        """Set how much cheaper than known a plan may be hoped to be, at every point."""
        self.optimism = optimism
        for point in self._points.values():
            if point.by_step is None:
                point.hope = point.upper - optimism * (point.upper - point.lower)
        if not self.opened or not len(self.step_of):
            return
        rows = np.stack([point.by_row for point in self.opened if point.by_row is not None])
        gaps = optimism * (rows[:, 0] - rows[:, 2])
        by_step = np.add.reduceat(gaps, self.starts, axis=1)
        anew = list(zip(self.opened, rows[:, 0] - gaps, gaps, by_step, strict=True))
        for point, hopes, gap, less in sorted(anew, key=lambda row: -row[0].depth):
            assert point.by_row is not None  # noqa: S101 - the point is open
            assert point.by_step is not None  # noqa: S101
            steps = (np.array(point.by_step[0]) - less[point.steps]).tolist()
            for row, child in point.children.items():
                steps[point.steps.index(self.step_of_row[row])] += child.hope - child.upper + float(gap[row])
                point.passed[row][1] = child.hope
            point.by_row[1], point.by_step[1] = hopes, steps
            self._settled(point)

    def _taken_over(self, point: Point, row: int, child: Point) -> bool:
        """Take a child's amounts over; tells whether they moved."""
        assert point.by_step is not None  # noqa: S101 - the point is open
        place, passed, moved = point.steps.index(self.step_of_row[row]), point.passed[row], False
        for number, amount in enumerate((child.upper, child.hope, child.lower)):
            by = amount - passed[number]
            if by > TINY or by < -TINY:
                passed[number] = amount
                point.by_step[number][place] += by
                moved = True
        return moved

    def _pass_up(self, points: Sequence[Point]) -> None:
        """Settle points and all that lead to them, the deepest first."""
        queue = [(-point.depth, id(point), point) for point in points]
        heapq.heapify(queue)
        waiting = {id(point) for point in points}
        while queue:
            _, _, point = heapq.heappop(queue)
            waiting.discard(id(point))
            if not self._settled(point):
                continue
            for parent, row in point.parents:
                if self._taken_over(parent, row, point) and id(parent) not in waiting:
                    waiting.add(id(parent))
                    heapq.heappush(queue, (-parent.depth, id(parent), parent))

    def _settled(self, point: Point) -> bool:
        """Bring a point's own amounts up to date; tells whether they moved."""
        assert point.by_step is not None  # noqa: S101 - the point is open
        uppers, hopes, lowers = point.by_step
        upper = min(point.repairs, min(uppers, default=np.inf))
        lower = min(max(point.lower, min(point.handover, min(lowers, default=np.inf))), upper)
        hope = min(max(min(point.handover, min(hopes, default=np.inf)), lower), upper)
        moved = abs(upper - point.upper) + abs(hope - point.hope) + abs(lower - point.lower) > TINY
        point.upper, point.hope, point.lower = upper, hope, lower
        return moved

    def best(self, point: Point) -> int | None:
        """Step of the best plan known at a point; None = repairs alone, in order, then hand over."""
        if point.by_step is None:
            return None
        least = min(point.by_step[0], default=np.inf)
        return point.steps[point.by_step[0].index(least)] if least < point.repairs - TINY else None

    def ends(self) -> list[Point]:
        """Points where the best plan known goes on to repairs alone, all of them reached from the root.

        Where one of the repairs waits for a check, the point is opened: the plan makes the check.
        """
        self._has_moved, known = True, set[int]()
        while self._has_moved:  # points met on another way may change what is best
            self._has_moved = False
            ends, starts = list[Point](), [self.root]
            met = {id(self.root)}
            while starts:
                found = self._ends_from(starts, met)
                unknown = [point for point in found if point.by_step is None and id(point) not in known]
                starts = self._made_to_look(unknown) if self.first else []
                known |= {id(point) for point in unknown}
                again = {id(point) for point in starts}
                ends += [point for point in found if id(point) not in again]
                self._has_moved |= bool(starts)
        return ends

    def _ends_from(self, starts: list[Point], met: set[int]) -> list[Point]:
        """Points where the best plan known ends in repairs alone, on from some points; ``met`` are passed over."""
        ends, waiting = [], starts
        while waiting:
            point = waiting.pop()
            step = self.best(point)
            if step is None:
                ends.append(point)
                continue
            for row in self.rows_of_step[step]:
                child = self.child(point, row)
                if child is not None and id(child) not in met:
                    met.add(id(child))
                    waiting.append(child)
        return ends

    def _made_to_look(self, points: Sequence[Point]) -> list[Point]:
        """Open the points where a repair has to wait, for the check itself or for the repair that comes before."""
        tails = self._tails(points, np.zeros(len(points), dtype=bool))
        late = [(point, tail) for point, tail in zip(points, tails, strict=True) if tail.waits]
        if late:
            steps = [tail.look if tail.look >= 0 else len(self.problem.checks) + tail.order[0] for _, tail in late]
            self._open([point for point, _ in late], steps)
        return [point for point, _ in late]

    def first_costs(self) -> dict[str, float]:
        """Name of each step that may come first → money with the best plan known after it."""
        if self.root.by_step is None:
            return {}
        return {self.steps[step].name: money for step, money in zip(self.root.steps, self.root.by_step[0], strict=True)}

    def saved_by_closing(self, point: Point) -> float:
        """Money that the best step at a point saves against the best one that needs no closing up."""
        if point.by_step is None:
            return 0.0
        machine, prices = self._machines[point.state], self.problem.prices
        rest = [point.repairs]
        for step, money in zip(point.steps, point.by_step[0], strict=True):
            needed = change(machine, self.steps[step], prices)
            if needed is not None and not needed.first:
                rest.append(money)
        return max(min(rest) - point.upper, 0.0) / point.mass

    def repairs_in_order(self, points: Sequence[Point]) -> list[list[int]]:
        """Actions that the plan of repairs alone does at each point, up to handing over."""
        is_open = np.array([point.by_step is not None for point in points], dtype=bool)
        return [tail.order for tail in self._tails(points, is_open)]

    def _tails(self, points: Sequence[Point], is_open: Bools) -> list[_Tail]:
        """Plan of repairs alone at each point; at open ones without what has to wait for a check."""
        if not len(self.cures) or not points:
            return [_Tail([], point.handover) for point in points]
        joint = np.stack([point.joint for point in points])
        mass, seen, done, states = _amounts(points)
        handing, checks = np.array([point.handover for point in points]), len(self.problem.checks)
        pending = self._pending(joint, mass, seen, states)
        waiting = ((pending > 0) @ self.waits)[:, checks:]
        shut = np.concatenate([self._of_states(SHUT, states), pending], axis=1)
        order, totals = self._in_order(
            joint, self._usable(done) & self.alone & ~(waiting & is_open[:, None]), mass, handing, seen, shut
        )
        late = self._late(joint, mass, order, self._can_look(seen, states)) | np.take_along_axis(waiting, order, axis=1)
        totals = np.where(np.logical_or.accumulate(late, axis=1) & is_open[:, None], np.inf, totals)
        totals = np.concatenate([handing[:, None], totals], axis=1)
        counts = totals.argmin(axis=1)
        done_then = np.arange(order.shape[1]) < counts[:, None]
        rows = zip(
            order.tolist(), counts.tolist(), totals.tolist(), (late & done_then).any(axis=1).tolist(), strict=True
        )
        tails = [_Tail(row[:count], money[count], waits) for row, count, money, waits in rows]
        for tail, due in zip(tails, pending > 0, strict=True):
            stops = due & self.waits[:, [checks + a for a in tail.order]].any(axis=1) if tail.waits else due & False
            tail.look = self.first_checks[int(stops.argmax())] if stops.any() else -1
        return tails

    def _late(self, joint: Floats, mass: Floats, order: Ints, can: Bools) -> Bools:
        """Which actions of an order, done one after the other without cure, have to wait for a check by then."""
        row = np.arange(len(order))[:, None]
        left = mass[:, None] - (joint @ self.cures.T)[row, order].cumsum(axis=1)
        before = np.concatenate([mass[:, None], left[:, :-1]], axis=1)
        late = np.zeros(order.shape, dtype=bool)
        for number, (causes, least) in enumerate(zip(self.first_causes, self.first_least, strict=True)):
            sought = joint * causes
            cured = (sought @ self.cures.T)[row, order]
            there = sought.sum(axis=1)[:, None] - cured.cumsum(axis=1) + cured
            waits = self.waits[number, len(self.problem.checks) :][order]
            late |= can[:, number, None] & waits & (there >= least * before - TINY)
        return late


@dataclass
class _Tail:
    """Repairs alone in order, their money with handing over, and whether one of them has to wait for a check.

    ``look`` is a check that one of them waits for as the tail begins; -1 = none.
    """

    order: list[int]
    money: float
    waits: bool = False
    look: int = -1


def _amounts(points: Sequence[Point]) -> tuple[Floats, Ints, Ints, Ints]:
    """Mass, bits of what is seen and done, and state of each point."""
    mass = np.array([point.mass for point in points])
    seen, done, states = (np.array([getattr(p, name) for p in points]) for name in ("seen", "done", "state"))
    return mass, seen, done, states


@dataclass(eq=False)
class _Moves:
    """From one state of the machine: money of changing by step and of a repair that follows, the state of each row."""

    money: Floats
    extra: Floats
    then: Ints
