"""What it is worth that older jobs weigh less, in a town whose odds change in mid-history and in one whose odds stay.

    python -m tests.benchmarks.truth.half_life [--jobs 6000] [--years 10] [--seeds 1,2,3,4,5,6] [--choose-only]

Cured jobs of the demo's town straight from its simulation, their dates stretched over so many years; shares within
each complaint are dealt anew for the town, and where it changes once more half way through. The whole model learns from
the first four fifths by time and is asked about the rest. Log-loss in nats, ± one standard error: in a row of a seed
that of the gain over all jobs alike, job by job; in the last row that of the mean over the seeds. "exact" is the
posterior of the later world. ``--choose-only`` fits nothing and shows what would be chosen.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from demo_data.generator.world import World
from models.causes.features import wide
from models.causes.half_life import HALF_LIVES, choose, weigh
from models.evaluate.backtest import in_order, new_classifier
from pipeline.train.word_background import background
from pipeline.words import Words
from tests.benchmarks.truth.demo_jobs import bent_world, cured_jobs, exact, losses

LEARNED = 0.8
LATER_WORLD = 100  # added to the seed of a town that changes


def history(seed: int, number: int, years: float, *, changes: bool) -> tuple[pd.DataFrame, World]:
    """Jobs in order of time, and the world of the later half."""
    world = bent_world("shuffled", seed)
    jobs = cured_jobs(world, seed, number)
    if changes:
        world = bent_world("shuffled", seed + LATER_WORLD)
        later = cured_jobs(world, seed + LATER_WORLD, number)
        turn = jobs["cure_date"].min() + (jobs["cure_date"].max() - jobs["cure_date"].min()) / 2
        jobs = in_order(pd.concat([jobs[jobs["cure_date"] < turn], later[later["cure_date"] >= turn]]))
    end, span = jobs["cure_date"].max(), jobs["cure_date"].max() - jobs["cure_date"].min()
    stretch = years * 365.25 / span.days
    return jobs.assign(cure_date=(end - (end - jobs["cure_date"]) * stretch).dt.floor("D")), world


def compared(jobs: pd.DataFrame, world: World, lists: pd.DataFrame, *, fits: bool) -> dict[str, np.ndarray | str]:
    """Losses of the later jobs under each half-life, and which was chosen."""
    cut = int(len(jobs) * LEARNED)
    facts, past, asked = wide(jobs), jobs.iloc[:cut], jobs.iloc[cut:]
    told = choose(facts.iloc[:cut], past["cause"], past["cure_date"], lists)
    tried = ", ".join(f"{row['years']:g} y {row['gain']:+.4f} ± {row['error']:.4f}" for row in told["tried"])
    found: dict[str, np.ndarray | str] = {"chosen": name_of(told["years"]), "tried": tried}
    if fits:
        for years in (None, *HALF_LIVES):
            fitted = new_classifier(lists).fit(facts.iloc[:cut], past["cause"], weigh(past["cure_date"], years))
            chances = fitted.predict_proba(facts.iloc[cut:].reset_index(drop=True))
            odds = [dict(zip(fitted.classes_.tolist(), row, strict=True)) for row in chances.tolist()]
            found[name_of(years)] = losses(odds, asked["cause"])
        found["exact"] = losses(exact(world, asked), asked["cause"])
    return found


def name_of(years: float | None) -> str:
    """Heading of a half-life."""
    return "none" if years is None else f"{years:g} y"


def scored(found: dict[str, np.ndarray | str]) -> pd.DataFrame:
    """One row a way of weighing: loss, gain over all jobs alike and its standard error."""
    ways = {way: found[way] for way in (name_of(None), *map(name_of, HALF_LIVES))} | {"chosen": found[found["chosen"]]}
    gains = {way: ways["none"] - loss for way, loss in ways.items()}
    rows = {way: (ways[way].mean(), gain.mean(), gain.std() / np.sqrt(len(gain))) for way, gain in gains.items()}
    return pd.DataFrame.from_dict(rows, orient="index", columns=["loss", "gain", "error"])


def line(name: str, table: pd.DataFrame, exact_loss: float, chosen: str = "") -> None:
    """Print a row."""
    cells = "".join(f"  {way}: {r.loss:.3f} ({r.gain:+.4f} ± {r.error:.4f})" for way, r in table[1:].iterrows())
    print(f"  {name:>6}  none: {table['loss'].iloc[0]:.3f}{cells}  exact: {exact_loss:.3f}  {chosen}", flush=True)


def main() -> None:
    """Print the tables."""
    asked_for = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked_for.add_argument("--jobs", type=int, default=6000)
    asked_for.add_argument("--years", type=float, default=10)
    asked_for.add_argument("--seeds", default="1,2,3,4,5,6")
    asked_for.add_argument("--choose-only", action="store_true")
    given = asked_for.parse_args()
    lists, seeds = background(Words.load()), [int(seed) for seed in given.seeds.split(",")]
    for changes in (True, False):
        print(f"{given.jobs:,} jobs over {given.years:g} years, odds {'change half way' if changes else 'stay'}")
        chosen, tables, limits = [], [], []
        for seed in seeds:
            jobs, world = history(seed, given.jobs, given.years, changes=changes)
            found = compared(jobs, world, lists, fits=not given.choose_only)
            chosen.append(str(found["chosen"]))
            if given.choose_only:
                print(f"  {seed:>6}  chosen: {chosen[-1]:5} ({found['tried']})", flush=True)
                continue
            tables.append(scored(found))
            limits.append(found["exact"].mean())
            line(str(seed), tables[-1], limits[-1], f"chosen: {chosen[-1]}")
        if tables:
            mean = sum(tables) / len(tables)
            spread = np.std([table["gain"] for table in tables], axis=0, ddof=1) / np.sqrt(len(tables))
            line("mean", mean.assign(error=spread), float(np.mean(limits)))
        counts = ", ".join(f"{name} in {chosen.count(name)} of {len(chosen)}" for name in dict.fromkeys(chosen))
        print(f"  chosen: {counts}")


if __name__ == "__main__":
    main()
