"""How right the tables and the advice are against made workshops whose truth is known.

Run: python -m tests.benchmarks.truth.made_towns [records | provisional | habits] [WORLDS] [VISITS]

records (3 worlds of 6,000 visits): pairwise F1 of episodes with and without serials, verdicts right on mature episodes,
first-time-fix counts of the months that are over. provisional (50): how often the estimate of an open month holds the
rate that month will end with. habits (20): planted habits found, and worlds without any habit in which advice is given.
The records are laid straight into the stage tables, so reading and wording of text take no part.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pandas as pd

from demo_data.generator.make import make_world_files
from demo_data.generator.technicians import HABITS
from demo_data.generator.world import World
from models.statistics.survival import provisional_rate
from pipeline.advice.find import advice
from tests.worlds.made_world import staged

if TYPE_CHECKING:
    import duckdb

    from demo_data.generator.make import MadeWorld

DAY_OF_ESTIMATE = "2026-10-16"  # in the middle of a month: none of October and only part of September is over
OPEN_MONTHS = ("2026-09-01", "2026-10-01")


def pairwise(found: pd.Series, true: pd.Series) -> tuple[float, float, float]:
    """Precision, recall and F1 of pairs of visits put into one episode."""

    def pairs(*groups: pd.Series) -> float:
        sizes = pd.concat([group.rename(place) for place, group in enumerate(groups)], axis=1)
        counts = sizes.groupby(list(sizes.columns)).size()
        return float((counts * (counts - 1) / 2).sum())

    both = pairs(found, true)
    precision, recall = both / pairs(found), both / pairs(true)
    return precision, recall, 2 * precision * recall / (precision + recall)


def episode_f1(connection: duckdb.DuckDBPyConnection, truth: pd.DataFrame) -> tuple[float, float, float]:
    """Compare the episodes with the truth."""
    found = connection.execute("select episode_id from episode_visit order by visit_id").df()["episode_id"]
    return pairwise(found, truth["episode"].reset_index(drop=True))


def verdicts(connection: duckdb.DuckDBPyConnection, made: MadeWorld) -> pd.DataFrame:
    """Verdict found and true of each part line of mature episodes."""
    truth = made.truth_visits.reset_index(drop=True)
    parts = made.truth_parts.merge(truth[["file", "line_no"]].assign(visit_id=truth.index + 1), on=["file", "line_no"])
    parts = parts.assign(part_line_id=parts["visit_id"] * 1000 + parts["part_no"]).rename(columns={"verdict": "true"})
    found = connection.execute(
        "select part_line_id, verdict, evidence, confirmed_cause, episode.is_mature, episode.is_left_truncated, kind"
        " from part_verdict join episode using (episode_id, kind)"
    ).df()
    both = parts.merge(found, on="part_line_id", validate="1:1")
    return both[both["is_mature"] & ~both["is_left_truncated"]]


def first_time_fix(connection: duckdb.DuckDBPyConnection, truth: pd.DataFrame) -> pd.DataFrame:
    """Status found and true of each episode, by the visit that begins it."""
    found = connection.execute("select * from first_time_fix").df()
    first = truth.reset_index(drop=True)
    first = first.assign(episode_id=first.index + 1)[first["visit_no"] == 1]
    first = first[["episode_id", "first_time_fix", "visit_date"]]
    return found.merge(first, on="episode_id", how="outer")


def records(worlds: int, visits: int) -> None:
    """Print how right episodes, verdicts and first-time fixes are."""
    world = World()
    for seed in range(1, worlds + 1):
        made = make_world_files(seed, visits=visits, world=world)
        connection = staged(made)
        with_serials = episode_f1(connection, made.truth_visits)
        without = episode_f1(staged(made, with_serials=False), made.truth_visits)
        print(f"seed {seed}: {len(made.truth_visits):,} visits; precision, recall, F1 of episodes:")
        print(f"  with serials {_said(with_serials)}; without {_said(without)}")
        judged = verdicts(connection, made)
        print(f"  verdicts right {(judged['verdict'] == judged['true']).mean():.4f} of {len(judged):,}")
        print(pd.crosstab(judged["true"], judged["verdict"]).to_string())
        status = first_time_fix(connection, made.truth_visits)
        over = status[(status["month"] > "2022-10-31") & (status["days_followed"] >= 61)]
        print(pd.crosstab(over["first_time_fix"].fillna("no first visit there"), over["status"]).to_string())


def provisional(worlds: int, visits: int) -> None:
    """Print how often the interval of an open month holds the rate that the month ends with."""
    world = World()
    held: dict[str, list[bool]] = {month: [] for month in OPEN_MONTHS}
    for seed in range(1, worlds + 1):
        made = make_world_files(seed, visits=visits, world=world)
        status = first_time_fix(staged(made, as_of=DAY_OF_ESTIMATE), made.truth_visits)
        for month in OPEN_MONTHS:
            rows = status[status["month"] == month]
            true = rows["first_time_fix"].isin(["fixed first time"]).sum() / (
                rows["first_time_fix"].isin(["fixed first time", "not fixed first time"]).sum()
            )
            estimate = provisional_rate(rows, 30)
            if estimate.rate == estimate.rate:
                held[month].append(estimate.low <= true <= estimate.high)
    for month, answers in held.items():
        print(
            f"{month[:7]} as of {DAY_OF_ESTIMATE}: the interval holds the final rate in"
            f" {sum(answers)} of {len(answers)} worlds"
        )


def habits(worlds: int, visits: int) -> None:
    """Print how many planted habits are found, and in how many worlds without habit advice is given."""
    world = World()
    planted = {habit.name: 0 for habit in HABITS}
    false, others, rows_given = 0, 0, 0
    for seed in range(1, worlds + 1):
        rows = advice(staged(make_world_files(seed, visits=visits, world=world)))
        found = {habit.name for habit in HABITS if habit.part in set(rows["part"])}
        for name in found:
            planted[name] += 1
        others += int((~rows["part"].isin([habit.part for habit in HABITS])).sum())
        rows_given += len(rows)
        free = advice(staged(make_world_files(seed, visits=visits, swap_habit=False, world=world)))
        false += len(free) > 0
        missed = sorted(set(planted) - found)
        print(f"seed {seed}: {len(rows)} rows, missed {missed or 'none'}; without habits {len(free)} rows", flush=True)
    for habit in HABITS:
        ended = f", ended {habit.until}" if habit.until else ""
        print(f"  {habit.name}{ended}: {_share(planted[habit.name], worlds)}")
    lasting = [planted[habit.name] for habit in HABITS if habit.until is None]
    print(f"habits found: all {_share(sum(planted.values()), len(HABITS) * worlds)}")
    print(f"habits that still happen {_share(sum(lasting), len(lasting) * worlds)}")
    print(f"rows on other parts {others} of {rows_given}")
    print(f"worlds without habit that show a row {_share(false, worlds)}")


def _share(hits: int, of: int) -> str:
    share = hits / of
    return f"{hits} of {of} ({share:.1%} ± {1.96 * (share * (1 - share) / of) ** 0.5:.1%})"


def _said(values: tuple[float, ...]) -> str:
    return " ".join(f"{value:.4f}" for value in values)


if __name__ == "__main__":
    wanted = sys.argv[1] if len(sys.argv) > 1 else "records"
    run, usual = {"records": (records, 3), "provisional": (provisional, 50), "habits": (habits, 20)}[wanted]
    run(int(sys.argv[2]) if len(sys.argv) > 2 else usual, int(sys.argv[3]) if len(sys.argv) > 3 else 6000)
