"""Who and what differs by more than chance: technicians, makes, ages, and repairs over a unit's life.

Every function expects the scope's tables to be laid out (``report_scope.laid_out``) and gives tidy frames.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline.month.figures import FEWEST_FOR_RATE
from pipeline.month.scope import Scope
from pipeline.month.sections import KINDS_SHOWN

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

STRATA = ["kind", "main_symptom", "age_band"]
MAKES_SHOWN = 10
AGE_BANDS = ("under 2", "2 to 4", "5 to 7", "8 to 11", "12 and over", "not known")
FUNNEL_POINTS = 60

_CASES = """
    select
        {unit},
        kind,
        main_symptom,
        age_band,
        cast(status = 'fixed first time' as integer) as is_fixed
    from {source}
    where month between $first and $last and status in ('fixed first time', 'not fixed first time')
    order by episode_id
"""


def _words() -> dict[str, str]:
    from models.statistics import comparison

    return {
        comparison.INSIDE: "inside",
        comparison.EDGE_LOW: "edge_low",
        comparison.EDGE_HIGH: "edge_high",
        comparison.BELOW: "below",
        comparison.ABOVE: "above",
        comparison.TOO_FEW: "few",
    }


def technicians(connection: duckdb.DuckDBPyConnection, scope: Scope) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Compare technicians on the same mix of jobs over the last twelve months; a chosen one still against all.

    Returns
    -------
    tuple of DataFrame
        One row a technician, in alphabetical order: technician, known, fixed, expected, adjusted, rate, low, high
        (the last three partially pooled), words (inside, edge_low, edge_high, below, above, few). And the funnel's
        limits: n, centre, low95, high95, low998, high998.
    """
    import numpy as np
    import pandas as pd

    from models.statistics.comparison import compare, funnel_limits, over_dispersion

    source = """(
        select first_time_fix.*, episode.age_band
        from first_time_fix
        inner join episode on episode.episode_id = first_time_fix.episode_id
        where first_time_fix.month between $first and $last and ($kind is null or first_time_fix.kind = $kind)
    )"""
    cases = connection.execute(
        _CASES.format(unit="technician", source=source),
        {"first": scope.weighed_from, "last": scope.last, "kind": scope.kind},
    ).df()
    compared = _on_one_mix(compare(cases, "technician", STRATA, "is_fixed"), cases)
    table = pd.DataFrame(
        {
            "technician": compared["unit"].astype(object),
            "known": compared["n"],
            "fixed": compared["observed"],
            "expected": compared["expected"],
            "adjusted": compared["indirect"].where(compared["n"] >= FEWEST_FOR_RATE),
            "rate": compared["rate"],
            "low": compared["low"],
            "high": compared["high"],
            "words": compared["said"].map(_words()),
        }
    )
    enough = compared[compared["n"] >= FEWEST_FOR_RATE]
    if enough.empty:
        return table, pd.DataFrame(columns=["n", "centre", "low95", "high95", "low998", "high998"], dtype=float)
    spread = np.sqrt(np.maximum(enough["target"] * (1 - enough["target"]), 1e-12) / enough["n"])
    widen = math.sqrt(max(1.0, over_dispersion((enough["crude"] - enough["target"]) / spread)))
    smallest = max(FEWEST_FOR_RATE, enough["n"].min() * 0.6)
    sizes = np.unique(np.linspace(smallest, enough["n"].max() * 1.05, FUNNEL_POINTS).round())
    limits = funnel_limits(sizes, float(cases["is_fixed"].mean()), widen=widen).rename(
        columns={
            "target": "centre",
            "low_95": "low95",
            "high_95": "high95",
            "low_998": "low998",
            "high_998": "high998",
        }
    )
    return table, limits[["n", "centre", "low95", "high95", "low998", "high998"]]


