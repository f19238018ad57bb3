"""Four years of an invented workshop: units, faults, calls, visits, and the returns nobody has recorded yet.

All that truly happened is kept, past the end of the records too, so that estimates for open months can be judged.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from demo_data.generator.kind_odds import read_words
from demo_data.generator.makes import KIND_LETTER
from demo_data.generator.technicians import CALL_OUT, HABITS, HOUR_RATE, TECHNICIANS, Bench, Case, Habit, Visit, work
from demo_data.generator.world import Call, World

RECORDS_FROM, RECORDS_TO = date(2022, 10, 1), date(2026, 10, 31)
SIMULATED_FROM, SIMULATED_TO = date(2022, 7, 1), date(2027, 3, 31)
SAME_FAULT_DAYS, WAITING_DAYS = 30, 120


@dataclass
class Unit:
    """One appliance in the town."""

    unit_id: int
    kind: str
    make: str
    model: str
    serial: str | None
    customer: str | None
    age_at_first: float
    first_day: date

    def age(self, day: date) -> float:
        """Age in years on a day."""
        return self.age_at_first + (day - self.first_day).days / 365.25


@dataclass
class Record:
    """One visit and its place in the story: ``job`` counts the jobs of the episode, ``returns_to`` is the job named."""

    day: date
    unit: Unit
    episode_id: int
    call: Call
    visit: Visit
    told: dict[str, bool]
    code: str | None
    job: int
    returns_to: int | None
    reason: str = ""


@dataclass
class Episode:
    """One fault on one unit, with all its visits, in order."""

    episode_id: int
    unit: Unit
    call: Call
    records: list[Record] = field(default_factory=list)
    state: str = "open"


def _workday(day: date) -> date:
    return day + timedelta(days=1) if day.weekday() == 6 else day


def _pick_technician(rng: np.random.Generator) -> int:
    return int(rng.choice(len(TECHNICIANS), p=[technician.share for technician in TECHNICIANS]))


def _gap(rng: np.random.Generator, mean: float, least: int = 1, most: int = 90) -> timedelta:
    return timedelta(days=int(np.clip(round(rng.gamma(1.6, mean / 1.6)), least, most)))


def _told_again(rng: np.random.Generator, told: dict[str, bool]) -> dict[str, bool]:
    said_ones = [symptom for symptom, is_said in told.items() if is_said]
    return dict(told) if rng.random() < 0.7 else dict.fromkeys(said_ones[:1], True)


@dataclass
class _Course:
    """What stands between one visit of an episode and the next."""

    day: date
    technician: int
    told: dict[str, bool]
    code: str | None
    job: int = 0
    returns_to: int | None = None

    def another_job(self, *, is_same: bool) -> None:
        """Go on under the same job number, or under one that names it."""
        self.returns_to = None if is_same else self.job
        self.job += 0 if is_same else 1


def live_through(
    bench: Bench, episode: Episode, day: date, rng: np.random.Generator, habits: tuple[Habit, ...] = HABITS
) -> Episode:
    """Play an episode from its first visit to its end; adds its records and state."""
    call = episode.call
    case, course = Case(call), _Course(day, _pick_technician(rng), dict(call.symptoms), call.code)
    shy = 0.16 if "wiring" in call.cause else 0.07 if "control" in call.cause else 0.025

    def add(visit: Visit) -> None:
        told, code, job, returns_to = course.told, course.code, course.job, course.returns_to
        episode.records.append(
            Record(course.day, episode.unit, episode.episode_id, call, visit, told, code, job, returns_to, reason)
        )

    for _ in range(7):
        course.day = _workday(course.day)
        technician = TECHNICIANS[course.technician]
        reason = "with part" if case.ordered else ""
        if rng.random() < 0.028:
            add(Visit(technician.name, outcome="no access", minutes=5))
            if rng.random() < 0.2:
                episode.state = "no access"
                return episode
            course.day, course.returns_to = course.day + _gap(rng, 5, 1, 25), None
            continue
        if not case.ordered and not case.failed and rng.random() < shy:
            add(Visit(technician.name, outcome="no fault found", minutes=25 + rng.uniform(0, 25)))
            if rng.random() < 0.5:
                episode.state = "no fault found"
                return episode
            course.another_job(is_same=False)
            course.day = course.day + _gap(rng, 14, 2, 70)
            course.technician = _pick_technician(rng)
            course.told = _told_again(rng, call.symptoms)
            continue
        visit = work(bench, case, technician, course.day, rng, habits)
        add(visit)
        if case.is_cured or visit.outcome in ("beyond economic repair", "declined"):
            episode.state = "cured" if case.is_cured else visit.outcome
            return episode
        if visit.outcome != "part needed":
            _come_back(course, call, visit, rng)
        elif rng.random() < 0.015:
            return episode
        else:
            _wait_for_part(course, rng)
    return episode


def _wait_for_part(course: _Course, rng: np.random.Generator) -> None:
    is_same_day = rng.random() < 0.03  # fetched from the shop, entered as a job of its own
    course.another_job(is_same=not is_same_day and rng.random() < 0.85)
    if is_same_day:
        return
    course.day = course.day + (_gap(rng, 7, 1, 30) if rng.random() < 0.95 else _gap(rng, 45, 20, 100))
    course.technician = course.technician if rng.random() < 0.8 else _pick_technician(rng)


def _come_back(course: _Course, call: Call, visit: Visit, rng: np.random.Generator) -> None:
    if visit.outcome == "not fixed":
        course.another_job(is_same=rng.random() < 0.6)
        course.day = course.day + _gap(rng, 5, 1, 40)
    else:  # thought to be fixed, and comes back
        gap = _gap(rng, 9, 1, 29) if rng.random() < 0.94 else _gap(rng, 42, 31, 70)
        is_named = gap.days > SAME_FAULT_DAYS or not any(course.told.values()) or rng.random() < 0.75
        course.job, course.returns_to = course.job + 1, (course.job if is_named else None)
        course.day = course.day + gap
    course.technician = course.technician if rng.random() < 0.45 else _pick_technician(rng)
    course.told = _told_again(rng, call.symptoms)
    course.code = call.code if rng.random() < 0.85 else None


def _name_lost_beginning(episode: Episode) -> None:
    """Let the first recorded visit of an episode that began before the records name the job that is not in them."""
    lost = [record for record in episode.records if record.day < RECORDS_FROM]
    kept = episode.records[len(lost) :]
    if lost and kept:
        for record in kept:
            record.job += 10
            record.returns_to = None if record.returns_to is None else record.returns_to + 10
        kept[0].returns_to = lost[-1].job


class Town:
    """Units, customers and their faults over the years."""

    def __init__(self, world: World, seed: int, visits: int, habits: tuple[Habit, ...]) -> None:
        self.world, self.bench, self.habits = world, Bench(world), habits
        self.rng = np.random.default_rng(seed)
        self.groups = {row["symptom"]: row["symptom_group"] for row in read_words("symptoms")}
        self.visits = visits
        self.episodes: list[Episode] = []
        self._customers = 0

    def simulate(self) -> list[Episode]:
        """Play the years; returns every episode, those past the end of the records too."""
        rng = self.rng
        days = (SIMULATED_TO - SIMULATED_FROM).days
        recorded = (RECORDS_TO - RECORDS_FROM).days
        first_calls = round(self.visits * days / recorded * 0.565)
        growth = np.sort(rng.beta(1.15, 1.0, first_calls) * days)
        for unit_id, offset in enumerate(growth, start=1):
            day = SIMULATED_FROM + timedelta(days=int(offset))
            call = self.world.call(rng, month=day.month)
            self._live(self._unit(unit_id, call, day), call, day)
        for episode in self.episodes:
            _name_lost_beginning(episode)
        return self.episodes

    def _unit(self, unit_id: int, call: Call, day: date) -> Unit:
        rng = self.rng
        if rng.random() < 0.12 and self._customers > 40:
            customer = f"C-{10000 + int(rng.integers(self._customers))}"
        elif rng.random() < 0.05:
            customer = ("Tidewell Lettings", "Quayrow Homes", "Millrow Housing")[int(rng.integers(3))]
        else:
            self._customers += 1
            customer = f"C-{10000 + self._customers}"
        has_serial = rng.random() < 0.76 or not customer.startswith("C-")
        made = day.year - int(call.age_years)
        week, number = int(rng.integers(1, 53)), int(rng.integers(100000))
        serial = f"{call.make[0]}{KIND_LETTER[call.kind]}{made % 100:02d}{week:02d}{number:05d}"
        keeps_customer = not has_serial or rng.random() < 0.9
        return Unit(
            unit_id, call.kind, call.make, call.model, serial if has_serial else None,
            customer if keeps_customer else None,
            call.age_years, day,
        )  # fmt: skip

    def _live(self, unit: Unit, call: Call, day: date) -> None:
        """Play every fault of a unit from its first call on."""
        rng = self.rng
        while day <= SIMULATED_TO:
            episode = live_through(
                self.bench, Episode(len(self.episodes) + 1, unit, call), _workday(day), rng, self.habits
            )  # fmt: skip
            self.episodes.append(episode)
            last = episode.records[-1].day
            if episode.state in ("beyond economic repair", "declined"):
                return
            per_year = 0.13 * (0.6 + 0.07 * unit.age(last)) * (1.35 if unit.make == "Pellmore" else 1.0)
            day = last + timedelta(days=int(rng.exponential(365.25 / per_year)))
            least = SAME_FAULT_DAYS if episode.state == "cured" else WAITING_DAYS
            if episode.state == "cured" and rng.random() < 0.03:
                day = last + timedelta(days=int(rng.integers(2, 28)))
            elif (day - last).days <= least + 5:
                day = last + timedelta(days=least + 5 + int(rng.integers(60)))
            if day > SIMULATED_TO:
                return
            is_soon = (day - last).days <= least
            other = self._other_fault(unit, episode.call, day) if is_soon else None
            if is_soon and other is None:
                day += timedelta(days=least + 5)
            call = other or self.world.call(rng, unit.kind, unit.make, unit.model, unit.age(day), day.month)

    def _other_fault(self, unit: Unit, before: Call, day: date) -> Call | None:
        """Draw a fault that does not sound like the last one; None if the kind has too few complaints for that."""
        for _ in range(50):
            call = self.world.call(self.rng, unit.kind, unit.make, unit.model, unit.age(day), day.month)
            mine = {self.groups[s] for s, is_said in call.symptoms.items() if is_said}
            theirs = {self.groups[s] for s, is_said in before.symptoms.items() if is_said}
            if mine and not mine & theirs and (call.code is None or call.code != before.code):
                return call
        return None


@dataclass(frozen=True)
class Repair:
    """What one call cost the workshop: minutes and visits in all, money for parts, parts that were not the cause."""

    minutes: float
    parts_money: float
    visits: int
    wrong_parts: int
    state: str


def as_the_workshop(
    bench: Bench, call: Call, rng: np.random.Generator, habits: tuple[Habit, ...] = HABITS, day: date = RECORDS_TO
) -> Repair:
    """Play one call as this workshop's technicians would, from the first visit to the end.

    Parameters
    ----------
    bench
        ``Bench(world)``; keep one for many calls, it remembers.
    day
        Of the first visit; a habit given up before it no longer strikes.
    """
    unit = Unit(0, call.kind, call.make, call.model, None, None, call.age_years, day)
    episode = live_through(bench, Episode(0, unit, call), day, rng, habits)
    visits = [record.visit for record in episode.records]
    fitted = [(part, price) for visit in visits for part, price in visit.parts]
    cures = bench.world.fault(call).parts
    return Repair(
        sum(visit.minutes for visit in visits),
        sum(price for _, price in fitted),
        len(visits),
        sum(part not in cures for part, _ in fitted),
        episode.state,
    )


def charges(visit: Visit) -> tuple[float, float]:
    """Labour charge and parts money of a visit."""
    if visit.outcome == "no access":
        return 0.0, 0.0
    labour = round((CALL_OUT + HOUR_RATE * visit.minutes / 60) * 2) / 2
    return labour, sum(price for _, price in visit.parts)


__all__ = ["RECORDS_FROM", "RECORDS_TO", "Episode", "Record", "Town", "Unit", "charges", "live_through"]
