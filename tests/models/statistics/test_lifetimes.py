"""Repairs over an appliance's life: known worlds come back, and what cannot be known is not said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.statistics.lifetimes import another_repair, repairs_by_age, watches

AS_OF = pd.Timestamp("2026-01-01")
YEAR = 365.25


def episode(unit: int, years_ago: float, age: float | None, **more: object) -> dict[str, object]:
    day = AS_OF - pd.Timedelta(days=round(years_ago * YEAR))
    plain = {
        "appliance_id": unit, "kind": "washing machine", "make": "Velsund", "age_years": age, "first_visit_date": day,
        "cure_date": day, "state": "cured", "cause": "worn drum bearings",
    }  # fmt: skip
    return plain | more


def town(rate: float, units: int = 1500, years: float = 5.0, seed: int = 1) -> pd.DataFrame:
    """Every unit comes under watch at its first repair, then needs ``rate`` repairs a year."""
    rng = np.random.default_rng(seed)
    rows = []
    for unit in range(units):
        age, ago = rng.uniform(0, 8), rng.uniform(0.2, years)
        rows.append(episode(unit, ago, age))
        later = ago - 0.01 - rng.exponential(1 / rate)
        while later > 0:
            rows.append(episode(unit, later, age + ago - later))
            later -= rng.exponential(1 / rate)
    return pd.DataFrame(rows)


def test_a_unit_is_watched_from_its_first_repair_until_today_or_the_tip() -> None:
    table = watches(
        pd.DataFrame(
            [
                episode(1, 3.0, 5.0),
                episode(2, 3.0, 5.0),
                episode(2, 1.0, 7.0, state="beyond economic repair", cure_date=None),
                episode(3, 3.0, None),
            ]
        ),
        AS_OF,
    )
    assert table["appliance_id"].tolist() == [1, 2]
    assert table["entry_age"].tolist() == [5.0, 5.0]
    assert table["end_age"].tolist() == pytest.approx([8.0, 7.0], abs=0.01)
    assert table["is_ended"].tolist() == [False, True]


def test_repairs_by_age_find_the_rate_of_a_made_town() -> None:
    curve = repairs_by_age(town(0.3), AS_OF)
    span = curve["age_years"].iloc[-1] - curve["from_age"].iloc[0]
    last = curve.iloc[-1]
    assert last["low"] < 0.3 * span < last["high"]
    assert (curve["mean"].diff().dropna() >= 0).all()
    assert (curve["at_risk"] >= 10).all()


def test_repairs_by_age_by_kind_and_make() -> None:
    both = pd.concat(
        [
            town(0.1, 400),
            town(0.6, 400, seed=2).assign(make="Pellmore", appliance_id=lambda f: f["appliance_id"] + 9999),
        ]
    )
    curve = repairs_by_age(both, AS_OF, by=("kind", "make"))
    at_eight = curve[curve["age_years"] == 8].set_index("make")
    assert at_eight.loc["Pellmore", "low"] > at_eight.loc["Velsund", "high"]


def test_few_units_make_no_curve() -> None:
    assert repairs_by_age(pd.DataFrame([episode(n, 2.0, 4.0) for n in range(9)]), AS_OF).empty
    assert repairs_by_age(pd.DataFrame([episode(1, 2.0, None)]), AS_OF).empty


def test_another_repair_within_a_year_finds_the_chance_of_a_made_town() -> None:
    estimate = another_repair(town(0.3), AS_OF)
    assert estimate.low < 1 - np.exp(-0.3) < estimate.high
    assert estimate.high - estimate.low < 0.08


def test_another_repair_counts_no_one_who_was_not_cured_and_knows_its_reach() -> None:
    assert np.isnan(another_repair(pd.DataFrame([episode(1, 0.5, 3.0)]), AS_OF).rate)
    assert np.isnan(another_repair(pd.DataFrame([episode(1, 2.0, 3.0, state="declined", cure_date=None)]), AS_OF).rate)
    twice = pd.DataFrame([episode(1, 2.0, 3.0), episode(1, 1.5, 3.5)])
    assert another_repair(twice, AS_OF).rate == 0.5, "one cure was followed by a repair, one by none, within a year"
