"""Advice against worlds whose truth is known: false rows without habits, and what a found row's numbers are worth.

Run: python -m tests.benchmarks.truth.advice [false | worth] [WORLDS]

false: no habit anywhere, 400 and 1,200 judged parts, in four kinds of world: one share of wrong parts for all (5 to
25 %); one weak technician (30 % against 8 %) who does 80 % of one kind; shares of parts that differ (10 % ± 5); both.
worth: one or two habits planted among honest work of 10 %; the share printed, what it is said to be at least, and the
money, against the truth of the found cell. All ± are 95 % of the simulation.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
import pandas as pd

from models.advice.find import COLUMN_OF, CONDITIONS, find_advice

PARTS = ["drain pump", "level sensor", "door seal", "heating element", "door lock", "control board"]
KINDS = ["washing machine", "dishwasher", "tumble dryer"]
COST = 100.0


def world(rng: np.random.Generator, size: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part lines of honest work, two years of them, each with one finding; the chance of being wrong is still to come."""
    number = np.arange(1, size + 1)
    lines = pd.DataFrame(
        {
            "part_line_id": number * 1000 + 1,
            "visit_id": number,
            "part": rng.choice(PARTS, size),
            "kind": rng.choice(KINDS, size),
            "make": rng.choice(["Velsund", "Pellmore", "Tavrik"], size),
            "main_symptom": rng.choice(["does not drain", "leaks", "noisy", "does not heat"], size),
            "fault_code": rng.choice(np.array(["K07", "K08", None], dtype=object), size),
            "technician": rng.choice(list("ABCDE"), size),
            "total_cost": COST,
            "labour_minutes": 30.0,
            "trip_minutes": 0.0,
            "visit_date": pd.Timestamp("2024-11-01") + pd.to_timedelta(rng.integers(0, 730, size), unit="D"),
            "confirmed_cause": "other",
        }
    )
    thing = rng.choice(["water left", "filter", "hose", "winding"], size)
    seen = pd.DataFrame({"visit_id": number, "finding": thing, "value": rng.choice(["yes", "no"], size)})
    return lines, seen


def judged(rng: np.random.Generator, lines: pd.DataFrame, chance: Any) -> pd.DataFrame:
    """Give every line its verdict by chance."""
    return lines.assign(verdict=np.where(rng.random(len(lines)) < chance, "not the cause", "cured"))


def false_rows(worlds: int) -> None:
    """Print in how many habit-free worlds a row is given."""
    rng = np.random.default_rng(3)
    for size in (400, 1200):
        shown = dict.fromkeys(("one share", "weak technician", "parts differ", "both"), 0)
        for _ in range(worlds):
            lines, seen = world(rng, size)
            is_weak_kind = (lines["kind"] == "dishwasher") & (rng.random(size) < 0.8)
            lines["technician"] = lines["technician"].where(~is_weak_kind, "A")
            weak = np.where(lines["technician"] == "A", 0.30, 0.08)
            parts = dict(zip(PARTS, np.clip(0.10 + 0.05 * rng.standard_normal(len(PARTS)), 0.01, 0.4), strict=True))
            by_part = lines["part"].map(parts).to_numpy()
            chances = (rng.choice([0.05, 0.10, 0.25]), weak, by_part, np.clip(weak + by_part - 0.10, 0.01, 0.9))
            for name, chance in zip(shown, chances, strict=True):
                shown[name] += len(find_advice(judged(rng, lines, chance), seen)) > 0
        for name, count in shown.items():
            print(f"{size:>5} parts, {name}: a false row in {_share(count, worlds)} of worlds", flush=True)


def worth(worlds: int) -> None:
    """Print how far the numbers of found rows are from the truth."""
    rng = np.random.default_rng(4)
    for size in (400, 1200):
        raw, likely, true, held, money, avoidable, found = [], [], [], [], 0.0, 0.0, 0
        for _ in range(worlds):
            lines, seen = world(rng, size)
            chance = np.full(size, 0.10)
            for part, symptom in (("drain pump", "does not drain"), ("heating element", "does not heat")):
                is_here = (lines["part"] == part) & (lines["main_symptom"] == symptom)
                chance = np.where(is_here, rng.uniform(0.25, 0.65), chance)
            frame = judged(rng, lines, chance)
            for row in find_advice(frame, seen).to_dict("records"):
                inside = _inside(frame, seen, row)
                real = float(chance[inside].mean())
                is_recent = frame["visit_date"] > frame["visit_date"].max() - pd.DateOffset(months=12)
                raw.append(row["count"] / row["of"])
                likely.append(row["share"])
                true.append(real)
                held.append(row["low"] <= real)
                money += row["money"]
                avoidable += float((np.clip(chance - 0.10, 0, None) * COST)[inside & is_recent].sum())
                found += 1
        print(
            f"{size:>5} parts: {found} rows in {worlds} worlds; share counted {np.mean(raw):.3f}, printed "
            f"{np.mean(likely):.3f}, true {np.mean(true):.3f}; at least holds {_share(sum(held), found)}; "
            f"money {money / avoidable:.2f} of what could be avoided",
            flush=True,
        )


def _inside(frame: pd.DataFrame, seen: pd.DataFrame, row: dict[Any, Any]) -> np.ndarray:
    inside = np.ones(len(frame), dtype=bool)
    for name in ("part", *CONDITIONS[:-1]):
        if row[name] is not None:
            inside &= (frame[COLUMN_OF[name]] == row[name]).to_numpy()
    if row["finding"] is not None:
        name = row["finding"].removesuffix(" not recorded")
        told = seen["finding"] if name != row["finding"] else seen["finding"] + "=" + seen["value"]
        has = frame["visit_id"].isin(seen.loc[told == name, "visit_id"]).to_numpy()
        inside &= ~has if name != row["finding"] else has
    return inside


def _share(hits: int, of: int) -> str:
    share = hits / max(of, 1)
    return f"{share:.1%} ± {1.96 * (share * (1 - share) / max(of, 1)) ** 0.5:.1%}"


if __name__ == "__main__":
    wanted = sys.argv[1] if len(sys.argv) > 1 else "false"
    run, usual = {"false": (false_rows, 200), "worth": (worth, 200)}[wanted]
    run(int(sys.argv[2]) if len(sys.argv) > 2 else usual)
