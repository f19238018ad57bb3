"""How right the tables are against made workshops whose truth is known.

Run: PYTHONPATH=.:tests python tests/benchmarks/truth.py [SEEDS] [VISITS]   (3 seeds of 6,000 visits by default)
Prints, a seed: pairwise F1 of episodes with and without serials, share of verdicts right on mature episodes, first-time-fix counts of the
months that are over, and how many provisional estimates hold the truth.
"""

from __future__ import annotations

import sys

import duckdb
import pandas as pd
from demo_data.make import make_world_files
from demo_data.world import World

from models.survival import provisional_rate
from made_world import staged


def pairwise(found: pd.Series, true: pd.Series) -> tuple[float, float, float]:
    """Precision, recall and F1 of pairs of visits put into one episode."""

    def pairs(groups: list[pd.Series]) -> float:
        sizes = pd.concat(groups, axis=1).groupby(list(range(len(groups)))).size()
        return float((sizes * (sizes - 1) / 2).sum())

    both = pairs([found.rename(0), true.rename(1)])
    precision, recall = both / pairs([found.rename(0)]), both / pairs([true.rename(0)])
    return precision, recall, 2 * precision * recall / (precision + recall)


def episode_f1(connection: duckdb.DuckDBPyConnection, truth: pd.DataFrame) -> tuple[float, float, float]:
    """Compare the episodes with the truth."""
    found = connection.execute("select episode_id from episode_visit order by visit_id").df()["episode_id"]
    return pairwise(found, truth["episode"].reset_index(drop=True))


def verdicts(connection: duckdb.DuckDBPyConnection, made: object) -> pd.DataFrame:
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
    found = connection.execute("select episode_id, month, status, why, days_followed from first_time_fix").df()
    first = truth.reset_index(drop=True)
    first = first.assign(episode_id=first.index + 1)[first["visit_no"] == 1][
        ["episode_id", "first_time_fix", "visit_date"]
    ]
    return found.merge(first, on="episode_id", how="outer")


def main(seeds: int, visits: int) -> None:
    """Measure and print."""
    world = World()
    for seed in range(1, seeds + 1):
        made = make_world_files(seed, visits=visits, world=world)
        truth = made.truth_visits
        connection = staged(made)
        with_serials = episode_f1(connection, truth)
        without = episode_f1(staged(made, with_serials=False), truth)
        judged = verdicts(connection, made)
        right = (judged["verdict"] == judged["true"]).mean()
        print(
            f"seed {seed}: {len(truth):,} visits; episodes precision, recall, F1 {_said(with_serials)} with serials, {_said(without)} without"
        )
        print(f"  verdicts right {right:.4f} of {len(judged):,}")
        print(pd.crosstab(judged["true"], judged["verdict"]).to_string())
        status = first_time_fix(connection, truth)
        over = status[(status["month"] > "2022-10-31") & (status["days_followed"] >= 61)]
        print(pd.crosstab(over["first_time_fix"].fillna("no first visit there"), over["status"]).to_string())


def _said(values: tuple[float, ...]) -> str:
    return " ".join(f"{value:.4f}" for value in values)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3, int(sys.argv[2]) if len(sys.argv) > 2 else 6000)
