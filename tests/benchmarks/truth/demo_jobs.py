"""Cured jobs of the demo's town straight from its simulation, words left out, in its own world or in a bent one."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable

import numpy as np
import pandas as pd

from demo_data.generator import writing
from demo_data.generator.history import RECORDS_FROM, RECORDS_TO, Episode, Town
from demo_data.generator.makes import FAMILIES
from demo_data.generator.technicians import HABITS, TECHNICIANS
from demo_data.generator.world import World

WRITES = {technician.name: technician.writes for technician in TECHNICIANS}
SPREAD = 0.7  # of the log of a share, where shares are bent
NEVER = 1e-6


def bent_world(how: str, seed: int) -> World:
    """Return the demo's world, its shares within each complaint left ``as listed``, ``bent`` or ``shuffled``."""
    world, rng = World(), np.random.default_rng([seed, 77])
    for kind in world.kinds:
        odds = world.odds[kind]
        block = np.array([fault.block for fault in odds.faults])
        rate = odds.rate * (np.exp(rng.normal(0, SPREAD, len(block))) if how == "bent" else 1.0)
        for one in dict.fromkeys(block):
            mine = np.flatnonzero(block == one)
            if how == "shuffled":
                rate[mine] = rate[rng.permutation(mine)]
            rate[mine] *= odds.rate[mine].sum() / rate[mine].sum()
        world.odds[kind] = dataclasses.replace(odds, rate=rate)
    return world


def cured_jobs(world: World, seed: int, number: int) -> pd.DataFrame:
    """At least ``number`` cured jobs as the table ``cause_example`` holds them, in order of time; the first of them."""
    episodes = Town(world, seed, round(number * 1.9) + 60, HABITS).simulate()
    rng = np.random.default_rng([seed, 5])
    rows = [row for episode in episodes if (row := _example(world, episode, rng))]
    frame = pd.DataFrame(rows).sort_values(["cure_date", "episode_id"], ignore_index=True)
    return frame.iloc[:number]


def _example(world: World, episode: Episode, rng: np.random.Generator) -> dict[str, object] | None:
    records, call = episode.records, episode.call
    believed = records[-1].visit.believed
    in_records = records[0].day >= RECORDS_FROM and records[-1].day <= RECORDS_TO
    if episode.state != "cured" or believed is None or not in_records:
        return None
    found: dict[str, str] = {}
    for record in records:
        found |= {f: v for f, v in record.visit.found.items() if rng.random() < WRITES[record.visit.technician]}
    code = next((record.code for record in records if record.code), None)
    family = next(name for name in FAMILIES if name in call.model)
    return {
        "episode_id": episode.episode_id,
        "kind": call.kind,
        "make": episode.unit.make,
        "model_family": None if rng.random() < 0.03 else call.model[:2] + family,
        "age_years": writing.age(rng, episode.unit.age(records[0].day), records[0].day.year)[1],
        "symptoms": sorted({symptom for record in records for symptom, is_said in record.told.items() if is_said}),
        "codes": [code] if code else [],
        "findings": sorted(f"{finding}={value}" for finding, value in found.items()),
        "cause": world.odds[call.kind].faults[believed].cause,
        "cure_date": pd.Timestamp(records[-1].day),
    }


def exact(world: World, jobs: pd.DataFrame) -> list[dict[str, float]]:
    """Exact posterior of each job, given what the table holds."""
    return [
        world.posterior(
            job.kind,
            job.make if isinstance(job.make, str) else None,
            job.model_family if isinstance(job.model_family, str) else None,
            job.age_years,
            list(job.symptoms),
            job.codes[0] if len(job.codes) else None,
            dict(entry.split("=", 1) for entry in job.findings),
            month=job.cure_date.month,
        )
        for job in jobs.itertuples()
    ]


def losses(odds: Iterable[dict[str, float]], causes: Iterable[str]) -> np.ndarray:
    """Log-loss of each job, nats."""
    return np.array([-np.log(max(chances.get(cause, 0.0), NEVER)) for chances, cause in zip(odds, causes, strict=True)])


def hits(odds: Iterable[dict[str, float]], causes: Iterable[str]) -> np.ndarray:
    """Whether the likeliest cause is the true one."""
    pairs = zip(odds, causes, strict=True)
    return np.array([max(chances, key=lambda c: (chances[c], c)) == cause for chances, cause in pairs])
