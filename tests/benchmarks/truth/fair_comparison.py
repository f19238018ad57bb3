"""Is a technician punished for what he leaves unwritten? His ages blanked, his work the same.

Run: python -m tests.benchmarks.truth.fair_comparison [SEED]

A made workshop (its shares come from the shipped lists); for each technician in turn all his ages are blanked, and the
share of first-time fixes expected of him is worked out again over the last twelve months. Then the joint test and the
limits in workshops whose technicians are all alike, 400 of them, seven technicians with 190 faults each in 60 strata.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

import sql
from demo_data.generator.make import make_world_files
from models.statistics.comparison import INSIDE, compare
from pipeline.month import comparisons
from pipeline.month.scope import find_scope, laid_out
from tests.worlds.made_world import staged

MONTH = "2026-08"


def blanked(seed: int) -> None:
    """Print what is expected of each technician with his ages and without."""
    connection = staged(make_world_files(seed, visits=6000))
    ages = connection.execute("select visit_id, age_years from stage_visit").df()

    def expected() -> pd.DataFrame:
        sql.rebuild(connection)
        scope = find_scope(connection, MONTH)
        with laid_out(connection, scope):
            return comparisons.technicians(connection, scope)[0].set_index("technician")

    before = expected()
    for name, row in before.iterrows():
        connection.execute("update stage_visit set age_years = null where technician = ?", [name])
        after = expected().loc[name]
        moved = after["expected"] / row["expected"] - 1
        print(
            f"{name}: {row['fixed']} of {row['known']}; expected {row['expected']:.1f}, blanked {after['expected']:.1f} "
            f"({moved:+.2%}); {row['words']} → {after['words']}",
            flush=True,
        )
        connection.register("told", ages)
        connection.execute(
            "update stage_visit set age_years = told.age_years from told where told.visit_id = stage_visit.visit_id"
        )
        connection.unregister("told")


def alike(worlds: int) -> None:
    """Print how often alike technicians are said to differ."""
    rng = np.random.default_rng(6)
    joint, outside, people = 0, 0, 0
    for _ in range(worlds):
        size = 7 * 190
        cases = pd.DataFrame(
            {
                "unit": rng.choice(list("ABCDEFG"), size),
                "kind": rng.choice(list("wdtf"), size),
                "complaint": rng.choice(list("12345"), size),
                "age": rng.choice(np.array(["a", "b", "c", None], dtype=object), size),
            }
        )
        shares = cases["kind"].map(dict(zip("wdtf", (0.8, 0.7, 0.6, 0.75), strict=True)))
        made = compare(cases.assign(hit=rng.random(size) < shares), "unit", ["kind", "complaint", "age"], "hit")
        joint += made.p_joint < 0.05
        outside += int((made.table["said"] != INSIDE).sum())
        people += len(made.table)
    print(
        f"alike technicians: joint test below .05 in {_share(joint, worlds)}; at or beyond the edge {_share(outside, people)}"
    )


def _share(hits: int, of: int) -> str:
    share = hits / of
    return f"{share:.1%} ± {1.96 * (share * (1 - share) / of) ** 0.5:.1%}"


if __name__ == "__main__":
    alike(400)
    blanked(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
