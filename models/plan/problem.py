"""One call put to the planner: causes, checks, repairs, what they cost, and the state the machine is in."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from models.plan.machine import Machine, Prices

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Check:
    """One observation.

    Attributes
    ----------
    likelihood
        ``[cause, outcome]``: chance of each outcome under each cause; rows sum to 1.
    access, power, covers, water
        What the machine must be like; see `models.plan.machine`.
    clears
        Outcome → name of the repair that follows at once, because what was seen is at hand (a blockage).
    spoils
        Checks that tell nothing any more after this one.
    forbids
        Outcomes after which the machine must not be switched on again.
    rules_out
        Outcome → repairs that are of no use once it was seen: a filter seen clear is not cleared.
    settles
        Outcome → checks that tell nothing more once it was seen: a pump that runs has a sound winding.
    """

    is_repair: ClassVar[bool] = False

    name: str
    cost: float
    outcomes: tuple[str, ...]
    likelihood: Floats
    access: frozenset[str] = frozenset()
    power: str = "any"
    covers: str = "any"
    water: str = "any"
    clears: Mapping[str, str] = field(default_factory=dict)
    spoils: frozenset[str] = frozenset()
    forbids: frozenset[str] = frozenset()
    rules_out: Mapping[str, Collection[str]] = field(default_factory=dict)
    settles: Mapping[str, frozenset[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Look:
    """A look at a part before it is fitted: its money, and the chance that a good part is taken for faulty.

    A part that is the cause is always seen to be faulty. A check of its own (a meter) comes before: until those of
    ``after`` that the call has are made, or tell nothing any more, there is no such look.
    """

    cost: float
    mistaken: float
    after: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Action:
    """One repair: ``cures[cause]`` is the chance that it ends the fault.

    ``failed`` is money lost besides ``cost`` when it does not (it is not always noticed on site). With a ``look`` it
    may be done in two ways: at once, or only if the look says so. The rest is as for a check; no repair needs power or
    closed covers.
    """

    covers: ClassVar[str] = "any"
    is_repair: ClassVar[bool] = True

    name: str
    cost: float
    cures: Floats
    access: frozenset[str] = frozenset()
    failed: float = 0.0
    look: Look | None = None
    power: str = "any"
    water: str = "any"
    spoils: frozenset[str] = frozenset()

    def money(self, *, looking: bool) -> tuple[float, float]:
        """Money when it cures and when it does not, changes of the machine left out."""
        if not looking or self.look is None:
            return self.cost, self.cost + self.failed
        return self.look.cost + self.cost, self.look.cost + self.look.mistaken * (self.cost + self.failed)

    def is_looked_at(self, cured: float, not_cured: float) -> bool:
        """Whether looking first, where it may be, is the cheaper way at these probabilities; they need not sum to 1."""
        now, looking = self.money(looking=False), self.money(looking=True)
        return cured * looking[0] + not_cured * looking[1] < cured * now[0] + not_cured * now[1]

    def expected(self, cured: float, not_cured: float, *, may_look: bool = True) -> float:
        """Money of the cheaper way, changes of the machine left out, times the probability of getting here."""
        cures, fails = self.money(looking=may_look and self.is_looked_at(cured, not_cured))
        return cured * cures + not_cured * fails


@dataclass(frozen=True, eq=False)
class First:
    """A check that comes before other steps, whatever that costs: the tap is looked at before a valve is fitted.

    Attributes
    ----------
    check
        Its name.
    before
        Names of the steps that wait until it is made.
    causes
        ``[cause]``: whether it is looked for.
    least
        They wait only while the odds of these causes come to so much.
    is_strict
        Whether they wait for good where it cannot be made; if not, nothing waits where it would need closing up first.
    """

    check: str
    before: frozenset[str]
    causes: NDArray[np.bool_]
    least: float = 0.0
    is_strict: bool = False


@dataclass(frozen=True, eq=False)
class Problem:
    """One call: odds of its causes, what can be looked at, what can be done, and what handing over costs.

    Parameters
    ----------
    causes, p
        Names and probabilities (they sum to 1). A cause that no action cures is "none of these".
    handover
        Money that handing over costs under each cause, the repair itself included.
    prices
        Money of changing the state of the machine.
    machine
        Its state now.
    due
        Name of a step that comes first whatever it costs; "" = none.
    first
        Checks that come before other steps.
    before_handover
        Checks without which nothing is handed over, where they can be made: without one that costs more than it.
    """

    causes: tuple[str, ...]
    p: Floats
    checks: tuple[Check, ...]
    actions: tuple[Action, ...]
    handover: Floats
    prices: Prices = field(default_factory=Prices)
    machine: Machine = field(default_factory=Machine)
    due: str = ""
    first: tuple[First, ...] = ()
    before_handover: frozenset[str] = frozenset()


def outcome_seen(machine: Machine, step: Check | Action, outcome: int) -> Machine:
    """State of the machine once a step has shown one of its outcomes."""
    if isinstance(step, Check) and step.outcomes[outcome] in step.forbids:
        return machine._replace(stays_off=True)
    return machine
