"""What the figures should be by their definitions: verdict on every part, first-time fix with the future known."""

from __future__ import annotations

from datetime import date
from functools import cache

from demo_data.generator.history import RECORDS_FROM, RECORDS_TO, SAME_FAULT_DAYS, Episode, Record
from demo_data.generator.world import World

NOT_COUNTED = ("no access", "declined", "advice only")


def is_in_records(record: Record, as_of: date = RECORDS_TO) -> bool:
    """Tell whether the visit is in the records."""
    return RECORDS_FROM <= record.day <= as_of


def part_verdicts(episodes: list[Episode], as_of: date = RECORDS_TO) -> dict[tuple[int, int], str]:
    """Verdict of every part fitted within the records, by (id of its record, position among the visit's parts).

    Judged by what the records can show at ``as_of``: only a cure confirms a cause, and only when its follow-up is over.
    """
    verdicts: dict[tuple[int, int], str] = {}
    for episode in episodes:
        seen = [record for record in episode.records if is_in_records(record, as_of)]
        cure = seen[-1] if seen and episode.state == "cured" and seen[-1] is episode.records[-1] else None
        is_mature = cure is not None and (as_of - cure.day).days >= SAME_FAULT_DAYS
        cured_by = set(_world().fault(episode.call).parts)
        for number, record in enumerate(seen):
            later = {part for other in seen[number + 1 :] for part, _ in other.visit.parts}
            names = [part for part, _ in record.visit.parts]
            for position, part in enumerate(names):
                if part in later:
                    verdict = "fitted again"
                elif record is cure:
                    if not is_mature:
                        verdict = "still open"
                    elif len(set(names)) > 1 and not set(names) <= cured_by:
                        verdict = "shared credit"
                    else:
                        verdict = "cured" if part in cured_by else "not the cause"
                elif is_mature and record is not seen[-1] and part not in cured_by:
                    verdict = "not the cause"
                else:
                    verdict = "still open"
                verdicts[id(record), position] = verdict
    return verdicts


def first_time_fix(episodes: list[Episode]) -> dict[int, str]:
    """Status of every episode by its first attended visit, as the time after the records would show it.

    ``fixed first time``, ``not fixed first time``, ``not counted``, or ``left truncated``: begun before the records.
    """
    status: dict[int, str] = {}
    for episode in episodes:
        attended = next((n for n, record in enumerate(episode.records) if record.visit.outcome != "no access"), None)
        if episode.records[0].day < RECORDS_FROM:
            status[episode.episode_id] = "left truncated"
        elif attended is None or episode.records[attended].visit.outcome in NOT_COUNTED:
            status[episode.episode_id] = "not counted"
        else:
            first, later = episode.records[attended], episode.records[attended + 1 :]
            is_fixed = first.visit.outcome == "fixed"
            is_back = bool(later) and (later[0].day - first.day).days <= SAME_FAULT_DAYS
            status[episode.episode_id] = "fixed first time" if is_fixed and not is_back else "not fixed first time"
    return status


@cache
def _world() -> World:
    return World()
