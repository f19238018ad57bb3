"""What is on record of this very unit: its visits, what was fitted, whether the call is a callback of ours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
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
select appliance_id
from visit_on_appliance
join stage_visit using (visit_id)
where appliance_id in (
    select appliance_id
    from visit_on_appliance
    join stage_visit using (visit_id)
    where serial = $serial or customer_hash = $customer
)
group by appliance_id
having
    arg_max(serial, visit_no_on_appliance) = $serial
    or arg_max(customer_hash, visit_no_on_appliance) = $customer
"""  # what view appliance says, without working all units out: the last serial and customer told of one are its own


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
    import pandas as pd

    from pipeline.load.hashes import hash_customers, load_key
    from pipeline.load.identity import serial

    day = on or dt.date.today()
    serials = serial(pd.Series([unit.serial or None for unit in units], dtype="str"))
    customers = pd.Series([unit.customer or None for unit in units], dtype="str")
    nobody = UnitHistory()
    if customers.notna().any():
        try:
            customers = hash_customers(customers, load_key(database.key_file))
        except DatabaseUnusable as fault:
            nobody = UnitHistory(effect=sentence("answer.not_looked_up", why=Written(fault.what)))
            customers = pd.Series([None] * len(units), dtype="str")
    found = []
    for number, person, unit in zip(serials, customers, units, strict=True):
        by_serial = number if isinstance(number, str) else None
        by_person = person if isinstance(person, str) and by_serial is None else None
        is_named = by_serial or by_person
        visits = _visits(database.connection, by_serial, by_person, unit.kind, day) if is_named else ()
        unknown = UnitHistory(effect=_of_other_kind(database.connection, by_serial)) if by_serial else UnitHistory()
        found.append(_history(visits, unit, settings) if visits else nobody if by_person else unknown)
    return found


def _of_other_kind(connection: duckdb.DuckDBPyConnection, serial: str) -> Sentence:
    """What to tell of a serial number that has no visit as this kind: as which kind it is on record, if at all."""
    kinds = connection.execute(
        f"select kind, make, count(*) from visit where appliance_id in ({UNITS}) group by all order by 3 desc, 1",
        {"serial": serial, "customer": None},
    ).fetchall()
    if not kinds:
        return sentence("answer.no_visit_of_serial")
    kind, make, count = kinds[0]
    unit = several([kind, *([Written(make)] if make else [])], " ")
    return sentence("answer.other_kind_of_serial", unit=unit, n=count)


def _visits(
    connection: duckdb.DuckDBPyConnection, serial: str | None, customer: str | None, kind: str, day: dt.date
) -> tuple[PastVisit, ...]:
    units = connection.execute(UNITS, {"serial": serial, "customer": customer}).fetchall()
    if not units:
        return ()
    rows = connection.execute(
        "select v.job_no, v.visit_date, v.complaint, v.cause, v.outcome, v.technician, "
        "coalesce((select list(distinct symptom order by symptom) from visit_symptom as s "
        "where s.visit_id = v.visit_id and not s.is_negated), []), "
        "coalesce((select list(part order by part) from part_fitted as p where p.visit_id = v.visit_id), []), "
        "v.photos, v.age_years "
        "from visit as v where v.kind = $kind and v.visit_date <= $day and v.appliance_id in (select unnest($units)) "
        "order by v.visit_date desc, v.visit_id desc limit $most",
        {"kind": kind, "day": day, "units": [unit for (unit,) in units], "most": MOST_VISITS},
    ).fetchall()
    return tuple(
        PastVisit(job, date, complaint, cause, outcome, who, tuple(symptoms), tuple(parts), (day - date).days, *more)
        for job, date, complaint, cause, outcome, who, symptoms, parts, *more in rows
    )


def _history(visits: tuple[PastVisit, ...], unit: Unit, settings: Settings) -> UnitHistory:
    last = visits[0]
    shares = not unit.symptoms or not last.symptoms or bool(set(unit.symptoms) & set(last.symptoms))
    guaranteed = [part for v in visits if v.days_ago <= settings.guarantee_days for part in v.parts]
    is_callback = shares and last.days_ago <= settings.window_days and last.outcome in ("fixed", "not fixed", "unknown")
    return UnitHistory(visits, is_callback, tuple(dict.fromkeys(guaranteed)))
