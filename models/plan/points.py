"""One point of the search with its amounts, and how what is learned at it is passed back to those that lead to it."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from models.plan.layout import TINY
from models.plan.problem import Floats

UPPER, HOPE, LOWER, MASS, HANDING, PROMISE = range(6)


@dataclass(eq=False, slots=True)
class Point:
    """One point of the search; ``seen`` and ``done`` are bit sets of checks and actions, ``state`` a machine's number.

    ``number`` counts the points as they are met: ties go by it, so that the same call gets the same plan.

    What can tell nothing any more counts as seen. Once a point is open, ``by_step`` holds ``upper``, ``hope`` and
    ``lower`` of each of its ``steps`` (those that may pay) and ``places`` where each of them stands; ``by_row`` what
    each row (an outcome of a check, or an action that did not cure) leads to: the same three as they were then, its
    mass, money of handing over, and promise (`models.plan.bounds`); ``passed`` what of each child is in ``by_step``.
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
    number: int
    promise: float
    steps: list[int] = field(default_factory=list)
    places: dict[int, int] = field(default_factory=dict)
    by_step: list[list[float]] = field(default_factory=list)
    by_row: Floats | None = None
    children: dict[int, Point] = field(default_factory=dict)
    passed: dict[int, list[float]] = field(default_factory=dict)
    parents: list[tuple[Point, int, int]] = field(default_factory=list)

    @property
    def is_open(self) -> bool:
        """Whether it was opened."""
        return self.by_row is not None

    def open(self, by_step: Floats, by_row: Floats) -> None:
        """Keep what may come next: of the steps those that may pay."""
        chosen = np.isfinite(by_step[UPPER]).nonzero()[0]
        self.steps, self.by_step, self.by_row = chosen.tolist(), by_step[:, chosen].tolist(), by_row
        self.places = {step: place for place, step in enumerate(self.steps)}

    def least(self, which: int) -> float:
        """Least amount of its steps; infinite where it has none."""
        return min(self.by_step[which], default=np.inf)

    def settle(self) -> bool:
        """Bring its own amounts up to date; tells whether they moved."""
        upper = min(self.repairs, self.least(UPPER))
        lower = min(max(self.lower, min(self.handover, self.least(LOWER))), upper)
        hope = min(max(min(self.handover, self.least(HOPE)), lower), upper)
        moved = abs(upper - self.upper) + abs(hope - self.hope) + abs(lower - self.lower) > TINY
        self.upper, self.hope, self.lower = upper, hope, lower
        return moved

    def take_over(self, row: int, place: int, child: Point) -> bool:
        """Take a child's amounts over; tells whether they moved."""
        passed, moved = self.passed[row], False
        for which, amount in enumerate((child.upper, child.hope, child.lower)):
            by = amount - passed[which]
            if by > TINY or by < -TINY:
                passed[which] = amount
                self.by_step[which][place] += by
                moved = True
        return moved


def pass_up(points: Sequence[Point]) -> None:
    """Settle points and all that lead to them, the deepest first."""
    queue = [(-point.depth, point.number, point) for point in points]
    heapq.heapify(queue)
    waiting = {id(point) for point in points}
    while queue:
        _, _, point = heapq.heappop(queue)
        waiting.discard(id(point))
        if not point.settle():
            continue
        for parent, row, place in point.parents:
            if parent.take_over(row, place, point) and id(parent) not in waiting:
                waiting.add(id(parent))
                heapq.heappush(queue, (-parent.depth, parent.number, parent))