def makes(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Compare makes on the same mix of jobs, partially pooled, over the last twelve months.

    Returns
    -------
    DataFrame
        One row a make, the most frequent first: value, fixed, known, expected (fixed, of its jobs), rate, low,
        high (as with everyone's mix of jobs, partially pooled), words.
    """
    from models.statistics.comparison import compare

    cases = connection.execute(
        _CASES.format(unit="make", source="report_fault"), {"first": scope.weighed_from, "last": scope.last}
    ).df()
    compared = _on_one_mix(compare(cases, "make", STRATA, "is_fixed"), cases)
    table = compared.assign(words=compared["said"].map(_words())).rename(
        columns={"unit": "value", "observed": "fixed", "n": "known"}
    )
    table = table.sort_values(["known", "value"], ascending=[False, True]).head(MAKES_SHOWN)
    return table[["value", "fixed", "known", "expected", "rate", "low", "high", "words"]].reset_index(drop=True)


def _on_one_mix(compared: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    """Carry the partly pooled rate and its interval from each unit's own cases to everyone's mix."""
    same_mix = float(cases["is_fixed"].mean()) / compared["target"]
    return compared.assign(**{name: (compared[name] * same_mix).clip(upper=1.0) for name in ("rate", "low", "high")})


def ages(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give first-time fixes by age band over the last twelve months.

    Returns
    -------
    DataFrame
        One row a band, youngest first: value (missing = age not known), fixed, known, rate, low, high.
    """
    from models.statistics.intervals import wilson

    counted = connection.execute(
        """
        select
            age_band as value,
            count(*) filter (where status = 'fixed first time') as fixed,
            count(*) as known
        from report_fault
        where month between $first and $last and status in ('fixed first time', 'not fixed first time')
        group by age_band
        """,
        {"first": scope.weighed_from, "last": scope.last},
    ).df()
    counted["place"] = counted["value"].map({band: place for place, band in enumerate(AGE_BANDS)})
    counted = counted.sort_values("place").drop(columns="place").reset_index(drop=True)
    low, high = wilson(counted["fixed"].to_numpy(dtype=float), counted["known"].to_numpy(dtype=float))
    return counted.assign(
        value=counted["value"].where(counted["value"] != "not known"),
        rate=counted["fixed"] / counted["known"],
        low=low,
        high=high,
    )


def next_fault(connection: duckdb.DuckDBPyConnection, scope: Scope) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give further repairs by age, and the chance of another repair within a year, for the main kinds over all records.

    Returns
    -------
    tuple of DataFrame
        One row a kind and year of age, main kind first: kind, age, repairs, low, high, units. And one row a kind: kind,
        chance, low, high (NaN when nobody was followed a year).
    """
    import pandas as pd

    from models.statistics.lifetimes import another_repair, repairs_by_age

    episodes = connection.execute(
        """
        with main as (
            select kind, row_number() over (order by count(*) desc, kind) as place
            from report_fault
            where month between $first and $last
            group by kind
            qualify row_number() over (order by count(*) desc, kind) <= $kinds
        )
        select
            main.place,
            episode.appliance_id,
            episode.kind,
            episode.make,
            episode.age_years,
            episode.first_visit_date,
            episode.cure_date,
            episode.state
        from episode
        inner join main on main.kind = episode.kind
        where not episode.is_left_truncated and episode.first_visit_date <= $end
        order by main.place, episode.episode_id
        """,
        {"first": scope.weighed_from, "last": scope.last, "kinds": KINDS_SHOWN, "end": scope.end},
    ).df()
    as_of = pd.Timestamp(min(scope.as_of, scope.end))
    kinds = list(dict.fromkeys(episodes["kind"]))
    curve = repairs_by_age(episodes.drop(columns="place"), as_of, by=("kind",))
    curve = curve.rename(columns={"age_years": "age", "mean": "repairs"})[
        ["kind", "age", "repairs", "low", "high", "units"]
    ]
    curve = curve.assign(place=curve["kind"].map({kind: place for place, kind in enumerate(kinds)}))
    curve = curve.sort_values(["place", "age"]).drop(columns="place").reset_index(drop=True)
    chances = [another_repair(episodes[episodes["kind"] == kind], as_of) for kind in kinds]
    again = pd.DataFrame(chances, columns=["rate", "low", "high"]).rename(columns={"rate": "chance"})
    again.insert(0, "kind", kinds)
    return curve, again
