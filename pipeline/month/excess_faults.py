"""Which models and which season bring more faults than usual.

Every function gives one tidy frame.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.statistics.intervals import FEWEST_FOR_RATE
from pipeline.month.scope import OF_BRANCH, Scope, moved

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

FAMILIES_SHOWN = 12


_FAMILIES = f"""
    with
        fault as (
            select kind, make, model_family, appliance_id, main_symptom
            from episode
            where first_visit_date between $first and $end
                and model_family is not null
                and not is_left_truncated
                and ($kind is null or kind = $kind)
                and ($branch is null or {OF_BRANCH})
        ),
        complained as (
            select kind, make, model_family, main_symptom, count(*) as times
            from fault
            where main_symptom is not null
            group by all
        ),
        foremost as (
            select
                kind, make, model_family,
                arg_max(main_symptom, times order by main_symptom) as complaint, max(times) as times
            from complained
            group by all
        )
    select
        fault.kind,
        fault.make,
        fault.model_family,
        count(distinct fault.appliance_id) as units,
        count(*) as faults,
        any_value(foremost.complaint) as complaint,
        any_value(foremost.times) as times
    from fault
    left join foremost
        on foremost.kind = fault.kind
        and foremost.make is not distinct from fault.make
        and foremost.model_family = fault.model_family
    group by fault.kind, fault.make, fault.model_family
    order by all
"""


def model_families(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give faults a unit by model family of enough units, over the months shown, with what is usual for the kind.

    Returns
    -------
    DataFrame
        One row a family with ten units or more, most above the usual first: kind, make, model_family, units, faults,
        usual (faults of as many units of the kind), complaint (most frequent), times (of it), p (two-sided, Poisson,
        adjusted for all families looked at).
    """
    import numpy as np
    from scipy.special import pdtr, pdtrc

    from models.statistics.intervals import benjamini_hochberg

    counted = connection.execute(
        _FAMILIES,
        {"first": scope.shown_from, "end": scope.end, "kind": scope.kind, "branch": scope.branch},
    ).df()
    total = counted.groupby("kind")[["faults", "units"]].transform("sum")
    counted = counted.assign(usual=counted["units"] * total["faults"] / total["units"])
    counted = counted[counted["units"] >= FEWEST_FOR_RATE].reset_index(drop=True)
    if counted.empty:
        return counted.assign(p=np.zeros(0))
    faults, usual = counted["faults"].to_numpy(dtype=float), counted["usual"].to_numpy(dtype=float)
    above, below = np.where(faults > 0, pdtrc(faults - 1, usual), 1.0), pdtr(faults, usual)
    p = benjamini_hochberg(np.minimum(1.0, 2 * np.minimum(above, below)))
    order = (counted["usual"] - counted["faults"]).sort_values(kind="stable").index
    return counted.assign(p=p).loc[order].head(FAMILIES_SHOWN).reset_index(drop=True)


def seasons(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give faults begun by kind and quarter of the year, where at least two whole years are held.

    Returns
    -------
    DataFrame
        One row a kind: kind, q1, q2, q3, q4 (faults of whole years), years, p (chi-squared test of quarters alike,
        adjusted for the kinds looked at). Empty without two whole years.
    """
    import numpy as np
    import pandas as pd
    from scipy.special import chdtrc

    from models.statistics.intervals import benjamini_hochberg

    years = (scope.last.year * 12 + scope.last.month - scope.records_from.year * 12 - scope.records_from.month) // 12
    if years < 2:
        return pd.DataFrame(columns=["kind", "q1", "q2", "q3", "q4", "years", "p"])
    counted = connection.execute(
        f"""
        select
            kind,
            count(*) filter (where quarter(first_visit_date) = 1) as q1,
            count(*) filter (where quarter(first_visit_date) = 2) as q2,
            count(*) filter (where quarter(first_visit_date) = 3) as q3,
            count(*) filter (where quarter(first_visit_date) = 4) as q4
        from episode
        where first_visit_date between $first and $end
            and ($kind is null or kind = $kind)
            and ($branch is null or {OF_BRANCH})
        group by kind
        having count(*) >= 80
        order by count(*) desc, kind
        """,
        {
            "first": moved(scope.last, 1 - 12 * years),
            "end": scope.end,
            "kind": scope.kind,
            "branch": scope.branch,
        },
    ).df()
    if counted.empty:
        return counted.assign(years=years, p=np.zeros(0))
    faults = counted[["q1", "q2", "q3", "q4"]].to_numpy(dtype=float)
    alike = faults.mean(axis=1, keepdims=True)
    p = chdtrc(3, ((faults - alike) ** 2 / alike).sum(axis=1))
    return counted.assign(years=years, p=benjamini_hochberg(p))
