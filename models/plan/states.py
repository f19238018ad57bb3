"""The states that the machine can come to in one problem, numbered, and what every step costs from each of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.plan.layout import TINY, Bools, Ints, Layout
from models.plan.machine import Machine, change
from models.plan.problem import First, Floats, outcome_seen

NEVER = 1e9  # money of what cannot be had
_NOTHING: frozenset[str] = frozenset()


@dataclass(eq=False)
class Moves:
    """From one state of the machine: money of changing by step and of a repair that follows, the state of each row."""

    money: Floats
    extra: Floats
    then: Ints


class States:
    """States of the machine, whatever is spoilt, as far as they were met."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.machines: list[Machine] = []
        self._numbers: dict[Machine, int] = {}
        self._moves: list[Moves | None] = []
        self._shut: list[Floats] = []
        self._lowers: list[Floats] = []
        self._looks: list[list[float]] = []
        self._checks: list[Bools] = []
        self._stacked: dict[int, NDArray[Any]] = {}

    def number(self, machine: Machine) -> int:
        """Number of a state; what repairs cost from there is worked out once."""
        if machine.spoilt:
            machine = machine._replace(spoilt=_NOTHING)
        number = self._numbers.get(machine)
        if number is None:
            number = self._numbers[machine] = len(self.machines)
            self._add(machine)
        return number

    def _add(self, machine: Machine) -> None:
        layout, prices = self.layout, self.layout.problem.prices
        self.machines.append(machine)
        self._moves.append(None)
        opening = [0.0 if group in machine.opened else money for group, money in layout.group_money.items()]
        shut = np.array([*opening, prices.isolating if machine.is_live else 0.0])
        once = layout.ways[..., 0].min(axis=0) + layout.needs[:, : len(shut)] @ shut
        lower = np.where(layout.cures > 0, once[:, None], np.inf).min(axis=0, initial=np.inf)
        self._shut.append(shut)
        self._lowers.append(np.minimum(lower, layout.problem.handover))
        firsts = zip(layout.first_checks, layout.first, strict=True)
        self._looks.append([self._money_first(k, first, machine) for k, first in firsts])
        self._checks.append(self._possible(machine))

    def _possible(self, machine: Machine) -> Bools:
        """Checks that can be made in a state, whatever has to be opened or closed for them."""
        layout, may_close = self.layout, machine.may_close and not machine.stays_off
        is_open = not layout.problem.prices.closings.keys().isdisjoint(machine.opened)
        behind = (layout.covered | layout.powered) & (is_open and not may_close)
        dead = layout.powered & (machine.stays_off or not (machine.is_live or may_close))
        possible: Bools = ~(behind | dead | (layout.watered & machine.is_drained))
        return possible

    def _money_first(self, k: int, first: First, machine: Machine) -> float:
        """Money of a check that comes before other steps; 0 = nothing waits for it."""
        check = self.layout.problem.checks[k]
        needed = change(machine, check, self.layout.problem.prices)
        if needed is None or (needed.first and not first.is_strict):
            return NEVER if first.is_strict else 0.0
        return max(check.cost + needed.money, TINY)

    def shut(self, states: Ints) -> Floats:
        """``[state asked about, group or isolating]``: money that is paid once before what needs it."""
        return self._of(self._shut, states)

    def lowest(self, states: Ints) -> Floats:
        """``[state asked about, cause]``: least money of curing a cause once it is known."""
        return self._of(self._lowers, states)

    def checks(self, states: Ints) -> Bools:
        """``[state asked about, check]``: whether it can be made there."""
        return self._of(self._checks, states)

    def looks(self, states: Ints) -> Floats:
        """``[state asked about, check that comes first]``: its money; 0 = nothing waits for it."""
        return self._of(self._looks, states)

    def _of(self, kept: list[Any], states: Ints) -> NDArray[Any]:
        stacked = self._stacked.get(id(kept))
        if stacked is None or len(stacked) != len(kept):
            stacked = self._stacked[id(kept)] = np.array(kept)
        return stacked[states]

    def moves(self, state: int) -> Moves:
        """What every step costs and leads to from one state."""
        known = self._moves[state]
        if known is None:
            known = self._moves[state] = self._moves_from(self.machines[state])
        return known

    def _moves_from(self, machine: Machine) -> Moves:
        layout, prices = self.layout, self.layout.problem.prices
        extra, then = np.zeros(len(layout.step_of)), np.zeros(len(layout.step_of), dtype=np.int64)
        money = np.full(len(layout.steps), np.inf)
        for steps, rows in layout.alike:
            needed = change(machine, layout.steps[steps[0]], prices)
            if needed is not None:
                money[steps], then[rows] = needed.money, self.number(needed.then)
        for number, row in layout.row_changes:
            step = layout.steps[number]
            needed = change(machine, step, prices)
            if needed is None:
                continue
            after, follows = outcome_seen(needed.then, step, int(layout.outcome_of[row])), int(layout.clears[row])
            second = change(after, layout.problem.actions[follows], prices) if follows >= 0 else None
            if second is not None:
                extra[row], after = second.money, second.then
            then[row] = self.number(after)
        return Moves(money, extra, then)
