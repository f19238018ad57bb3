"""The jobs behind each figure: which lists there are, and the jobs as a page stores them, each once."""

from __future__ import annotations

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
        for episode, kind, make, model, complaint in zip(
            *(units[name].to_numpy(dtype=object) for name in columns), strict=True
        )
    }


def _visits(visits: pd.DataFrame, wording: Wording) -> dict[int, list[list[str]]]:
    made: dict[int, list[list[str]]] = {}
    columns = ("episode_id", "visit_date", "job_no", "technician", "outcome", "cause", "parts", "money")
    for episode, date, job_no, who, outcome, cause, parts, money in zip(
        *(visits[name].to_numpy(dtype=object) for name in columns), strict=True
    ):
        told = [
            wording.date(date),
            plain(job_no, 24) or "–",
            plain(who, 40) if isinstance(who, str) else "–",
            _happened(outcome, cause, parts, wording),
            wording.money(money) if money == money and money is not None else "",
        ]
        made.setdefault(episode, []).append(told)
    return made


def _happened(outcome: object, cause: object, parts: object, wording: Wording) -> str:
    text = wording.term(outcome)
    if isinstance(cause, str):
        text += f": {wording.term(cause)}"
    if isinstance(parts, str):
        text += f" [{', '.join(wording.term(part) for part in parts.split(chr(31)))}]"
    return text
