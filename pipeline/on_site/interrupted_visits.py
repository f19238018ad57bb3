"""Visits broken off: kept in a file beside the workshop, and gone on with when the same call is asked again."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from pipeline.call.question import Call
from pipeline.errors import UsageError, shown
from pipeline.on_site.step_by_step import Event
from pipeline.store.atomic_write import whole

MOST = 50  # visits kept; the oldest go


def file_beside(db: Path) -> Path:
    """Where a workshop keeps them."""
    return db.with_name(f"{db.name.removesuffix('.duckdb')}.begun")


def events_of(file: Path, call: Call) -> tuple[dt.date, list[Event]] | None:
    """Return the day a visit of this very call was broken off, and what had happened; None = there is none.

    Raises
    ------
    UsageError
        The file is damaged.
    """
    found = _read(file).get(_name(call))
    if found is None:
        return None
    return dt.date.fromisoformat(found["on"]), [Event.from_json(event) for event in found["events"]]


def keep(file: Path, call: Call, events: Sequence[Event]) -> None:
    """Keep what happened so far; nothing of the call's own words is written, nor who the customer is."""
    name = _name(call)
    others = {other: visit for other, visit in _read(file).items() if other != name}
    kept = dict(list(others.items())[-MOST + 1 :])
    if events:
        kept[name] = {"on": dt.date.today().isoformat(), "events": [event.as_json() for event in events]}
    if kept or file.exists():
        with whole(file) as draft:
            draft.write_text(json.dumps(kept), encoding="utf-8")


def _name(call: Call) -> str:
    return hashlib.sha256(json.dumps(asdict(call), sort_keys=True, default=list).encode()).hexdigest()


def _read(file: Path) -> dict[str, dict]:  # type: ignore[type-arg]
    if not file.is_file():
        return {}
    try:
        kept = json.loads(file.read_text(encoding="utf-8"))
        assert isinstance(kept, dict)  # noqa: S101 - told below
    except (OSError, ValueError, AssertionError) as fault:
        raise UsageError(
            f"{shown(file.name)}, which keeps visits broken off, cannot be read.", "Remove it: those visits are lost."
        ) from fault
    return kept
