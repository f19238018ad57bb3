"""The technicians of the demo workshop and how each works a visit: checks, remedy, parts on the van, planted habits.

A technician believes the town's usual shares (not the makes' weak points nor the ages), looks first at what tells most
a minute, and acts when sure enough. Habits are the planted wrong swaps: the part that code or complaint points at,
fitted at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from demo_data.generator.kind_odds import Fault
from demo_data.generator.makes import COLD, LAUNDRY
from demo_data.generator.world import Call, World, family_of


@dataclass(frozen=True)
class Technician:
    """One technician: share of the calls, how sure before acting, most checks a visit, how often he or she writes."""

    name: str
    share: float
    sure: float
    checks: int
    writes: float


TECHNICIANS = (
    Technician("Ines", 0.17, 0.9, 8, 0.75),
    Technician("Callum", 0.16, 0.82, 6, 0.45),
    Technician("Marek", 0.16, 0.85, 7, 0.5),
    Technician("Bea", 0.14, 0.86, 7, 0.6),
    Technician("Joss", 0.13, 0.82, 6, 0.4),
    Technician("Priya", 0.13, 0.88, 8, 0.7),
    Technician("Odhran", 0.11, 0.84, 6, 0.35),
)


@dataclass(frozen=True)
class Habit:
    """A planted wrong swap: these technicians fit ``part`` at once when complaint, code and findings are as given.

    ``really`` names the causes it usually is; ``function`` is the one the code must name (None: any code or none);
    ``until`` is the last day of the habit (None: to the end).
    """

    name: str
    technicians: tuple[str, ...]
    kinds: tuple[str, ...]
    symptoms: tuple[str, ...]
    part: str
    really: tuple[str, ...]
    chance: float
    function: str | None = None
    findings: dict[str, str] = field(default_factory=dict)
    until: date | None = None


HABITS = (
    Habit(
        "heating element for blocked air", ("Marek", "Bea", "Callum", "Joss"), ("tumble dryer",),
        ("does not heat", "takes too long"),
        "heating element", ("lint blockage in air path", "thermal cut-out tripped by poor airflow"), 0.75,
    ),
    Habit(
        "level sensor for a blocked sump hose", ("Callum", "Odhran"), LAUNDRY, ("does not drain", "stops before spin"),
        "level sensor", ("partly blocked sump hose", "air tube or chamber blocked"), 0.8, "drain",
        {"water left": "no"},
    ),
    Habit(
        "circulation pump for blocked spray arms", ("Bea", "Callum"), ("dishwasher",), ("does not clean",),
        "circulation pump", ("spray arms blocked", "sump filter blocked"), 0.6, until=date(2025, 9, 30),
    ),
    Habit(
        "thermostat for an iced evaporator", ("Joss", "Priya"), COLD, ("warm",),
        "thermostat", ("defrost heater open circuit", "defrost sensor fault", "door seal leaking or door left open"),
        0.4,
    ),
    Habit(
        "control board for worn brushes", ("Marek", "Odhran", "Bea"), LAUNDRY, ("does not spin", "stops before spin"),
        "control board", ("worn motor brushes", "tacho sensor fault"), 0.8, "motor",
    ),
)  # fmt: skip

HOUR_RATE, CALL_OUT = 48.0, 30.0
RARELY_CARRIED = ("drive motor", "circulation pump", "power module", "magnetron", "hv transformer", "flow heater",
                  "vacuum motor", "battery pack", "fridge door seal", "door seal", "bearing kit", "oven seal",
                  "ceramic ring")  # fmt: skip
NEW_PRICE = {"vacuum cleaner": 180.0, "microwave oven": 140.0, "freezer": 330.0, "fridge": 330.0, "cooker": 520.0}
LOOK_CATCHES = 0.93  # a part that is not the cause is seen to be good when it is looked at before fitting
WORDED_REFERRAL = ("refer to certified", "advise: not economic")


def is_carried(part: str) -> float:
    """Chance that a part is on the van."""
    return 0.3 if part in RARELY_CARRIED else 0.6 if part == "control board" else 0.88


def remedy(fault: Fault) -> tuple[str, ...]:
    """Return what cures a fault: its parts, or its action as one word."""
    return fault.parts or (f"do: {fault.action}",)


@dataclass
class Case:
    """What the workshop knows of one fault so far, kept from visit to visit."""

    call: Call
    found: dict[str, str] = field(default_factory=dict)
    failed: set[tuple[str, ...]] = field(default_factory=set)
    ordered: tuple[str, ...] = ()
    ordered_for: int = -1
    ordered_by_habit: str | None = None
    parts: list[str] = field(default_factory=list)
    actions: list[str] = field(default_factory=list)
    is_cured: bool = False
    visits: int = 0


@dataclass
class Visit:
    """One visit as it truly went. ``believed`` is the number of the fault the technician names (None: none named)."""

    technician: str
    found: dict[str, str] = field(default_factory=dict)
    believed: int | None = None
    is_doubtful: bool = False
    parts: list[tuple[str, float]] = field(default_factory=list)
    actions: list[str] = field(default_factory=list)
    outcome: str = "fixed"
    minutes: float = 0.0
    habit: str | None = None


class Bench:
    """Beliefs and best next checks, remembered from call to call."""

    def __init__(self, world: World) -> None:
        self.world = world
        self._seen: dict[object, tuple[np.ndarray, tuple[str, ...], float, str | None]] = {}

    def judge(self, case: Case) -> tuple[np.ndarray, tuple[str, ...], float, str | None]:
        """Belief by fault, the likeliest remedy with its chance, and the check that tells most a minute."""
        call = case.call
        key = (call.kind, call.make if call.code else None, call.code, family_of(call.model) if call.code else None,
               frozenset(call.symptoms.items()),
               frozenset(case.found.items()), frozenset(case.failed))  # fmt: skip
        if key not in self._seen:
            odds = self.world.odds[call.kind]
            make = call.make if call.code else None
            belief = self.world.weights(
                call.kind, odds.rate, call.symptoms, make, call.code, case.found, model=call.model
            )
            open_ = np.array([remedy(fault) not in case.failed for fault in odds.faults])
            belief = np.where(open_, belief, 0.0) if (belief * open_).sum() > 0 else odds.rate
            belief = belief / belief.sum()
            chance: dict[tuple[str, ...], float] = {}
            for fault, p in zip(odds.faults, belief, strict=True):
                chance[remedy(fault)] = chance.get(remedy(fault), 0.0) + float(p)
            best = max(chance, key=lambda name: (chance[name], name))
            self._seen[key] = belief, best, chance[best], self._best_check(call.kind, belief, case.found)
        return self._seen[key]

    def _best_check(self, kind: str, belief: np.ndarray, found: dict[str, str]) -> str | None:
        odds = self.world.odds[kind]
        likely = np.flatnonzero(belief > 1e-3)
        joint = odds.result[:, :, likely] * belief[likely]
        value = joint.sum(axis=2, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            left = -np.nansum(joint * np.log(joint / value), axis=(1, 2))
        gain = -(belief[likely] * np.log(belief[likely])).sum() - left
        minutes = np.array([float(self.world.checks[finding]["minutes"]) for finding in odds.findings])
        worth = gain / (minutes + 4)
        worth[[odds.position[finding] for finding in found if finding in odds.position]] = -1
        best = int(np.argmax(worth))
        return odds.findings[best] if worth[best] > 0 and gain[best] > 0.01 else None


def work(
    bench: Bench,
    case: Case,
    technician: Technician,
    day: date,
    rng: np.random.Generator,
    habits: tuple[Habit, ...] = HABITS,
) -> Visit:
    """Work one visit of a case; changes the case.

    Parameters
    ----------
    habits
        The planted habits in force; an empty tuple makes a workshop without them.
    """
    world, call = bench.world, case.call
    visit = Visit(technician.name, minutes=8 + rng.uniform(0, 8))
    case.visits += 1
    if case.ordered:
        parts, case.ordered, visit.habit = case.ordered, (), case.ordered_by_habit
        _fit(bench, case, visit, parts, case.ordered_for, technician, rng, is_carried_now=True)
        if case.is_cured or visit.outcome != "going on":
            return visit
    may_follow = case.visits == 1
    for finding in _looked_for(world, case, technician, day, habits) if may_follow else ():
        visit.found[finding] = case.found[finding] = world.finding(call, finding, rng)
        visit.minutes += float(world.checks[finding]["minutes"]) * rng.uniform(0.8, 1.4)
    for _ in range(14):
        if may_follow and (habit := _habit(world, case, technician, day, habits)):
            may_follow = False
            if rng.random() < habit.chance and (habit.part,) not in case.failed:
                visit.habit = habit.name
                faults = world.odds[call.kind].faults
                named = next(
                    number for number, fault in enumerate(faults)
                    if habit.part in fault.parts and set(fault.symptoms) & set(habit.symptoms)
                )  # fmt: skip
                _fit(bench, case, visit, (habit.part,), named, technician, rng)
                if visit.outcome != "going on":
                    return visit
                continue
        belief, best, chance, check = bench.judge(case)
        if check and chance < technician.sure and len(visit.found) < technician.checks:
            visit.found[check] = case.found[check] = world.finding(call, check, rng)
            visit.minutes += float(world.checks[check]["minutes"]) * rng.uniform(0.8, 1.4)
            continue
        faults = world.odds[call.kind].faults
        named = max((n for n, fault in enumerate(faults) if remedy(fault) == best), key=lambda n: belief[n])
        _fit(bench, case, visit, best, named, technician, rng)
        if visit.outcome != "going on":
            return visit
    visit.outcome = "not fixed"
    return visit


def _is_tempted(world: World, case: Case, technician: Technician, day: date, habit: Habit) -> bool:
    """Tell whether a habit is this technician's and fits the complaint and the code, whatever is found."""
    call = case.call
    if technician.name not in habit.technicians or call.kind not in habit.kinds or (habit.until and day > habit.until):
        return False
    if not any(call.symptoms.get(symptom) for symptom in habit.symptoms):
        return False
    return habit.function is None or world.function(call.make, call.code, call.model) == habit.function


