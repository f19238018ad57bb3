"""Did advice help? Credit given where nothing changed, under a general fall, and where it was followed.

Run: python -m tests.benchmarks.truth.adopted [WORLDS]

Two years of judged parts, honest work at 10 % wrong and one habit (50 % wrong on one part and complaint, a 24th of all
lines); the first row found in the first year is taken up at its end. Since then: nothing changes; all shares
fall by 30 %; the advice is followed in half or in all of its jobs (their share falls to the usual 10 %).
± is 95 % of the simulation.
"""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np
import pandas as pd

from models.advice.adopted import HELPED, did_it_help
from models.advice.find import find_advice
from tests.benchmarks.truth.advice import judged, world

DAY = pd.Timestamp("2025-11-01")


def run(worlds: int) -> None:
    """Print how often each world is credited, and what else is said."""
    rng = np.random.default_rng(5)
    for size in (1200, 2400):
        said: dict[str, Counter[str]] = {
            name: Counter() for name in ("nothing changed", "general fall", "half", "full", "fell before")
        }
        for _ in range(worlds):
            lines, seen = world(rng, size)
            is_habit = ((lines["part"] == "drain pump") & (lines["main_symptom"] == "does not drain")).to_numpy()
            is_since = (lines["visit_date"] >= DAY).to_numpy()
            is_late = (lines["visit_date"] >= DAY - pd.DateOffset(months=3)).to_numpy()
            usual = np.full(size, 0.10)
            habit = np.where(is_habit, 0.5, usual)
            then = judged(rng, lines, habit)
            rows = find_advice(then[~is_since], seen).to_dict("records")
            row = next((row for row in rows if row["part"] == "drain pump"), None)
            if row is None:
                continue
            since = {
                "nothing changed": habit,
                "general fall": habit * 0.7,
                "half": np.where(rng.random(size) < 0.5, usual, habit),
                "full": usual,
            }
            for name, chance in since.items():
                now = judged(rng, lines, chance)
                frame = then.assign(verdict=then["verdict"].where(~is_since, now["verdict"]))
                said[name][did_it_help(frame, row, DAY, seen).state] += 1
            ended = then.assign(verdict=then["verdict"].where(~is_late, judged(rng, lines, usual)["verdict"]))
            said["fell before"][did_it_help(ended, row, DAY, seen).state] += 1
        for name, states in said.items():
            of = sum(states.values())
            share = states[HELPED] / max(of, 1)
            error = 1.96 * (share * (1 - share) / max(of, 1)) ** 0.5
            rest = ", ".join(f"{state} {count / of:.0%}" for state, count in states.most_common())
            print(
                f"{size:>5} lines in two years, {name}: credited {share:.1%} ± {error:.1%} of {of} ({rest})", flush=True
            )


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
