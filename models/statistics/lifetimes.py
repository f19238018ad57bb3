"""How often appliances come back over their life: the base of an honest "repair or replace" remark.

A workshop sees an appliance first when it needs a repair, so watch begins at that age and that repair is not counted:
the figures are repairs *after* the first one seen. A unit that went elsewhere, or to the tip, unseen still counts as
watched: the figures are lower bounds. The decision is the customer's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.statistics.survival import Estimate, mean_cumulative, survival_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

YEAR = 365.25
FEWEST_WATCHED = 10
ENDS_WATCH = ("beyond economic repair",)


def watches(episodes: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Age at which each unit came under watch, and at which its watch ends.

    Parameters
    ----------
    episodes
        Rows of the table: appliance_id, kind, make, age_years, first_visit_date, state.
    as_of
        End of follow-up.

    Returns
    -------
    DataFrame
        One row a unit of known age: appliance_id, kind, make, entry_age, end_age (years), first_episode_date,
        is_ended (uneconomic).
    """
    dated = episodes.assign(first_visit_date=pd.to_datetime(episodes["first_visit_date"]))
    first = dated.sort_values("first_visit_date", kind="stable").drop_duplicates("appliance_id")
    ended = dated[dated["state"].isin(ENDS_WATCH)].groupby("appliance_id")["first_visit_date"].max()
    first = first[first["age_years"].notna()]
    stop = pd.Series(pd.to_datetime(ended.reindex(first["appliance_id"]).to_numpy()), index=first.index)
    until = stop.fillna(pd.Timestamp(as_of))
    entry = first["age_years"].astype(float)
    return pd.DataFrame(
        {
            "appliance_id": first["appliance_id"],
            "kind": first["kind"],
            "make": first["make"],
            "entry_age": entry,
            "end_age": entry + np.maximum((until - first["first_visit_date"]).dt.days, 0) / YEAR,
            "first_episode_date": first["first_visit_date"],
            "is_ended": stop.notna(),
        }
    ).reset_index(drop=True)


def repairs_by_age(
    episodes: pd.DataFrame, as_of: pd.Timestamp, by: Sequence[str] = ("kind",), ages: ArrayLike = tuple(range(1, 16))
) -> pd.DataFrame:
    """Mean number of further repairs an appliance has had by an age (mean cumulative function).

    Parameters
    ----------
    episodes, as_of
        As in `watches`.
    by
        Columns to group by: kind, or kind and make.
    ages
        Ages to report, years.

    Returns
    -------
    DataFrame
        The group columns, units, from_age, age_years, at_risk, mean, se, low, high: repairs from ``from_age`` on, the
        first age at which 10 units are watched at once. Ages at which fewer are watched are left out.
    """
    unit = watches(episodes, as_of)
    later = _later_repairs(episodes, unit)
    frames = []
    for names, group in unit.groupby(list(by), dropna=True):
        from_age = _first_watched(group, ages)
        group = group[group["end_age"] > from_age]
        repairs = later[later["appliance_id"].isin(group["appliance_id"]) & (later["age_years"] > from_age)]
        curve = mean_cumulative(
            np.concatenate([repairs["appliance_id"], group["appliance_id"]]),
            np.concatenate([repairs["age_years"], group["end_age"]]),
            np.concatenate([np.ones(len(repairs), bool), np.zeros(len(group), bool)]),
            entry=np.maximum(np.concatenate([repairs["entry_age"], group["entry_age"]]), from_age),
            at=[age for age in np.asarray(ages, dtype=float) if age > from_age],
        ).rename(columns={"days": "age_years"})
        curve = curve[curve["at_risk"] >= FEWEST_WATCHED].copy()
        for column, name in zip(by, names, strict=True):
            curve[column] = str(name)
        frames.append(curve.assign(units=len(group), from_age=from_age))
    columns = [*by, "units", "from_age", "age_years", "at_risk", "mean", "se", "low", "high"]
    return pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)


def another_repair(
    episodes: pd.DataFrame, as_of: pd.Timestamp, within_days: float = 365, confidence: float = 0.95
) -> Estimate:
    """Chance that a unit cured now needs another repair, for a new fault, within a year.

    Parameters
    ----------
    episodes
        The episodes to learn from, already chosen (one kind, one age band …): appliance_id, first_visit_date,
        cure_date, state; with *all* later episodes of their units among them.
    as_of
        End of follow-up.

    Returns
    -------
    Estimate
        NaN when nobody was followed that long. Callbacks for the same fault do not count: they belong to the episode.
    """
    unit = pd.factorize(episodes["appliance_id"])[0]
    begun, cured_on = (pd.to_datetime(episodes[name]).to_numpy() for name in ("first_visit_date", "cure_date"))
    order = np.lexsort((begun, unit))
    came = np.append(unit[order][1:] == unit[order][:-1], False)
    until = np.where(came, np.append(begun[order][1:], begun[:1]), np.datetime64(as_of))
    is_cured = (episodes["state"] == "cured").to_numpy()[order]
    days = ((until - cured_on[order]) / np.timedelta64(1, "D"))[is_cured]
    if not len(days):
        return Estimate(float("nan"), float("nan"), float("nan"))
    free = survival_at(np.maximum(days, 0.0), came[is_cured], within_days, confidence=confidence)
    return Estimate(1 - free.rate, 1 - free.high, 1 - free.low)


def _first_watched(unit: pd.DataFrame, ages: ArrayLike) -> float:
    """The first of the ages, or 0, at which 10 units are watched at once; beyond all of them when there is none."""
    entry, end = unit["entry_age"].to_numpy(), unit["end_age"].to_numpy()
    for age in (0.0, *np.asarray(ages, dtype=float)):
        if ((entry <= age) & (end > age)).sum() >= FEWEST_WATCHED:
            return float(age)
    return float(np.inf)


def _later_repairs(episodes: pd.DataFrame, unit: pd.DataFrame) -> pd.DataFrame:
    """Episodes after the one with which a unit came under watch, at their age by the calendar."""
    joined = episodes.drop(columns=["age_years", "kind", "make"]).merge(unit, on="appliance_id")
    date = pd.to_datetime(joined["first_visit_date"])
    age = joined["entry_age"] + (date - joined["first_episode_date"]).dt.days / YEAR
    is_later: NDArray[np.bool_] = (date > joined["first_episode_date"]).to_numpy()
    return joined.assign(age_years=age)[is_later & (age <= joined["end_age"]).to_numpy()]