def _looked_for(world: World, case: Case, technician: Technician, day: date, habits: tuple[Habit, ...]) -> list[str]:
    """Findings that a tempted technician looks for before anything else."""
    tempted = [habit for habit in habits if _is_tempted(world, case, technician, day, habit)]
    return [finding for habit in tempted for finding in habit.findings if finding not in case.found]


def _habit(world: World, case: Case, technician: Technician, day: date, habits: tuple[Habit, ...]) -> Habit | None:
    for habit in habits:
        is_found = all(case.found.get(finding) == value for finding, value in habit.findings.items())
        if is_found and _is_tempted(world, case, technician, day, habit):
            return habit
    return None


def _fit(
    bench: Bench, case: Case, visit: Visit, best: tuple[str, ...], named: int, technician: Technician,
    rng: np.random.Generator, *, is_carried_now: bool = False,
) -> None:  # fmt: skip
    """Try one remedy; sets the outcome, or "going on" when the test shows the fault still there and there is time."""
    world, call = bench.world, case.call
    fault = world.odds[call.kind].faults[named]
    visit.believed = named
    if best[0].startswith("do: "):
        if _do_action(world, case, visit, fault, best[0][4:], rng):
            return
    else:
        if not is_carried_now and _put_off(world, case, visit, best, named, rng):
            return
        for part in best:
            visit.parts.append((part, price_of(world, part, call.make)))
            visit.minutes += float(world.parts[part]["minutes"]) * rng.uniform(0.8, 1.3)
            case.parts.append(part)
    if rng.random() < 0.025 and fault.parts and (extra := _while_there(world, call, best, rng)):
        visit.parts.append((extra, price_of(world, extra, call.make)))
        visit.minutes += float(world.parts[extra]["minutes"]) * 0.6
        case.parts.append(extra)
    _test(world, case, visit, fault, best, rng)


