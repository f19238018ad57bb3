"""What state the machine is in while it is worked on, and what changing that state costs.

A machine is live or isolated, its covers are on or off, its water is in or out. A step needs some of these; the plan
pays for the change. A step under power never happens behind opened covers: the machine is closed up first, and that is
a step of its own. What was found can be lost: once the water is let out, nobody can look for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

CLOSE_UP, REFILL = "close up", "refill"


class Machine(NamedTuple):
    """State of the machine.

    Attributes
    ----------
    opened
        Access groups that are open.
    is_live, is_drained
        Whether it has power; whether its water was let out.
    may_close
        Whether it may be closed up for a check under power: once, and after a repair that did not cure. Before the
        first repair the checks under power come first.
    was_closed
        Whether it was closed up before.
    spoilt
        Checks that tell nothing any more.
    stays_off
        Whether what was seen forbids to switch it on again.
    """

    opened: frozenset[str] = frozenset()
    is_live: bool = True
    is_drained: bool = False
    may_close: bool = False
    was_closed: bool = False
    spoilt: frozenset[str] = frozenset()
    stays_off: bool = False


@dataclass(frozen=True)
class Prices:
    """Money of changing state: opening and closing each access group, isolating, switching on again, refilling.

    A group without money of closing is no cover but a place that is reached: it neither needs isolation nor closing.
    """

    openings: Mapping[str, float] = field(default_factory=dict)
    closings: Mapping[str, float] = field(default_factory=dict)
    isolating: float = 0.0
    switching_on: float = 0.0
    refilling: float = 0.0


class Needing(Protocol):
    """A step and what it needs of the machine."""

    @property
    def name(self) -> str: ...  # noqa: D102 - as in the class that has it
    @property
    def access(self) -> frozenset[str]: ...  # noqa: D102
    @property
    def power(self) -> str: ...  # noqa: D102
    @property
    def covers(self) -> str: ...  # noqa: D102
    @property
    def water(self) -> str: ...  # noqa: D102
    @property
    def spoils(self) -> frozenset[str]: ...  # noqa: D102
    @property
    def is_repair(self) -> bool: ...  # noqa: D102


class Change(NamedTuple):
    """What must happen before a step (``first``, in order), its money, and the machine once the step is done."""

    money: float
    first: tuple[str, ...]
    then: Machine


def change(machine: Machine, step: Needing, prices: Prices) -> Change | None:
    """Bring the machine into the state a step needs; None where the step cannot be made any more."""
    if step.name in machine.spoilt:
        return None
    money, first = 0.0, []
    opened, is_live, is_drained, was_closed = machine.opened, machine.is_live, machine.is_drained, machine.was_closed
    is_powered = step.power == "needed"
    if is_powered and machine.stays_off:
        return None
    covers, missing = prices.closings.keys(), step.access - opened
    is_open = not covers.isdisjoint(opened)
    if (is_powered and not is_live) or (is_open and (is_powered or step.covers == "on")):
        if not machine.may_close or machine.stays_off:
            return None
        money += sum(prices.closings.get(group, 0.0) for group in opened) + prices.switching_on
        first.append(CLOSE_UP)
        opened, missing, is_live, was_closed = frozenset(), step.access, True, True
    if is_live and (step.power == "off" or not covers.isdisjoint(missing)):
        money += prices.isolating
        is_live = False
    if missing:
        money += sum(prices.openings.get(group, 0.0) for group in missing)
        opened |= missing
    if is_drained and (step.water == "in" or (step.water == "out" and is_powered)):
        if not is_powered:
            return None  # it looks at the water as it was found
        money += prices.refilling
        first.append(REFILL)
        is_drained = False
    is_drained = is_drained or step.water == "out"
    may_close = (machine.may_close or step.is_repair) and not was_closed
    spoilt = machine.spoilt | step.spoils if step.spoils else machine.spoilt
    then = Machine(opened, is_live, is_drained, may_close, was_closed, spoilt, machine.stays_off)
    return Change(money, tuple(first), then)
