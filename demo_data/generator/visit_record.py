"""One visit as it stands in the records: what truly happened, put into the words of a technician in a hurry."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from demo_data.generator import writing
from demo_data.generator.history import RECORDS_FROM, RECORDS_TO, Record, charges
from demo_data.generator.technicians import HABITS, TECHNICIANS

if TYPE_CHECKING:
    import numpy as np

    from demo_data.generator.world import World

Row = dict[str, Any]  # one visit as written, by column; keys that start with "_" are the truth of what was written
WRITES = {technician.name: technician.writes for technician in TECHNICIANS}
COLUMNS = (
    "visit_date", "appliance_kind", "job_no", "customer_ref", "make", "model", "serial", "age", "complaint",
    "fault_code",
    "findings", "cause", "work_done", "parts", "outcome", "technician", "minutes", "labour_charge", "parts_cost",
    "callback_of",
)  # fmt: skip


def visit(rng: np.random.Generator, world: World, record: Record, numbers: dict[tuple[int, int], str]) -> Row:
    """Word one visit; keys that start with ``_`` are the truth of what was written."""
    went, unit, call = record.visit, record.unit, record.call
    is_return_with_part = record.reason == "with part" and rng.random() < 0.6
    text, told = _complaint(rng, record, is_return_with_part=is_return_with_part)
    reasons = next((habit.findings for habit in HABITS if habit.name == went.habit), {})
    found = {f: v for f, v in went.found.items() if rng.random() < (0.85 if f in reasons else WRITES[went.technician])}
    believed, cause_text = _cause(rng, world, record)
    age_text, age_told = writing.age(rng, unit.age(record.day), record.day.year)
    labour, parts_cost = charges(went)
    done = writing.done(rng, went.outcome)
    done = ", ".join(filter(None, [*went.actions, done])) if rng.random() < 0.7 else done
    shown = record.code if not is_return_with_part else None
    parts = [(part, writing.part_line(rng, part, price), price) for part, price in went.parts]
    return {
        "visit_date": record.day.isoformat(),
        "appliance_kind": writing.kind(rng, call.kind),
        "job_no": numbers[record.episode_id, record.job],
        "customer_ref": unit.customer or "",
        "make": writing.make(rng, unit.make),
        "model": writing.model(rng, unit.model) if rng.random() < 0.97 or unit.serial is None else "",
        "serial": writing.serial(rng, unit.serial) if unit.serial and rng.random() < 0.985 else "",
        "age": age_text,
        "complaint": text,
        "fault_code": writing.code(rng, shown) if shown else "",
        "findings": writing.findings(rng, found) if found else "",
        "cause": cause_text,
        "work_done": done,
        "parts": _parts_text(rng, [line for _, line, _ in parts]),
        "outcome": writing.outcome(rng, went.outcome),
        "technician": went.technician,
        "minutes": writing.duration(rng, round(went.minutes)),
        "labour_charge": writing.money(rng, labour) if labour else "",
        "parts_cost": writing.money(rng, parts_cost) if parts_cost else "",
        "callback_of": "" if record.returns_to is None else numbers[record.episode_id, record.returns_to],
        "_record": record,
        "_entered": _entered(rng, record.day),
        "_told": told,
        "_age": age_told,
        "_code": shown or "",
        "_found": found,
        "_cause": believed,
        "_doubt": bool(believed and went.is_doubtful),
        "_outcome": went.outcome,
        "_minutes": round(went.minutes),
        "_labour": labour,
        "_parts": parts,
    }


def _complaint(rng: np.random.Generator, record: Record, *, is_return_with_part: bool) -> tuple[str, dict[str, str]]:
    """The complaint as written, and what it tells."""
    if is_return_with_part:
        text = ("", "return to fit part", "parts arrived, fit and test", "fit part on order")[int(rng.integers(4))]
        told: dict[str, str] = {}
    else:
        call = record.call
        text, told = writing.complaint(rng, call.kind, record.told, record.code is not None, call.manners)
    if rng.random() < 0.008:
        text += f", tel 07700 900{int(rng.integers(100, 1000))}"
    return text, told


def _cause(rng: np.random.Generator, world: World, record: Record) -> tuple[str, str]:
    """The cause that is written down, and its wording; both empty where none is."""
    went = record.visit
    if went.believed is None or went.outcome in ("no access", "no fault found"):
        return "", ""
    is_end = went.outcome in ("fixed", "beyond economic repair", "declined")
    if rng.random() >= (0.995 if went.parts else 0.97 if is_end else 0.8):
        return "", ""
    cause = world.odds[record.call.kind].faults[went.believed].cause
    return cause, writing.cause(rng, cause, went.is_doubtful)


def _parts_text(rng: np.random.Generator, lines: list[str]) -> str:
    if not lines:
        return ("", "", "", "", "no parts", "none", "-")[int(rng.integers(7))]
    return ("; ", "; ", " + ")[int(rng.integers(3))].join(lines)


def gas_visits(rng: np.random.Generator, count: int) -> list[Row]:
    """Gas appliances: never repaired here, made safe or referred."""
    rows: list[Row] = []
    for number in range(count):
        day = RECORDS_FROM + timedelta(days=int(rng.integers((RECORDS_TO - RECORDS_FROM).days)))
        outcome = ("made safe", "advice only")[int(rng.random() < 0.4)]
        row = dict.fromkeys(COLUMNS, "") | {
            "visit_date": day.isoformat(),
            "appliance_kind": writing.kind(rng, "gas appliance"),
            "job_no": f"G-{number + 1:03d}",
            "customer_ref": f"C-{90000 + number}",
            "make": "Ferrowick",
            "model": f"FG{320 + number}",
            "complaint": ("burner not lighting", "smell of gas", "flame goes out", "ignition not working")[
                int(rng.integers(4))
            ],
            "work_done": writing.done(rng, outcome),
            "outcome": writing.outcome(rng, outcome),
            "technician": TECHNICIANS[int(rng.integers(len(TECHNICIANS)))].name,
            "minutes": "20",
            "labour_charge": "30.00",
        }
        rows.append(row | {"_record": None, "_entered": day.isoformat(), "_told": {}, "_age": float("nan"),
                           "_code": "", "_found": {},
                           "_cause": "", "_doubt": False, "_outcome": outcome, "_minutes": 20, "_labour": 30.0,
                           "_parts": []})  # fmt: skip
    return rows


def _entered(rng: np.random.Generator, day: date) -> str:
    """Day on which the visit was typed in: now and then weeks late, so that lines are out of order."""
    return (day + timedelta(days=int(rng.integers(5, 25)) if rng.random() < 0.01 else 0)).isoformat()
