"""What is on record of this very unit: its visits, what was fitted, whether the call is a callback of ours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import DatabaseUnusable
from reports.render.wording import Sentence, Written, sentence, several

if TYPE_CHECKING:
    import duckdb

    from pipeline.settings import Settings
    from pipeline.store.database import Database

MOST_VISITS = 20
SHOWN_VISITS = 2
DAYS_A_YEAR = 365.25

UNITS = """
with
asked as (
    select
        unnest($number::integer[]) as number,
        unnest($serial::varchar[]) as serial,
        unnest($customer::varchar[]) as customer
),
told as (
    select appliance_id, visit_no_on_appliance, serial, customer_hash
    from visit_on_appliance
    join stage_visit using (visit_id)
),
unit as (
    select
        appliance_id,
        arg_max(serial, visit_no_on_appliance) as serial,
        arg_max(customer_hash, visit_no_on_appliance) as customer
    from told
    where appliance_id in (
        select appliance_id
        from told
        where serial in (select serial from asked where serial is not null)
            or customer_hash in (select customer from asked where customer is not null)
    )
    group by appliance_id
)
select asked.number, unit.appliance_id
from asked
join unit on unit.serial = asked.serial or unit.customer = asked.customer
"""  # what view appliance says, without working all units out: the last serial and customer told of one are its own

VISITS = """
with
asked as (
    select
        unnest($number::integer[]) as number,
        unnest($unit::bigint[]) as appliance_id,
        unnest($kind::varchar[]) as kind
),
past as (
    select asked.number, visit.*
    from asked
    join visit using (appliance_id, kind)
    where visit.visit_date <= $day
    qualify
        row_number() over (partition by asked.number order by visit.visit_date desc, visit.visit_id desc) <= $most
)
select
    past.number,
    past.job_no,
    past.visit_date,
    past.complaint,
    past.cause,
    past.outcome,
    past.technician,
    coalesce(
        (
            select list(distinct told.symptom order by told.symptom)
            from visit_symptom as told
            where told.visit_id = past.visit_id and not told.is_negated
        ),
        []
    ) as symptoms,
    coalesce(
        (
            select list(fitted.part order by fitted.part)
            from part_fitted as fitted
            where fitted.visit_id = past.visit_id
        ),
        []
    ) as parts,
    past.photos,
    past.age_years
from past
order by past.number, past.visit_date desc, past.visit_id desc
"""

OTHER_KIND = """
select unit.number, visit.kind, visit.make, count(*) as visits
from (select unnest($number::integer[]) as number, unnest($unit::bigint[]) as appliance_id) as unit
join visit using (appliance_id)
group by all
order by unit.number, visits desc, visit.kind
"""


@dataclass(frozen=True)
class Unit:
    """What a call says of which unit it is: serial or customer as told, kind and complaints as read."""

    serial: str | None
    customer: str | None
    kind: str
    symptoms: tuple[str, ...]


@dataclass(frozen=True)
class PastVisit:
    """One earlier visit to the unit.

    Attributes
    ----------
    job_no, visit_date, complaint, cause, outcome, technician
        As recorded; None = not recorded.
    symptoms
        Complaints understood.
    parts
        Parts fitted.
    days_ago
        Days from the visit to the day asked about.
    photos
        Links to photographs, as written; None = none.
    age_years
        Age of the unit then; None = not known.
    """

    job_no: str | None
    visit_date: dt.date
    complaint: str | None
    cause: str | None
    outcome: str
    technician: str | None
    symptoms: tuple[str, ...]
    parts: tuple[str, ...]
    days_ago: int
    photos: str | None = None
    age_years: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The visit with its day as text."""
        return {
            "job_no": self.job_no,
            "visit_date": self.visit_date.isoformat(),
            "days_ago": self.days_ago,
            "complaint": self.complaint,
            "cause": self.cause,
            "parts": list(self.parts),
            "outcome": self.outcome,
            "technician": self.technician,
            "photos": self.photos,
        }

    def line(self, day: str = "") -> Sentence:
        """The visit in one line; its day as given, else as figures."""
        complaint = Written(self.complaint) if self.complaint else sentence("answer.none_recorded")
        done = [sentence("answer.fitted", part=part) for part in self.parts] or [sentence("answer.no_part")]
        return sentence(
            "answer.past_visit",
            n=self.days_ago,
            date=Written(day or self.visit_date.isoformat()),
            complaint=complaint,
            done=done,
            outcome=self.outcome,
        )

    def lines(self, *, with_photos: bool) -> list[Sentence]:
        """The visit, and its photographs on a line of their own."""
        seen = [sentence("answer.photos", links=Written(self.photos))] if self.photos and with_photos else []
        return [self.line(), *seen]


