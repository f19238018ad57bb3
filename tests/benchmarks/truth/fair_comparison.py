"""Is a technician punished for what he leaves unwritten? His ages blanked, his work the same.

Run: python -m tests.benchmarks.truth.fair_comparison [SEED]

A made workshop (its shares come from the shipped lists); for each technician in turn all his ages are blanked, and the
share of first-time fixes expected of him is worked out again over the last twelve months. Then the joint test, the
limits and the pooled intervals in 400 workshops whose technicians are all alike, alike with uneven work, or differ.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

import sql
from demo_data.generator.make import make_world_files
from models.statistics.comparison import ABOVE, BELOW, EDGE_HIGH, EDGE_LOW, compare
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
            return comparisons.technicians(comparisons.cases(connection, scope))[0].set_index("technician")

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


def drawn(rng: np.random.Generator, differ: float, share_of_a_kind: float) -> tuple[pd.DataFrame, pd.Series]:
    """Seven technicians with 190 faults each in 60 strata; one of them does that share of a hard kind's faults."""
    size = 7 * 190
    cases = pd.DataFrame(
        {
            "unit": rng.choice(list("ABCDEFG"), size),
            "kind": rng.choice(list("wdtf"), size),
            "complaint": rng.choice(list("12345"), size),
            "age": rng.choice(np.array(["a", "b", "c", None], dtype=object), size),
        }
    )
    is_hard = (cases["kind"] == "t") & (rng.random(size) < share_of_a_kind)
    cases["unit"] = cases["unit"].where(~is_hard, "A")
    own = dict(zip("ABCDEFG", differ * rng.standard_normal(7), strict=True))
    chance = cases["kind"].map(dict(zip("wdtf", (0.8, 0.7, 0.5, 0.75), strict=True)))
    chance += cases["complaint"].map(dict(zip("12345", (-0.1, -0.05, 0, 0.05, 0.1), strict=True)))
    chance += cases["age"].map({"a": 0.04, "c": -0.04}).fillna(0)
    chance = (chance + cases["unit"].map(own)).clip(0.02, 0.98)
    return cases.assign(hit=rng.random(size) < chance), chance.groupby(cases["unit"]).mean()


def alike(worlds: int) -> None:
    """Print how often alike technicians are said to differ, and how often limits and intervals hold what they should."""
    strata = [("kind",), ("kind", "complaint"), ("age",)]
    for name, differ, of_a_kind in (
        ("alike", 0.0, 0.0),
        ("alike, uneven work", 0.0, 0.8),
        ("differ (sd .06)", 0.06, 0.0),
    ):
        rng = np.random.default_rng(6)
        joint, said, held, mean, people = 0, [], 0, [], 0
        for _ in range(worlds):
            cases, true = drawn(rng, differ, of_a_kind)
            made = compare(cases, "unit", strata, "hit")
            table = made.table.set_index("unit")
            joint += made.p_joint < 0.05
            said += table["said"].tolist()
            held += int(((table["low"] <= true) & (true <= table["high"])).sum())
            mean += (table["expected"] / table["n"] - true)["A":"A"].tolist()
            people += len(table)
        better, worse = (sum(word in words for word in said) for words in ((EDGE_HIGH, ABOVE), (EDGE_LOW, BELOW)))
        inside = people - better - worse
        print(
            f"{name}: joint test below .05 in {_share(joint, worlds)}; said to be better {_share(better, people)}, worse "
            f"{_share(worse, people)}; inside the limits {_share(inside, people)}; the pooled interval holds the true "
            f"rate of {_share(held, people)}; expected of A less the truth {np.mean(mean):+.4f}",
            flush=True,
        )


def _share(hits: int, of: int) -> str:
    share = hits / of
    return f"{share:.1%} ± {1.96 * (share * (1 - share) / of) ** 0.5:.1%}"


if __name__ == "__main__":
    alike(400)
    blanked(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