def _do_action(world: World, case: Case, visit: Visit, fault: Fault, action: str, rng: np.random.Generator) -> bool:
    """Do what needs no part; tells whether it was to hand the job on, which ends the visit."""
    if action.startswith(WORDED_REFERRAL):
        cures = fault.action == world.fault(case.call).action
        visit.outcome = (
            "fixed" if action.startswith("refer") and cures and rng.random() < 0.55 else "beyond economic repair"
        )
        case.is_cured = visit.outcome == "fixed"
        visit.actions.append(action)
        visit.minutes += 15
        return True
    visit.minutes += world.action_minutes(fault) * rng.uniform(0.8, 1.3)
    visit.actions.append(action)
    case.actions.append(action)
    return False


def _put_off(
    world: World, case: Case, visit: Visit, best: tuple[str, ...], named: int, rng: np.random.Generator
) -> bool:
    """Tell whether the parts are not fitted now: they look good, the customer refuses them, or they are not carried."""
    if not visit.habit and not _still_seems_right(world, case.call, best, visit, rng):
        case.failed.add(best)
        visit.believed, visit.outcome = None, "going on"
        return True
    if _is_refused(world, case.call, best, rng):
        visit.outcome = "beyond economic repair" if rng.random() < 0.55 else "declined"
        return True
    if any(rng.random() > is_carried(part) for part in best):
        visit.outcome = "part needed"
        visit.is_doubtful = rng.random() < 0.1
        case.ordered, case.ordered_for, case.ordered_by_habit = best, named, visit.habit
        return True
    return False