@dataclass(frozen=True)
class UnitHistory:
    """The unit's earlier visits, newest first.

    Attributes
    ----------
    visits
        At most `MOST_VISITS`.
    is_callback
        The last repair is within the callback window and had a complaint or none in common with this call.
    guaranteed
        Parts fitted so lately that the workshop's own guarantee still holds.
    effect
        What the past does to the odds, in words; "" = nothing.
    """

    visits: tuple[PastVisit, ...] = ()
    is_callback: bool = False
    guaranteed: tuple[str, ...] = ()
    effect: str = ""

    def age_now(self) -> tuple[float, dt.date] | None:
        """Age of the unit by the last visit that knew it, years, and that visit's day; None = none knew it."""
        for visit in self.visits:
            if visit.age_years is not None:
                return visit.age_years + visit.days_ago / DAYS_A_YEAR, visit.visit_date
        return None

    def as_json(self) -> dict[str, Any]:
        """The visits, and what follows from them."""
        return {
            "visits": [visit.as_json() for visit in self.visits],
            "is_callback": self.is_callback,
            "under_our_guarantee": list(self.guaranteed),
            "effect": self.effect,
        }

    def lines(self, *, with_photos: bool = True) -> list[str]:
        """At most six lines for people, those of photographs included."""
        more = [sentence("answer.last_visits", n=SHOWN_VISITS)] if len(self.visits) > SHOWN_VISITS else []
        shown = [line for visit in self.visits[:SHOWN_VISITS] for line in visit.lines(with_photos=with_photos)]
        return [*self._head(more), *shown, *self._effect()]

    def summary(self) -> list[str]:
        """What `lines` says of all visits together."""
        return [*self._head([]), *self._effect()]

    def _head(self, more: list[Sentence]) -> list[str]:
        if not self.visits:
            return []
        head = [sentence("answer.this_unit", n=len(self.visits))]
        head += [sentence("answer.is_callback")] if self.is_callback else []
        head += [sentence("answer.guaranteed", parts=self.guaranteed)] if self.guaranteed else []
        return [several([*head, *more]) if more else sentence("answer.ends", said=several(head))]

    def _effect(self) -> list[str]:
        return [self.effect] if self.effect else []


def histories(
    database: Database, settings: Settings, units: Sequence[Unit], on: dt.date | None = None
) -> list[UnitHistory]:
    """Look up each unit, by serial, else by customer and kind.

    Parameters
    ----------
    units
        As told.
    on
        Day of the visits; None = today.

    Returns
    -------
    list of UnitHistory
        Empty where neither serial nor customer is told, or nothing is on record.
    """
    if not any(unit.serial or unit.customer for unit in units):
        return [UnitHistory()] * len(units)
    day = on or dt.date.today()
    named, nobody = _names(database, units)
    connection = database.connection
    of_call = _units(connection, named)
    visits = _visits(connection, of_call, units, day)
    lost = {call: ids for call, ids in of_call.items() if call not in visits}
    others = _of_other_kind(connection, lost)
    found = []
    for call, ((by_serial, by_person), unit) in enumerate(zip(named, units, strict=True)):
        if call in visits:
            found.append(_history(visits[call], unit, settings))
        elif by_serial:
            found.append(UnitHistory(effect=others.get(call, sentence("answer.no_visit_of_serial"))))
        else:
            found.append(nobody if by_person else UnitHistory())
    return found


