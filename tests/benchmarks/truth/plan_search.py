"""How near the planner's search comes to one with ten times the points, and whether any forced first step is cheaper.

    python -m tests.benchmarks.truth.plan_search WORKSHOP.duckdb [--calls 100] [--random 300] [--seed 1]

Calls are drawn from the demo's world and put with the workshop's own odds; random problems have 3 to 7 causes and 2 to
6 checks. Times are processor time of one plan, odds and records at hand.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from models.plan.machine import Machine, Prices
from models.plan.plan import POINTS, make_plan
from models.plan.problem import Action, Check, Look, Problem
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.visit import plan as visits
from pipeline.visit.circumstances import circumstances
from pipeline.visit.problem import problem, worth_trying
from pipeline.words import Words
from tests.benchmarks.truth.plan import Town, drawn_calls


def of_calls(database: Database, count: int, seed: int) -> list[Problem]:
    """Problems of calls of the demo's world."""
    town = Town(database, Words.load(), Settings())
    problems = []
    for one in town.asked(drawn_calls(town.world, count, seed)):
        odds = visits.likely(one.odds.causes)
        call = circumstances(one.question, one.costs.trade)
        acts = tuple(worth_trying(one.costs, odds, call))
        in_van = {row.part for row in visits.carry_list(odds, acts, one.costs) if row.worth_it}
        problems.append(problem(one.costs, odds, one.costs.trade.checks, acts, Machine(), in_van, call))
    return problems


def at_random(count: int, seed: int) -> list[Problem]:
    """Problems of 3 to 7 causes, one more that no repair cures, some behind a panel, some parts to be looked at."""
    rng = np.random.default_rng(seed)
    problems = []
    for _ in range(count):
        causes, checks = int(rng.integers(3, 8)), int(rng.integers(2, 7))
        panel = [frozenset({"panel"}) if rng.random() < 0.3 else frozenset[str]() for _ in range(causes + checks)]
        looks = []
        for k in range(checks):
            outcomes = int(rng.integers(2, 4))
            likelihood = rng.dirichlet(np.full(outcomes, 0.5), size=causes + 1)
            looks.append(Check(f"look {k}", rng.uniform(1, 20), tuple("abc"[:outcomes]), likelihood, panel[k]))
        repairs = [
            Action(
                f"repair {i}",
                rng.uniform(5, 100),
                np.eye(causes + 1)[i],
                panel[checks + i],
                rng.uniform(0, 40),
                Look(rng.uniform(1, 12), 0.1) if rng.random() < 0.5 else None,
            )
            for i in range(causes)
        ]
        names = tuple(map(str, range(causes + 1)))
        handover = 120 + np.append(rng.uniform(0, 80, causes), 60)
        odds = rng.dirichlet(np.full(causes + 1, 0.8))
        problems.append(
            Problem(names, odds, tuple(looks), tuple(repairs), handover, Prices({"panel": 8.0}, {"panel": 8.0}))
        )
    return problems


def told(name: str, asked: list[Problem], forced: int) -> None:
    """Print how far the plans are from better ones, and what they took."""
    over, times, cheaper = [], [], []
    for number, one in enumerate(asked):
        start = time.process_time()
        plan = make_plan(one)
        times.append(time.process_time() - start)
        long = make_plan(one, points=10 * POINTS, tolerance=0.0005)
        over.append(plan.cost / min(plan.cost, long.cost) - 1)
        if number < forced:
            names = [step.name for step in (*plan.problem.checks, *plan.problem.actions)]
            cheaper.append(1 - min(make_plan(replace(one, due=name)).cost for name in names) / plan.cost)
    share, milliseconds = np.array(over), 1000 * np.array(times)
    print(
        f"{name}: {len(asked)} plans, dearer than with ten times the points by {share.mean():.2%} "
        f"(95% under {np.quantile(share, 0.95):.2%}, most {share.max():.2%}, {(share > 0.01).mean():.0%} by over 1%); "
        f"median {np.median(milliseconds):.0f} ms, 95% under {np.quantile(milliseconds, 0.95):.0f} ms"
    )
    if cheaper:
        found = np.array(cheaper)
        print(
            f"  a forced first step is cheaper by over 1% in {(found > 0.01).sum()} of {len(found)}, at most {found.max():.2%}"
        )


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workshop")
    parser.add_argument("--calls", type=int, default=100)
    parser.add_argument("--random", type=int, default=300)
    parser.add_argument("--forced", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with Database.open(given.workshop, read_only=True) as database:
        told("calls of the demo", of_calls(database, given.calls, given.seed), given.forced)
    told("random problems", at_random(given.random, given.seed), given.forced)


if __name__ == "__main__":
    main()
