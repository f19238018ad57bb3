"""What it is worth that older jobs weigh less, in a town whose odds change in mid-history and in one whose odds stay.

    python tests/benchmarks/half_life.py [--jobs 6000] [--years 10] [--seeds 1,2,3,4,5,6] [--choose-only]

Cured jobs of the demo's town straight from its simulation, their dates stretched over so many years; shares within
each complaint are dealt anew for the town, and where it changes once more half way through. The whole model learns from
the first four fifths by time and is asked about the rest. Log-loss in nats, ± one standard error: in a row of a seed
that of the gain over all jobs alike, job by job; in the last row that of the mean over the seeds. "exact" is the
posterior of the later world. ``--choose-only`` fits nothing and shows what would be chosen.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from demo_jobs import bent_world, cured_jobs, exact, losses  # noqa: E402

from demo_data.world import World  # noqa: E402
from models.backtest import in_order, new_classifier  # noqa: E402
from models.features import wide  # noqa: E402
from models.half_life import HALF_LIVES, choose, weigh  # noqa: E402
from pipeline.background import background  # noqa: E402
from pipeline.words import Words  # noqa: E402

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


def table(found: list[dict[str, np.ndarray | str]], seeds: list[int]) -> None:
    """Print the log-losses of one town, a row a seed, and their means."""
    ways = [name_of(years) for years in (None, *HALF_LIVES)]
    print(f"  {'seed':>6} {'asked':>6} {'none':>7}" + "".join(f"{way + ': loss, gain':>28}" for way in [*ways[1:], "chosen"])
          + f"{'exact':>9}")  # fmt: skip
    means = []
    for seed, one in zip(seeds, found, strict=True):
        loss = {way: one[way] for way in ways} | {"chosen": one[str(one["chosen"])]}
        gains = {way: loss["none"] - loss[way] for way in [*ways[1:], "chosen"]}
        shown = "".join(
            f"{loss[way].mean():11.3f} {gain.mean():+7.4f} ± {gain.std() / np.sqrt(len(gain)):.4f}"
            for way, gain in gains.items()
        )
        print(f"  {seed:>6} {len(loss['none']):6,d} {loss['none'].mean():7.3f}{shown}{one['exact'].mean():9.3f}"
              f"  chosen: {one['chosen']}")  # fmt: skip
        means.append(
            [
                loss["none"].mean(),
                one["exact"].mean(),
                *(v for way in gains for v in (loss[way].mean(), gains[way].mean())),
            ]
        )
    mean, error = np.mean(means, axis=0), np.std(means, axis=0, ddof=1) / np.sqrt(len(means))
    shown = "".join(f"{mean[k]:11.3f} {mean[k + 1]:+7.4f} ± {error[k + 1]:.4f}" for k in range(2, len(mean), 2))
    print(f"  {'mean':>6} {'':6} {mean[0]:7.3f}{shown}{mean[1]:9.3f}")


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
        found = []
        for seed in seeds:
            jobs, world = history(seed, given.jobs, given.years, changes=changes)
            found.append(compared(jobs, world, lists, fits=not given.choose_only))
            if given.choose_only:
                print(f"  {seed:>6}  chosen: {found[-1]['chosen']:5} ({found[-1]['tried']})", flush=True)
        if not given.choose_only:
            table(found, seeds)
        chosen = [str(one["chosen"]) for one in found]
        print(
            "  chosen: "
            + ", ".join(f"{name} in {chosen.count(name)} of {len(chosen)}" for name in dict.fromkeys(chosen))
        )


if __name__ == "__main__":
    main()