def _test(
    world: World, case: Case, visit: Visit, fault: Fault, best: tuple[str, ...], rng: np.random.Generator
) -> None:
    """Test what was repaired; a part may be faulty new, and a fault still there may go unseen."""
    call = case.call
    is_faulty_new = bool(fault.parts) and rng.random() < 0.012
    if world.is_cured(call, parts=case.parts, actions=case.actions) and not is_faulty_new:
        visit.outcome, case.is_cured = "fixed", True
        if rng.random() < 0.98:
            visit.believed = call.fault_no
        return
    if is_faulty_new:
        for part in best:
            case.parts.remove(part)
    else:
        case.failed.add(best)
    is_seen = rng.random() < (0.3 if visit.habit else 0.7)
    if not is_seen:
        visit.outcome, visit.is_doubtful = "fixed", rng.random() < 0.15
    elif visit.minutes > 75 or visit.habit or is_faulty_new:
        visit.outcome, visit.is_doubtful = "not fixed", rng.random() < 0.5
    else:
        visit.outcome = "going on"


def _still_seems_right(
    world: World, call: Call, parts: tuple[str, ...], visit: Visit, rng: np.random.Generator
) -> bool:
    """Look closely at the part before fitting it; tells whether it still seems to be the one."""
    visit.minutes += 7 * rng.uniform(0.7, 1.5)
    return set(parts) >= set(world.fault(call).parts) != set() or rng.random() > LOOK_CATCHES


def _while_there(world: World, call: Call, best: tuple[str, ...], rng: np.random.Generator) -> str | None:
    """Return another cheap part of the same complaint, fitted "while there"."""
    mine = world.odds[call.kind].faults[call.fault_no].block
    others = [f.parts[0] for f in world.odds[call.kind].faults
              if f.block == mine and f.parts and f.parts[0] not in best
              and world.part_price(f.parts[0]) < 40]  # fmt: skip
    return others[int(rng.integers(len(others)))] if others else None


def price_of(world: World, part: str, make: str) -> float:
    """Price of a part for a make: list price, dearer for some makes."""
    dearer = {"Velsund": 1.35, "Corvanta": 1.1, "Pellmore": 0.9}.get(make, 1.0)
    return round(world.part_price(part) * dearer * 2) / 2


def _is_refused(world: World, call: Call, parts: tuple[str, ...], rng: np.random.Generator) -> bool:
    minutes = sum(float(world.parts[part]["minutes"]) for part in parts)
    quote = sum(price_of(world, part, call.make) for part in parts) + CALL_OUT + HOUR_RATE * (minutes + 15) / 60
    worth = NEW_PRICE.get(call.kind, 420.0) * np.exp(-call.age_years / 8)
    return bool(rng.random() < 0.45 / (1 + np.exp(-5 * (quote / worth - 1.35))))
