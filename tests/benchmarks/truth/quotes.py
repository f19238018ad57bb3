"""How often later jobs come to what their quotes said, with and without what earlier later jobs taught.

    python -m tests.benchmarks.truth.quotes WORKSHOP.duckdb [--jobs 800]

The model of the workshop's exam is asked about the jobs it has not seen, in four parts by time: what each of the last
three is told (with the records of the day it begins) is moved by what all jobs before it taught. Errors are binomial
standard errors. Views are made in the file for a moment: use a copy.
"""

from __future__ import annotations

import argparse
import itertools

import numpy as np

from models.causes import storage
from models.plan.quote import brought_into_line, shifted
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.train.examples import examples
from pipeline.train.versions import EXAM, name_in_use, storage_folder
from pipeline.visit.later_jobs import Learned, Told, learned_of, spread, told_of
from pipeline.words import Words

PARTS = 4


def shares(ranges: np.ndarray, came: np.ndarray) -> str:
    """Share of jobs within P10 and P90, below, above, and up to P50."""
    known = np.isfinite(came)
    (low, middle, high), came = ranges[known].T, came[known]
    within = (came >= low) & (came <= high)
    error = np.sqrt(within.mean() * (1 - within.mean()) / len(came))
    return (
        f"within {within.mean():.1%} ± {error:.1%}, below P10 {(came < low).mean():.1%}, above P90 "
        f"{(came > high).mean():.1%}, up to P50 {(came <= middle).mean():.1%}; width {np.mean(high - low):.1f} (n {len(came)})"
    )


def rolled(database: Database, most: int) -> list[tuple[Told, Learned]]:
    """Each job told, with what the jobs before its part taught."""
    words, settings = Words.load(), Settings()
    folder = storage_folder(database, str(name_in_use(database)))
    model, cut = storage.open_model(folder / EXAM), storage.read_card(folder)["exam_learned_to"]
    jobs = examples(database)
    jobs = spread(jobs[jobs["cure_date"].astype(str).str[:10] > cut], most)
    day = jobs["cure_date"].astype(str).str[:10]
    ends = [cut, *(sorted(day)[len(day) * k // PARTS - 1] for k in range(1, PARTS + 1))]
    seen: list[Told] = []
    rows = []
    for start, end in itertools.pairwise(ends):
        learned = learned_of(seen)
        told = told_of(database, words, settings, model, jobs[(day > start) & (day <= end)], start)
        rows += [(one, learned) for one in told if seen]
        seen += told
    return rows


def main() -> None:
    """Print the shares."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workshop")
    parser.add_argument("--jobs", type=int, default=800)
    given = parser.parse_args()
    with Database.open(given.workshop) as database:
        rows = rolled(database, given.jobs)
    for name in ("money", "minutes", "parts"):
        came = np.array([one.came_to[name] for one, _ in rows])
        print(f"{name}, as it was: {shares(np.array([one.quote[name] for one, _ in rows]), came)}")
        moved = np.array([shifted(one.quote[name], learned.shifts.get(name, ())) for one, learned in rows])
        print(f"{name}, taught:    {shares(moved, came)}")
    was = np.array([one.was_at_hand for one, _ in rows])
    for what, chance in (
        ("as it was", np.array([one.at_hand for one, _ in rows])),
        ("taught", np.array([brought_into_line(one.at_hand, learned.parts_at_hand) for one, learned in rows])),
    ):
        error = np.sqrt((chance * (1 - chance)).sum()) / len(chance)
        fours = len(was) // 4 * 4
        groups, alls = was[:fours].reshape(-1, 4).all(axis=1), chance[:fours].reshape(-1, 4).prod(axis=1)
        print(
            f"parts at hand, {what}: told {chance.mean():.1%}, were {was.mean():.1%} ± {error:.1%}; all of four calls: "
            f"told {alls.mean():.1%}, were {groups.mean():.1%} ± {np.sqrt((alls * (1 - alls)).sum()) / len(alls):.1%}"
        )


if __name__ == "__main__":
    main()
