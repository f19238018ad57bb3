"""The jobs behind each figure: which lists there are, and the jobs as a page stores them, each once."""

from __future__ import annotations

from functools import lru_cache
from itertools import chain
from typing import Any

import pandas as pd

from reports.render.plain_text import plain
from reports.render.wording import Wording


def job_block(
    lists: pd.DataFrame, units: pd.DataFrame, visits: pd.DataFrame, titles: dict[str, str], wording: Wording
) -> dict[str, Any]:
    """Make the block of jobs that the page's script shows on demand.

    Parameters
    ----------
    lists
        One row a figure and fault: key, episode_id, total (faults behind the figure, also those left out), in order.
    units
        One row a fault: episode_id, kind, make, model, complaint (as told).
    visits
        One row a visit of these faults, in order: episode_id, visit_date, job_no, technician, outcome, cause, parts,
        money (cost of its parts that were not the cause).
    titles
        Key -> heading of its list. Lists without a heading are left out.
    wording
        Language of the page.

    Returns
    -------
    dict
        ``rows``: [unit, complaint, [[date, job, technician, what happened, money], ...]] a fault; ``lists``: key ->
        title, note, rows.
    """
    faults_of: dict[str, list[int]] = {}
    totals: dict[str, int] = {}
    for key, episode, total in zip(*(lists[name].tolist() for name in ("key", "episode_id", "total")), strict=True):
        if key in titles:
            faults_of.setdefault(key, []).append(episode)
            totals.setdefault(key, int(total))
    place = {episode: number for number, episode in enumerate(dict.fromkeys(chain.from_iterable(faults_of.values())))}
    visits_of, told = _visits(visits, wording), _told(units, wording)
    return {
        "rows": [[*told[episode], visits_of.get(episode, [])] for episode in place],
        "lists": {
            key: {
                "title": titles[key],
                "note": _note(totals[key], totals[key] - len(faults), wording),
                "rows": [place[episode] for episode in faults],
            }
            for key, faults in faults_of.items()
        },
    }


def _note(total: int, left_out: int, wording: Wording) -> str:
    note = wording.say("page.jobs_shown", n=total)
    return note + f"; {wording.say('page.more_jobs', n=left_out, table='first_time_fix')}" if left_out > 0 else note


def _told(units: pd.DataFrame, wording: Wording) -> dict[int, list[str]]:
    """Unit and complaint of each fault."""
    columns = ("episode_id", "kind", "make", "model", "complaint")
    return {
        episode: [
            " ".join(text for text in (plain(make, 40), wording.term(kind), plain(model, 40)) if text),
            plain(complaint, 160),
        ]
        for episode, kind, make, model, complaint in zip(*(units[name].tolist() for name in columns), strict=True)
    }


def _visits(visits: pd.DataFrame, wording: Wording) -> dict[int, list[list[str]]]:
    made: dict[int, list[list[str]]] = {}
    columns = ("episode_id", "visit_date", "job_no", "technician", "outcome", "cause", "parts", "money")
    cells = visits[list(columns)].astype(object)
    for episode, *told in cells.where(cells.notna(), None).itertuples(index=False, name=None):
        made.setdefault(episode, []).append(_visit(wording, *told))
    return made


@lru_cache(maxsize=20_000)  # the same visits stand behind figures of many months
def _visit(
    wording: Wording,
    date: Any,
    job_no: str | None,
    who: str | None,
    outcome: str,
    cause: str | None,
    parts: str | None,
    money: float | None,
) -> list[str]:
    happened = wording.term(outcome)
    if cause is not None:
        happened += f": {wording.term(cause)}"
    if parts is not None:
        happened += f" [{', '.join(wording.term(part) for part in parts.split(chr(31)))}]"
    return [
        wording.date(date),
        plain(job_no, 24) or "–",
        plain(who, 40) or "–",
        happened,
        "" if money is None else wording.money(money),
    ]
