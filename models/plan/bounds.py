"""What repairs alone would cost at many points at once: a plan known before anything is searched, and its order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.plan.layout import TINY, Bools, Ints, Layout
from models.plan.problem import Floats
from models.plan.states import States

NAT = 0.9  # what a nat that is told counts for: see `Bounds.promise`


@dataclass
class At:
    """Points as arrays: odds times mass, mass, money of handing over, bits of what is seen and done, state."""

    joint: Floats
    mass: Floats
    handing: Floats
    seen: Ints
    done: Ints
    states: Ints

    def only(self, which: Bools | Ints) -> At:
        """Some of them."""
        return At(*(values[which] for values in vars(self).values()))


@dataclass
class Tail:
    """Repairs alone in order, their money with handing over, and whether one of them has to wait for a check.

    ``look`` is a check that one of them waits for as the tail begins; -1 = none.
    """

    order: list[int]
    money: float
    waits: bool = False
    look: int = -1


class Bounds:
    """Bounds on what is still to be paid at points of one problem."""

    def __init__(self, layout: Layout, states: States) -> None:
        self.layout, self.states = layout, states

    def repairs(self, at: At) -> Floats:
        """Money of repairs alone in falling p/c order, as far as they pay.

        What other steps wait for is made there, and paid, without regard to what it shows.
        """
        if not len(self.layout.cures):
            return at.handing
        usable = self.layout.usable_actions(at.done) & self.layout.alone
        _, totals = self._in_order(at, usable, self._paid_once(at, self.pending(at)))
        known: Floats = np.minimum(at.handing, totals.min(axis=1, initial=np.inf))
        return known

    def promise(self, at: At) -> Floats:
        """Share of the way from repairs alone to knowing the cause that the checks left may go, by what they tell.

        Each tells its mutual information with the cause. In searches to the end over the demo's calls the share won was
        nearly .6 of their sum, nothing under a tenth of a nat, .65 at most: deep in a plan most points are not worth
        opening.
        """
        layout = self.layout
        if not layout.check_rows:
            return np.zeros(len(at.mass))
        odds = at.joint / np.maximum(at.mass, TINY)[:, None]
        chance = odds @ layout.chances[: layout.check_rows].T
        chance *= np.log(np.maximum(chance, TINY))
        told = odds @ layout.told.T - np.add.reduceat(chance, layout.starts[: len(layout.told)], axis=1)
        told *= layout.usable_checks(at.seen) & self.states.checks(at.states)
        promise: Floats = 1 - np.exp(-NAT * told.sum(axis=1))
        return promise

    def lowest(self, joint: Floats, states: Ints) -> Floats:
        """Money that no plan can beat: that of somebody who is told the cause."""
        lowest: Floats = np.einsum("ij,ij->i", joint, self.states.lowest(states))
        return lowest

    def can_look(self, at: At) -> Bools:
        """Which checks that come before other steps are not made yet and can be."""
        can: Bools = (self.states.looks(at.states) > 0) & (at.seen[:, None] & self.layout.first_bits == 0)
        return can

    def pending(self, at: At) -> Floats:
        """Money of each check that other steps wait for now; 0 = nothing waits for it."""
        if not self.layout.first:
            return np.zeros((len(at.mass), 0))
        is_due = at.joint @ self.layout.first_causes.T >= self.layout.first_least * at.mass[:, None] - TINY
        pending: Floats = np.where(is_due & self.can_look(at), self.states.looks(at.states), 0.0)
        return pending

    def _paid_once(self, at: At, pending: Floats) -> Floats:
        """Money that must be paid once at each point before the actions that need it, by column of ``needs``."""
        return np.concatenate([self.states.shut(at.states), pending], axis=1)

    def cheaper(self, gain: Floats, lost: Floats, may_look: Bools) -> Floats:
        """Money of every action, done at once or looked at first, whichever is cheaper and may be."""
        now = gain * self.layout.ways[0, :, 0] + lost * self.layout.ways[0, :, 1]
        more = gain * self.layout.look_more[0] + lost * self.layout.look_more[1]
        money: Floats = now + np.where(may_look, np.minimum(more, 0.0), 0.0)
        return money

    def _in_order(self, at: At, usable: Bools, shut: Floats) -> tuple[Ints, Floats]:
        """Order of the actions by chance of cure per money; money of handing over after each of them in that order."""
        layout = self.layout
        gain = np.where(usable, at.joint @ layout.cures.T, 0.0)
        lost = at.mass[:, None] - gain
        may_look = layout.may_look(at.seen)
        is_looked = (gain * layout.look_more[0] + lost * layout.look_more[1] < 0) & may_look
        price = np.where(is_looked, layout.ways[1, :, 1], layout.ways[0, :, 1]) + shut @ layout.needs.T
        order = np.argsort(gain / -np.maximum(price, TINY), axis=1, kind="stable")
        row = np.arange(len(order))[:, None]
        gained = gain[row, order]
        before = at.mass[:, None] - gained.cumsum(axis=1) + gained
        fails = before - gained
        costs = gained * layout.ways[0, order, 0] + fails * layout.ways[0, order, 1]
        more = gained * layout.look_more[0, order] + fails * layout.look_more[1, order]
        costs += np.where(may_look[row, order], np.minimum(more, 0.0), 0.0)
        if shut.any():
            ranks = np.empty_like(order)
            ranks[row, order] = np.arange(order.shape[1])
            for column, members in layout.members:
                if shut[:, column].any():
                    first = ranks[:, members].min(axis=1)
                    costs[row[:, 0], first] += before[row[:, 0], first] * shut[:, column]
        handed = np.where(usable, (at.joint * layout.problem.handover) @ layout.cures.T, 0.0)[row, order]
        if layout.owed.any():
            handed += gained * layout.owed_before(at.seen)[:, None]
        return order, costs.cumsum(axis=1) + at.handing[:, None] - handed.cumsum(axis=1)

    def without_waiting(self, at: At, pending: Floats) -> Floats:
        """Money of repairs alone as far as they wait for no check, at points where that check is a step."""
        if not len(self.layout.cures):
            return at.handing
        least: Floats = self._waiting(at, pending, np.ones(len(at.mass), dtype=bool))[2].min(axis=1)
        return least

    def _waiting(self, at: At, pending: Floats, is_open: Bools) -> tuple[Ints, Bools, Floats]:
        """Order of the repairs, which of them are late for a check, and money after none, one, two … of them."""
        layout = self.layout
        waiting = ((pending > 0) @ layout.waits)[:, len(layout.problem.checks) :]
        usable = layout.usable_actions(at.done) & layout.alone & ~(waiting & is_open[:, None])
        order, totals = self._in_order(at, usable, self._paid_once(at, pending))
        late = self._late(at, order) | np.take_along_axis(waiting, order, axis=1)
        totals = np.where(np.logical_or.accumulate(late, axis=1) & is_open[:, None], np.inf, totals)
        return order, late, np.concatenate([at.handing[:, None], totals], axis=1)

    def tails(self, at: At, is_open: Bools) -> list[Tail]:
        """Plan of repairs alone at each point; at open ones without what has to wait for a check."""
        layout, checks = self.layout, len(self.layout.problem.checks)
        if not len(layout.cures):
            return [Tail([], money) for money in at.handing.tolist()]
        pending = self.pending(at)
        order, late, totals = self._waiting(at, pending, is_open)
        counts = totals.argmin(axis=1)
        waits = (late & (np.arange(order.shape[1]) < counts[:, None])).any(axis=1)
        rows = zip(order.tolist(), counts.tolist(), totals.tolist(), waits.tolist(), strict=True)
        tails = [Tail(order_of[:count], money[count], is_late) for order_of, count, money, is_late in rows]
        for tail, due in zip(tails, pending > 0, strict=True):
            if tail.waits:
                stops = due & layout.waits[:, [checks + a for a in tail.order]].any(axis=1)
                tail.look = layout.first_checks[int(stops.argmax())] if stops.any() else -1
        return tails

    def _late(self, at: At, order: Ints) -> Bools:
        """Which actions of an order, done one after the other without cure, have to wait for a check by then."""
        layout = self.layout
        late = np.zeros(order.shape, dtype=bool)
        if not layout.first:
            return late
        row, can = np.arange(len(order))[:, None], self.can_look(at)
        left = at.mass[:, None] - (at.joint @ layout.cures.T)[row, order].cumsum(axis=1)
        before = np.concatenate([at.mass[:, None], left[:, :-1]], axis=1)
        for number, (causes, least) in enumerate(zip(layout.first_causes, layout.first_least, strict=True)):
            sought = at.joint * causes
            cured = (sought @ layout.cures.T)[row, order]
            there = sought.sum(axis=1)[:, None] - cured.cumsum(axis=1) + cured
            waits = layout.waits[number, len(layout.problem.checks) :][order]
            late |= can[:, number, None] & waits & (there >= least * before - TINY)
        return late


def cures_in_order(layout: Layout, joints: Floats, orders: Sequence[Sequence[int]]) -> Floats:
    """Odds times mass at each point before and after each of its repairs, done in order without cure.

    Returns
    -------
    ndarray
        ``[point, repairs done, cause]``, as long as the longest order; what is done twice cures no more.
    """
    longest = max(map(len, orders), default=0)
    keeps = np.concatenate([1 - layout.cures, np.ones((1, joints.shape[1]))])
    padded = np.array([[*order, *[len(layout.cures)] * (longest - len(order))] for order in orders], dtype=np.int64)
    after = np.cumprod(keeps[padded.reshape(len(orders), longest)], axis=1)
    whole: Floats = joints[:, None] * np.concatenate([np.ones_like(joints)[:, None], after], axis=1)
    return whole
