"""A problem as arrays: its steps (checks, then actions) and rows (each outcome of each check, then each action)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.plan.problem import Action, Check, Floats, Problem

TINY = 1e-12
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


class Layout:
    """What never changes while one problem is searched. Sets of checks and of actions are bits of a number.

    Attributes
    ----------
    steps, check_money
        Checks, then actions; money of each check, 0 of an action.
    cures
        ``[action, cause]``: chance that it ends the fault.
    ways
        ``[looking first, action, not cured]``: money of doing an action.
    look_more
        ``[not cured, action]``: what looking first costs more.
    look_bits
        Checks that must be made before a part may be looked at as it is fitted.
    alone
        Actions whose chances add up because they cure different causes: those that the first bound may use.
    step_of, outcome_of, clears
        Of each row its step, its outcome (-1 = of an action) and the action that follows it (-1 = none).
    factors, chances, costs
        ``[row, cause]``: chance to be there still once the row is over, that it happens, and money of what follows it.
    powered, covered, watered
        Checks that need power, closed covers, the water as it was found.
    check_rows, told
        How many rows are of checks (the first ones); ``[check, cause]``: sum of p log p over its outcomes.
    row_seen, row_done
        Bits of what is seen and done once a row is over; ``row_bits`` the same as pairs.
    code_of_row
        What a row adds to the number that tells what was seen: a digit for each check; ``tried_by_row``: bits of the
        repairs that were really done.
    rows_of_step, starts
        Rows of each step, and the first of them.
    alike
        Steps that need and do the same to the machine, with their rows; ``row_changes`` (step, row) changes it further.
    first, first_checks, first_bits, first_causes, first_least
        Checks that come before other steps: their number, bit, the causes looked for, and least odds of those.
    owed
        Of each check what handing over costs more while it is not made; mostly 0.
    waits
        ``[check that comes first, step]``: whether the step waits for it.
    groups, group_money
        Access groups, and money of opening each.
    needs
        ``[action, what is paid once]``: groups, isolating, checks that come first; ``members`` the same by column.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.steps: tuple[Check | Action, ...] = (*problem.checks, *problem.actions)
        self.check_bits = {check.name: 1 << k for k, check in enumerate(problem.checks)}
        self.action_bits = {action.name: 1 << a for a, action in enumerate(problem.actions)}
        self._lay_out_actions()
        self._lay_out_rows()
        self._lay_out_checks()
        self._lay_out_bits()
        self._lay_out_moves()
        self._lay_out_first()
        self._lay_out_needs()

    def _lay_out_actions(self) -> None:
        actions, width = self.problem.actions, len(self.problem.p)
        self.cures = np.array([action.cures for action in actions]).reshape(len(actions), width)
        ways = [[a.money(looking=looking) for a in actions] for looking in (False, True)]
        self.ways = np.array(ways).reshape(2, len(actions), 2)
        self.look_more = (self.ways[1] - self.ways[0]).T
        after = [action.look.after if action.look else frozenset() for action in actions]
        self.look_bits = np.array([self.spoilt(names)[0] for names in after], dtype=np.int64)
        taken, alone = np.zeros(width, dtype=bool), []
        for cures in self.cures:
            alone.append(not (taken & (cures > 0)).any())
            taken |= (cures > 0) & alone[-1]
        self.alone = np.array(alone, dtype=bool)

    def _lay_out_rows(self) -> None:
        problem, width = self.problem, len(self.problem.p)
        numbers = {action.name: a for a, action in enumerate(problem.actions)}
        factors, chances, costs, rows = [], [], [], []
        for k, check in enumerate(problem.checks):
            for outcome, name in enumerate(check.outcomes):
                chance, follows = check.likelihood[:, outcome], numbers.get(check.clears.get(name, ""), -1)
                factor, cost = chance, np.zeros(width)
                if follows >= 0:
                    cures, (cured, failed) = self.cures[follows], self.ways[0, follows]
                    factor, cost = chance * (1 - cures), chance * (cures * cured + (1 - cures) * failed)
                factors.append(factor)
                chances.append(chance)
                costs.append(cost)
                rows.append((k, outcome, follows))
        for a, cures in enumerate(self.cures):
            factors.append(1 - cures)
            chances.append(np.ones(width))
            costs.append(np.zeros(width))
            rows.append((len(problem.checks) + a, -1, -1))
        self.factors, self.chances, self.costs = (
            np.array(x, dtype=float).reshape(len(rows), width) for x in (factors, chances, costs)
        )
        self.step_of, self.outcome_of, self.clears = np.array(rows, dtype=np.int64).reshape(-1, 3).T
        self.starts = np.flatnonzero(np.diff(self.step_of, prepend=-1))
        self.rows_of_step = [np.flatnonzero(self.step_of == s).tolist() for s in range(len(self.steps))]
        self.step_of_row: list[int] = self.step_of.tolist()
        self.check_money = np.array([check.cost for check in problem.checks] + [0.0] * len(problem.actions))

    def _lay_out_checks(self) -> None:
        checks = self.problem.checks
        self.powered = np.array([check.power == "needed" for check in checks], dtype=bool)
        self.covered = np.array([check.covers == "on" for check in checks], dtype=bool)
        self.watered = np.array([check.water == "in" for check in checks], dtype=bool)
        logs = [(check.likelihood * np.log(np.maximum(check.likelihood, TINY))).sum(axis=1) for check in checks]
        self.told = np.array(logs).reshape(len(checks), len(self.problem.p))
        self.owed = np.array([self._whole(check) for check in checks])
        self.owed *= [check.name in self.problem.before_handover for check in checks]
        self.check_rows = int((self.step_of < len(checks)).sum())

    def _whole(self, check: Check) -> float:
        """Money of a check with all that may have to be opened for it."""
        prices = self.problem.prices
        opening = sum(prices.openings.get(group, 0.0) for group in check.access)
        return check.cost + opening + (prices.isolating if check.power == "off" else 0.0)

    def _lay_out_bits(self) -> None:
        radix, self.code_of_row = 1, list[int]()
        for check in self.problem.checks:
            self.code_of_row += [radix * (outcome + 1) for outcome in range(len(check.outcomes))]
            radix *= len(check.outcomes) + 1
        self.code_of_row += [0] * len(self.problem.actions)
        rows = zip(self.step_of_row, self.outcome_of.tolist(), self.clears.tolist(), strict=True)
        self.row_bits = [self._told_by(*row) for row in rows]
        bits = np.array(self.row_bits, dtype=np.int64).reshape(-1, 2)
        self.row_seen, self.row_done = bits.T
        checks = len(self.problem.checks)
        self.tried_by_row = [
            sum(1 << a for a in (step - checks, follows) if a >= 0)
            for step, follows in zip(self.step_of_row, self.clears.tolist(), strict=True)
        ]

    def _told_by(self, step: int, outcome: int, follows: int) -> tuple[int, int]:
        """Bits of what is seen and done once a row is over, with the repair that follows it (-1 = none)."""
        checks = len(self.problem.checks)
        seen, done = self.spoilt(self.steps[step].spoils)
        if step < checks:
            check = self.problem.checks[step]
            seen |= 1 << step | self.spoilt(check.settles.get(check.outcomes[outcome], frozenset()))[0]
            for name in check.rules_out.get(check.outcomes[outcome], ()):
                done |= self.action_bits.get(name, 0)
        for a in (step - checks, follows):
            if a >= 0:
                more = self.spoilt(self.problem.actions[a].spoils)
                seen, done = seen | more[0], done | more[1] | 1 << a
        return seen, done

    def spoilt(self, names: frozenset[str]) -> tuple[int, int]:
        """Bits of checks and of actions that are of no use any more."""
        seen, done = (sum(bits.get(name, 0) for name in names) for bits in (self.check_bits, self.action_bits))
        return seen, done

    def _lay_out_moves(self) -> None:
        alike: dict[tuple[Any, ...], list[int]] = {}
        for number, step in enumerate(self.steps):
            needs = step.access, step.power, step.covers, step.water, step.is_repair
            alike.setdefault(needs, []).append(number)
        self.alike = [(steps, [row for step in steps for row in self.rows_of_step[step]]) for steps in alike.values()]
        self.row_changes = [
            (number, row) for row, number in enumerate(self.step_of_row) if self.clears[row] >= 0 or self._forbids(row)
        ]

    def _forbids(self, row: int) -> bool:
        """Whether the machine must not be switched on again after a row."""
        step = self.steps[self.step_of_row[row]]
        return isinstance(step, Check) and step.outcomes[self.outcome_of[row]] in step.forbids

    def _lay_out_first(self) -> None:
        numbers = {check.name: k for k, check in enumerate(self.problem.checks)}
        self.first = [first for first in self.problem.first if first.check in numbers]
        self.first_checks = [numbers[first.check] for first in self.first]
        self.first_bits = np.array([1 << k for k in self.first_checks], dtype=np.int64)
        causes = [first.causes for first in self.first]
        self.first_causes = np.array(causes, dtype=float).reshape(len(causes), len(self.problem.p))
        self.first_least = np.array([first.least for first in self.first])
        waits = [[step.name in first.before for step in self.steps] for first in self.first]
        self.waits = np.array(waits, dtype=bool).reshape(len(waits), len(self.steps))

    def _lay_out_needs(self) -> None:
        prices, actions = self.problem.prices, self.problem.actions
        self.groups = sorted({group for step in self.steps for group in step.access})
        self.group_money = {group: prices.openings.get(group, 0.0) for group in self.groups}
        covers = prices.closings.keys()
        isolated = [action.power == "off" or not covers.isdisjoint(action.access) for action in actions]
        places = [
            [*(group in action.access for group in self.groups), is_off]
            for action, is_off in zip(actions, isolated, strict=True)
        ]
        needed = np.array(places, dtype=bool).reshape(len(actions), len(self.groups) + 1)
        self.needs = np.concatenate([needed, self.waits[:, len(self.problem.checks) :].T], axis=1)
        self.members = [(column, np.flatnonzero(needs)) for column, needs in enumerate(self.needs.T) if needs.any()]

    def usable_checks(self, seen: Ints) -> Bools:
        """Checks that may tell something yet."""
        usable: Bools = (seen[:, None] >> np.arange(len(self.problem.checks))) & 1 == 0
        return usable

    def usable_actions(self, done: Ints) -> Bools:
        """Actions not done before."""
        usable: Bools = (done[:, None] >> np.arange(len(self.problem.actions))) & 1 == 0
        return usable

    def owed_before(self, seen: Ints) -> Floats:
        """What handing over costs more because of checks that come before it and are not made."""
        owed: Floats = self.usable_checks(seen) @ self.owed
        return owed

    def may_look(self, seen: Ints) -> Bools:
        """Which parts may be looked at as they are fitted: those whose own checks are made."""
        may: Bools = seen[..., None] & self.look_bits == self.look_bits
        return may
