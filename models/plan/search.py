"""Search for the cheapest plan: points (what was seen and done, the state of the machine) with bounds on their cost.

At every point three amounts are kept, money times the probability of getting there. ``upper`` is what a plan known by
now costs: at first that of repairs alone in falling p/c order. ``lower`` is what no plan can beat: at first that of
somebody who is told the cause. ``hope`` lies between them. The search follows the plan that looks cheapest by hope,
opens the points where it ends, all at once, and passes what it learns back, until that plan ends in repairs and a
hand-over (AO*; Martelli & Montanari 1973; Nilsson 1980, from memory). What is returned is the best plan by ``upper``:
its cost is real, not hoped for. With hope equal to ``lower`` nothing cheaper can exist.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.plan.bounds import At, Bounds, Tail
from models.plan.layout import TINY, Bools, Ints, Layout
from models.plan.machine import change
from models.plan.points import HANDING, HOPE, LOWER, MASS, PROMISE, UPPER, Point, pass_up
from models.plan.problem import Floats, Problem
from models.plan.states import States

STAGES = (0.5, 1.0)
PROMISING = 0.35  # promise from which on hope goes as far as optimism lets it
FIRST_SHARE = 0.2  # of the points, for looking behind every first step
EXTENSION, EXTENSIONS = 0.3, 7  # share of the points, and how often so many more are opened, while the plan
STALLED = 0.001  # becomes cheaper by more than this share
WEIGHTY, NEARLY, ABREAST = 0.05, 0.03, 2  # chance of a point; share of its money; steps followed at once
SOON_DUE = 0.5  # share of the least odds from which on a check may come before other steps further on
WORTH_A_LOOK = 0.02  # least chance of a point where a look that comes before handing over is sought
FOCUS = 0.01  # points where less than this share of the most may be won wait: they may be out of the plan by then


class Search:
    """The search over one problem.

    Parameters
    ----------
    problem
        One call.
    points
        Points to open; more while the plan becomes cheaper for it, up to three times as many.
    optimism
        How far hope goes where much can still be told: 0 = to what repairs alone cost, 1 = to the lower bound, and so
        everywhere (nothing cheaper exists).
    tolerance
        Share of the whole plan's money that is left unsearched at a point.
    """

    def __init__(self, problem: Problem, points: int, optimism: float, tolerance: float) -> None:
        self.problem, self.optimism = problem, STAGES[0] * optimism
        self.layout = Layout(problem)
        self.states = States(self.layout)
        self.bounds = Bounds(self.layout, self.states)
        self.opened: list[Point] = []
        self._points: dict[tuple[int, int, int], Point] = {}
        self._moved: list[Point] = []
        self.root = self._first_point()
        self.repairs_alone = self.root.upper
        self._open([self.root])
        self._try_first_steps(points * FIRST_SHARE, tolerance)
        for share in STAGES:  # plans known to be cheap first: they make the bounds of the bolder search
            if share > STAGES[0]:
                self._hope_anew(share * optimism)
            self._follow_hope(points, tolerance)
        self._go_on(points, tolerance)

    def _go_on(self, points: int, tolerance: float) -> None:
        """Open more while the plan still becomes cheaper for it."""
        for part in range(1, EXTENSIONS + 1):
            before = self.root.upper
            self._follow_hope(int(points * (1 + part * EXTENSION)), tolerance)
            if self.root.upper > before * (1 - STALLED):
                break

    def _first_point(self) -> Point:
        """The call as it stands."""
        joint, state = self.problem.p, self.states.number(self.problem.machine)
        seen, done = self.layout.spoilt(self.problem.machine.spoilt)
        handing = joint @ self.problem.handover + joint.sum() * self.layout.owed_before(np.array([seen])).item()
        one = (np.array([x]) for x in (joint.sum(), handing, seen, done, state))
        at = At(joint[None], *one)
        upper, lower = self.bounds.repairs(at).item(), self.bounds.lowest(at.joint, at.states).item()
        return self._point(joint, at.mass.item(), at.handing.item(), (seen, done, state), (0, 0), upper, lower, 1.0)

    def _point(
        self,
        joint: Floats,
        mass: float,
        handing: float,
        here: tuple[int, int, int],
        known: tuple[int, int],
        upper: float,
        lower: float,
        promise: float,
    ) -> Point:
        """A new point, or the one that was met before on another way.

        ``here``: what is seen, done, and the state; ``known``: the number that tells what was seen, and the repairs
        really done. What was ruled out is not among those: it leaves other odds.
        """
        seen, done, state = here
        key = *known, state
        found = self._points.get(key)
        if found is None:
            share, depth = float(self._share(promise)), seen.bit_count() + done.bit_count()
            hope = upper - share * (upper - lower)
            found = Point(
                joint,
                mass,
                seen,
                done,
                state,
                key,
                upper,
                hope,
                lower,
                handing,
                upper,
                depth,
                len(self._points),
                promise,
            )
            self._points[key] = found
        return found

    def _follow_hope(self, points: int, tolerance: float) -> None:
        """Open the points where the plan that looks cheapest ends, until it ends nowhere or enough are open."""
        while len(self.opened) < points:
            tips = self._tips([self.root], tolerance * self.root.upper)
            has_moved = self._pass_up_moved()
            if tips:
                least = FOCUS * (tips[0].upper - tips[0].hope)
                heavy = [point for point in tips if point.upper - point.hope >= least]
                self._open(heavy[: points - len(self.opened)])
            elif not has_moved:  # else points met on another way were taken over: follow hope again
                break

    def _try_first_steps(self, points: float, tolerance: float) -> None:
        """Look a little way behind every step that may come first, so that none is passed over for want of a look."""
        lowers = dict(zip(self.root.steps, self.root.by_step[LOWER], strict=True))
        order = sorted((step for step in lowers if lowers[step] < self.root.upper), key=lowers.__getitem__)
        left = dict.fromkeys(order, max(int(points / max(len(order), 1)), 1))
        while left:
            tips: dict[int, Point] = {}
            for step in list(left):
                children = [self.child(self.root, row) for row in self.layout.rows_of_step[step]]
                found = self._tips([child for child in children if child is not None], tolerance * self.root.upper)
                new = [point for point in found[: left[step]] if id(point) not in tips]
                tips |= {id(point): point for point in new}
                left[step] -= len(new)
                if not new or not left[step]:
                    del left[step]
            if tips:
                self._open(list(tips.values()))

    def _tips(self, starts: Sequence[Point], slack: float) -> list[Point]:
        """Points where the plans that look cheapest by hope end and more may be won; those that weigh most first."""
        tips: list[Point] = []
        waiting, met = list(starts), {point.number for point in starts}
        while waiting:
            point = waiting.pop()
            if point.upper - point.hope <= slack * min(1.0, point.mass * 4):
                continue
            if point.by_row is None:
                tips.append(point)
                continue
            for step in self._hoped_for(point):
                waiting += self._new_children(point, step, met)
        return sorted(tips, key=lambda point: point.hope - point.upper)

    def _hoped_for(self, point: Point) -> list[int]:
        """The step that looks cheapest by hope, and where it weighs those that look nearly so: fewer rounds for it."""
        hopes = point.by_step[HOPE]
        least = min(hopes, default=np.inf)
        if least >= point.handover:
            return []
        if point.mass < WEIGHTY:
            return [point.steps[hopes.index(least)]]
        most = min(least + NEARLY * point.upper, point.handover)
        near = sorted((hope, step) for hope, step in zip(hopes, point.steps, strict=True) if hope <= most)
        return [step for _, step in near[:ABREAST]]

    def _new_children(self, point: Point, step: int, met: set[int]) -> list[Point]:
        """Points that a step leads to and that were not met yet; they are now."""
        new, known = [], point.children
        for row in self.layout.rows_of_step[step]:
            child = known.get(row) or self.child(point, row)
            if child is not None and child.number not in met:
                met.add(child.number)
                new.append(child)
        return new

    def child(self, point: Point, row: int) -> Point | None:
        """Point that a row leads to; None where it cannot be reached."""
        found = point.children.get(row)
        if found is not None:
            return found
        assert point.by_row is not None  # noqa: S101 - the point is open
        *passed, mass, handing, promise = point.by_row[:, row].tolist()
        if mass <= TINY:
            return None
        seen, done = self.layout.row_bits[row]
        told = point.key[0] + self.layout.code_of_row[row], point.key[1] | self.layout.tried_by_row[row]
        here = point.seen | seen, point.done | done, int(self.states.moves(point.state).then[row])
        known = len(self._points)
        joint = point.joint * self.layout.factors[row]
        found = self._point(joint, mass, handing, here, told, passed[UPPER], passed[LOWER], promise)
        point.children[row], point.passed[row] = found, passed
        place = point.places[self.layout.step_of_row[row]]
        found.parents.append((point, row, place))
        if len(self._points) == known and point.take_over(row, place, found):
            self._moved.append(point)
        return found

    def _pass_up_moved(self) -> bool:
        """Pass up what was learned by meeting points on another way; tells whether anything was."""
        has_moved = bool(self._moved)
        if has_moved:
            pass_up(list({point.number: point for point in self._moved}.values()))
            self._moved.clear()
        return has_moved

    def _open(self, tips: Sequence[Point], only: Sequence[int] | None = None) -> None:
        """Open points: bounds of everything that may come next, all in one go; ``only`` = one step of each point.

        A step that cannot beat repairs alone is passed over, but for looks that come before handing over.
        """
        self.opened += tips
        if not len(self.layout.step_of):
            for point in tips:
                point.open(np.zeros((3, 0)), np.zeros((6, 0)))
            return
        at = self._at(tips)
        base, own, thens = self._money_of_steps(at, tips, only)
        known = np.array([point.repairs for point in tips])
        if only is not None:
            known[:] = np.inf
        elif self.problem.due and self.root in tips:
            known[tips.index(self.root)] = np.inf
        by_step, by_row = self._led_to(at, base, own, thens, known)
        if self.problem.due and self.root in tips:
            self._put_first(by_step[tips.index(self.root)])
        for point, steps, rows in zip(tips, by_step, by_row, strict=True):
            point.open(steps, rows)
        pass_up(tips)

    def _money_of_steps(self, at: At, tips: Sequence[Point], only: Sequence[int] | None) -> tuple[Floats, Floats, Ints]:
        """Money of each step by itself, infinite where it cannot be made, and of each row; the state after each row."""
        layout, checks = self.layout, len(self.problem.checks)
        moves = [self.states.moves(point.state) for point in tips]
        change_money = np.array([move.money for move in moves])
        can = np.concatenate([layout.usable_checks(at.seen), layout.usable_actions(at.done)], axis=1)
        can &= np.isfinite(change_money)
        if layout.first:
            self._make_wait(can, tips, at)
        if only is not None:
            can &= np.arange(len(layout.steps)) == np.array(only)[:, None]
        gain = at.joint @ layout.cures.T
        base = np.where(can, (layout.check_money + change_money) * at.mass[:, None], np.inf)
        base[:, checks:] += self.bounds.cheaper(gain, at.mass[:, None] - gain, layout.may_look(at.seen))
        own = at.joint @ layout.costs.T
        extra = np.array([move.extra for move in moves])
        if extra.any():
            own += extra * (at.joint @ layout.chances.T)
        return base, own, np.array([move.then for move in moves])

    def _led_to(self, at: At, base: Floats, own: Floats, thens: Ints, known: Floats) -> tuple[Floats, Floats]:
        """Upper, hope and lower of every step, and what its rows lead to; those of steps that cannot pay stay infinite.

        Returns
        -------
        tuple
            ``[point, amount, step]`` and ``[point, amount, row]``, amounts as numbered in `models.plan.points`.
        """
        layout = self.layout
        at_row, row = np.isfinite(base)[:, layout.step_of].nonzero()
        later, then = at.joint[at_row] * layout.factors[row], thens[at_row, row]
        masses, handings = later.sum(axis=1), later @ self.problem.handover
        by_row = np.zeros((len(base), 6, len(layout.step_of)))
        if layout.owed.any():
            handings += masses * layout.owed_before(at.seen[at_row] | layout.row_seen[row])
        by_row[at_row, MASS, row], by_row[at_row, HANDING, row] = masses, handings
        by_row[at_row, LOWER, row] = self.bounds.lowest(later, then)
        by_step = np.empty((len(base), 3, len(layout.steps)))
        by_step[:, LOWER] = np.add.reduceat(by_row[:, LOWER] + own, layout.starts, axis=1) + base
        pays = by_step[:, LOWER] < known[:, None]
        pays[:, : len(layout.owed)] |= layout.owed > 0
        worth = pays[at_row, layout.step_of[row]].nonzero()[0]
        at_row, row = at_row[worth], row[worth]
        seen, done = at.seen[at_row] | layout.row_seen[row], at.done[at_row] | layout.row_done[row]
        children = At(later[worth], masses[worth], handings[worth], seen, done, then[worth])
        by_row[at_row, UPPER, row] = self.bounds.repairs(children)
        by_row[at_row, PROMISE, row] = self.bounds.promise(children)
        by_row[:, HOPE] = by_row[:, UPPER] - self._share(by_row[:, PROMISE]) * (by_row[:, UPPER] - by_row[:, LOWER])
        base = np.where(pays, base, np.inf)
        by_step[:, :LOWER] = np.add.reduceat(by_row[:, :LOWER] + own[:, None], layout.starts, axis=2) + base[:, None]
        return by_step, by_row

    def _make_wait(self, can: Bools, tips: Sequence[Point], at: At) -> None:
        """Take out what has to wait, at points where anything may; set anew there what repairs alone cost without."""
        layout = self.layout
        odds = at.joint @ layout.first_causes.T
        may = (odds >= SOON_DUE * layout.first_least * at.mass[:, None]) & self.bounds.can_look(at)
        which = may.any(axis=1).nonzero()[0]
        if not len(which):
            return
        at = at.only(which)
        pending = self.bounds.pending(at)
        can[which] &= ~((pending > 0) @ layout.waits)
        for number, money in zip(which.tolist(), self.bounds.without_waiting(at, pending).tolist(), strict=True):
            tips[number].repairs = money

    def _put_first(self, by_step: Floats) -> None:
        """At the root only the step that is due can be made."""
        due = [step.name == self.problem.due for step in self.layout.steps]
        if np.isfinite(by_step[UPPER, due]).any():
            by_step[:, ~np.array(due)] = np.inf
            self.root.repairs = self.root.handover = np.inf

    def _share(self, promise: Floats | float) -> Floats:
        """How far hope lies from upper towards lower, where nothing better is known."""
        if self.optimism >= 1:
            return np.ones_like(promise)
        share: Floats = self.optimism * np.minimum(np.divide(promise, PROMISING), 1.0)
        return share

    def _hope_anew(self, optimism: float) -> None:
        """Set how much cheaper than known a plan may be hoped to be, at every point."""
        self.optimism = optimism
        for point in self._points.values():
            if not point.is_open:
                point.hope = point.upper - float(self._share(point.promise)) * (point.upper - point.lower)
        if not len(self.layout.step_of):
            return
        rows = np.array([point.by_row for point in self.opened])
        gaps = self._share(rows[:, PROMISE]) * (rows[:, UPPER] - rows[:, LOWER])
        hopes, by_step = rows[:, UPPER] - gaps, np.add.reduceat(gaps, self.layout.starts, axis=1)
        anew = list(zip(self.opened, hopes, gaps.tolist(), by_step, strict=True))
        for point, hope, gap, less in sorted(anew, key=lambda row: -row[0].depth):
            assert point.by_row is not None  # noqa: S101 - the point is open
            steps = (np.array(point.by_step[UPPER]) - less[point.steps]).tolist()
            for row, child in point.children.items():
                steps[point.places[self.layout.step_of_row[row]]] += child.hope - child.upper + gap[row]
                point.passed[row][HOPE] = child.hope
            point.by_row[HOPE], point.by_step[HOPE] = hope, steps
            point.settle()

    def best(self, point: Point) -> int | None:
        """Step of the best plan known at a point; None = repairs alone, in order, then hand over."""
        least = point.least(UPPER) if point.is_open else np.inf
        return point.steps[point.by_step[UPPER].index(least)] if least < point.repairs - TINY else None

    def ends(self) -> list[Point]:
        """Points where the best plan known goes on to repairs alone, all of them reached from the root.

        Where one of the repairs, or handing over, waits for a check, the point is opened: the plan makes the check.
        """
        has_moved, known, asked = True, set[int](), set[int]()
        while has_moved:  # points met on another way may change what is best
            has_moved = False
            ends, starts = list[Point](), [self.root]
            met = {self.root.number}
            while starts:
                found = self._ends_from(starts, met)
                unknown = [point for point in found if not point.is_open and id(point) not in known]
                starts = self._made_to_look(unknown) if self.layout.first else []
                waiting = {id(point) for point in starts}
                starts += self._asked_for_looks([p for p in found if id(p) not in waiting | asked], asked)
                known |= {id(point) for point in unknown}
                again = {id(point) for point in starts}
                ends += [point for point in found if id(point) not in again]
                has_moved |= bool(starts)
            has_moved |= self._pass_up_moved()
        return ends

    def _ends_from(self, starts: list[Point], met: set[int]) -> list[Point]:
        """Points where the best plan known ends in repairs alone, on from some points; ``met`` are passed over."""
        ends, waiting = [], starts
        while waiting:
            point = waiting.pop()
            step = self.best(point)
            if step is None:
                ends.append(point)
            else:
                waiting += self._new_children(point, step, met)
        return ends

    def _made_to_look(self, points: Sequence[Point]) -> list[Point]:
        """Open the points where a repair has to wait, for the check itself or for the repair that comes before."""
        late = [(point, tail) for point, tail in zip(points, self.tails(points), strict=True) if tail.waits]
        if late:
            steps = [tail.look if tail.look >= 0 else len(self.problem.checks) + tail.order[0] for _, tail in late]
            self._open([point for point, _ in late], steps)
        return [point for point, _ in late]

    def _asked_for_looks(self, points: Sequence[Point], asked: set[int]) -> list[Point]:
        """Take repairs alone off points where they hand over what was not looked at, once each (``asked``)."""
        owed = np.flatnonzero(self.layout.owed)
        likely = [point for point in points if point.mass >= WORTH_A_LOOK] if len(owed) else []
        if not likely:
            return []
        asked |= {id(point) for point in likely}
        at = self._at(likely)
        can = (self.layout.usable_checks(at.seen) & self.states.checks(at.states))[:, owed].any(axis=1)
        likely = [likely[place] for place in np.flatnonzero(can).tolist()]
        left = [
            float(point.joint @ np.prod(1 - self.layout.cures[tail.order], axis=0))
            for point, tail in zip(likely, self.tails(likely), strict=True)
        ]
        handing = [point for point, mass in zip(likely, left, strict=True) if mass >= WORTH_A_LOOK]
        if new := [point for point in handing if not point.is_open]:
            self._open(new)
        made = [point for point in handing if not set(owed.tolist()).isdisjoint(point.steps)]
        for point in made:
            point.repairs = point.handover = np.inf
        pass_up(made)
        return made

    def tails(self, points: Sequence[Point]) -> list[Tail]:
        """Plan of repairs alone at each point."""
        if not points:
            return []
        return self.bounds.tails(self._at(points), np.array([point.is_open for point in points], dtype=bool))

    def _at(self, points: Sequence[Point]) -> At:
        """Points as arrays."""
        numbers = np.array([(p.mass, p.handover) for p in points]).T
        bits = np.array([(p.seen, p.done, p.state) for p in points], dtype=np.int64).T
        return At(np.array([p.joint for p in points]), *numbers, *bits)

    def first_costs(self) -> dict[str, float]:
        """Name of each step that may come first → money with the best plan known after it."""
        names = [self.layout.steps[step].name for step in self.root.steps]
        return dict(zip(names, self.root.by_step[UPPER], strict=True)) if names else {}

    def saved_by_closing(self, point: Point) -> float:
        """Money that the best step at a point saves against the best one that needs no closing up."""
        if not point.is_open:
            return 0.0
        machine, prices = self.states.machines[point.state], self.problem.prices
        rest = [point.repairs]
        for step, money in zip(point.steps, point.by_step[UPPER], strict=True):
            needed = change(machine, self.layout.steps[step], prices)
            if needed is not None and not needed.first:
                rest.append(money)
        least = min(rest)
        return max(least - point.upper, 0.0) / point.mass if np.isfinite(least) else 0.0