Names = tuple[str | None, str | None]  # serial, else customer, by which a unit is looked up


def _names(database: Database, units: Sequence[Unit]) -> tuple[list[Names], UnitHistory]:
    """By what each unit is looked up, and what to tell of those that no customer's visit is found for."""
    import pandas as pd

    from pipeline.load.hashes import hash_customers, load_key
    from pipeline.load.identity import serial

    serials = serial(pd.Series([unit.serial or None for unit in units], dtype="str"))
    customers = pd.Series([unit.customer or None for unit in units], dtype="str")
    nobody = UnitHistory()
    if customers.notna().any():
        try:
            customers = hash_customers(customers, load_key(database.key_file))
        except DatabaseUnusable as fault:
            nobody = UnitHistory(effect=sentence("answer.not_looked_up", why=Written(fault.what)))
            customers = pd.Series([None] * len(units), dtype="str")
    told = [[one if isinstance(one, str) else None for one in pair] for pair in zip(serials, customers, strict=True)]
    return [(number, None if number else person) for number, person in told], nobody


def _units(connection: duckdb.DuckDBPyConnection, named: Sequence[Names]) -> dict[int, list[int]]:
    """Place of each call whose serial or customer is on record → units that are known by it."""
    asked = [(call, *names) for call, names in enumerate(named) if any(names)]
    found: dict[int, list[int]] = {}
    if asked:
        numbers, serials, customers = (list(column) for column in zip(*asked, strict=True))
        told = {"number": numbers, "serial": serials, "customer": customers}
        for call, unit in connection.execute(UNITS, told).fetchall():
            found.setdefault(call, []).append(unit)
    return found


def _of_other_kind(connection: duckdb.DuckDBPyConnection, of_call: Mapping[int, Sequence[int]]) -> dict[int, Sentence]:
    """What to tell of serial numbers that have no visit as the kind asked: as which kind they are on record."""
    told: dict[int, Sentence] = {}
    if of_call:
        for call, kind, make, count in connection.execute(OTHER_KIND, _flat(of_call)).fetchall():
            unit = several([kind, *([Written(make)] if make else [])], " ")
            told.setdefault(call, sentence("answer.other_kind_of_serial", unit=unit, n=count))
    return told


def _visits(
    connection: duckdb.DuckDBPyConnection, of_call: Mapping[int, Sequence[int]], units: Sequence[Unit], day: dt.date
) -> dict[int, tuple[PastVisit, ...]]:
    """Place of each call → visits to its unit as the kind it tells, newest first; calls without any are left out."""
    found: dict[int, tuple[PastVisit, ...]] = {}
    if of_call:
        told = _flat(of_call)
        kinds = [units[call].kind for call in told["number"]]
        rows = connection.execute(VISITS, {**told, "kind": kinds, "day": day, "most": MOST_VISITS}).fetchall()
        for call, job, date, complaint, cause, outcome, who, symptoms, parts, *more in rows:
            days = (day - date).days
            past = PastVisit(job, date, complaint, cause, outcome, who, tuple(symptoms), tuple(parts), days, *more)
            found[call] = (*found.get(call, ()), past)
    return found


def _flat(of_call: Mapping[int, Sequence[int]]) -> dict[str, list[Any]]:
    """Calls and their units as two columns."""
    pairs = [(call, unit) for call, ids in of_call.items() for unit in ids]
    return {"number": [call for call, _ in pairs], "unit": [unit for _, unit in pairs]}


def _history(visits: tuple[PastVisit, ...], unit: Unit, settings: Settings) -> UnitHistory:
    last = visits[0]
    shares = not unit.symptoms or not last.symptoms or bool(set(unit.symptoms) & set(last.symptoms))
    guaranteed = [part for v in visits if v.days_ago <= settings.guarantee_days for part in v.parts]
    is_callback = shares and last.days_ago <= settings.window_days and last.outcome in ("fixed", "not fixed", "unknown")
    return UnitHistory(visits, is_callback, tuple(dict.fromkeys(guaranteed)))
