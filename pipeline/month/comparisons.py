"""Who and what differs by more than chance: technicians, makes, ages, and repairs over a unit's life.

Every function expects the scope's tables to be laid out (``report_scope.laid_out``) and gives tidy frames.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.statistics.intervals import FEWEST_FOR_RATE
from pipeline.month.scope import OF_BRANCH, Scope
from pipeline.month.sections import KINDS_SHOWN

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.statistics.comparison import Compared

STRATA = [("kind",), ("kind", "complaint"), ("age_band",)]
MAKES_SHOWN = 10
_BACK = ("back", "back_low", "back_high")
_BRANCH_COLUMNS = ("branch", "known", "fixed", "expected", "fixes", "returns", "rate", "low", "high", *_BACK, "words")
AGE_BANDS = ("under 2", "2 to 4", "5 to 7", "8 to 11", "12 and over", "not known")

# what makes faults alike is taken from the first sheet: a later one is written only where the customer came back
_CASES = """
    with
        fault as (
            select first_time_fix.*, episode.age_band
            from first_time_fix
            inner join episode on episode.episode_id = first_time_fix.episode_id
            where first_time_fix.month between $first and $last
                and first_time_fix.status in ('fixed first time', 'not fixed first time')
                and ($kind is null or first_time_fix.kind = $kind)
                and ($branch is null or first_time_fix.branch = $branch)
        ),
        first_told as (
            select
                fault.episode_id,
                arg_min(
                    visit_symptom.symptom,
                    (visit_symptom.symptom_group = 'display', visit_symptom.is_doubtful, visit_symptom.symptom)
                ) as complaint
            from fault
            inner join visit_symptom on visit_symptom.visit_id = fault.episode_id
            where visit_symptom.source = 'complaint' and not visit_symptom.is_negated
            group by fault.episode_id
        )
    select
        fault.technician,
        fault.branch,
        fault.make,
        fault.kind,
        first_told.complaint,
        nullif(fault.age_band, 'not known') as age_band,
        cast(fault.status = 'fixed first time' as integer) as is_fixed
    from fault
    left join first_told on first_told.episode_id = fault.episode_id
    order by fault.episode_id
"""


def cases(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give the faults of the last twelve months that are compared, every technician's.

    Returns
    -------
    DataFrame
        One row a fault: technician, branch, make, kind, complaint (of the first sheet), age_band (missing = not
        known), is_fixed (1 = at the first visit).
    """
    return connection.execute(
        _CASES,
        {"first": scope.weighed_from, "last": scope.last, "kind": scope.kind, "branch": scope.branch},
    ).df()


def words() -> dict[str, str]:
    """Give the short names of what a comparison says."""
    from models.statistics import comparison

    return {
        comparison.INSIDE: "inside",
        comparison.EDGE_LOW: "edge_low",
        comparison.EDGE_HIGH: "edge_high",
        comparison.BELOW: "below",
        comparison.ABOVE: "above",
        comparison.TOO_FEW: "few",
    }


def technicians(cases: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, float]]:
    """Compare technicians on the same mix of jobs.

    Returns
    -------
    tuple
        One row a technician, in alphabetical order: technician, known, fixed, expected, crude (share fixed), target
        (share expected of these jobs), low_998, low_95, high_95, high_998 (what chance allows around the target), rate,
        low, high, adjusted (with everyone's mix of jobs; the first three partly pooled), words (inside, edge_low,
        edge_high, below, above, few). And of all together: units, compared, unnamed (faults without a
        technician), p_joint, widened.
    """
    from models.statistics.comparison import compare

    made = compare(cases, "technician", STRATA, "is_fixed")
    compared = _on_one_mix(made.table, cases)
    limits = ["crude", "target", "low_998", "low_95", "high_95", "high_998", "rate", "low", "high"]
    table = compared[limits].assign(
        technician=compared["unit"].astype(object),
        known=compared["n"],
        fixed=compared["observed"],
        expected=compared["expected"],
        adjusted=compared["indirect"].where(compared["n"] >= FEWEST_FOR_RATE),
        words=compared["said"].map(words()),
    )
    return table, _together(made, cases["technician"])


def makes(cases: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, float]]:
    """Compare makes on the same mix of jobs, partially pooled.

    Returns
    -------
    tuple
        One row a make, the most frequent first: value, fixed, known, expected (fixed, of its jobs), rate, low,
        high (as with everyone's mix of jobs, partially pooled), words. And of all together, as for `technicians`.
    """
    from models.statistics.comparison import compare

    made = compare(cases, "make", STRATA, "is_fixed")
    table = _on_one_mix(made.table, cases)
    table = table.assign(words=table["said"].map(words())).rename(
        columns={"unit": "value", "observed": "fixed", "n": "known"}
    )
    table = table.sort_values(["known", "value"], ascending=[False, True]).head(MAKES_SHOWN)
    columns = ["value", "fixed", "known", "expected", "rate", "low", "high", "words"]
    return table[columns].reset_index(drop=True), _together(made, cases["make"])


def branches(
    connection: duckdb.DuckDBPyConnection, scope: Scope, cases: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, float]]:
    """Compare branches over the last twelve months: first-time fixes on the same mix of jobs, and returns.

    Returns
    -------
    tuple
        One row a branch, in alphabetical order: branch, known, fixed, expected (fixed, of its jobs), rate (fixed of
        known), low, high (Wilson, 95 %), words (as for `technicians`), fixes (whose window is over), returns (within
        it), back, back_low, back_high (their share). Shares are NaN under ten; empty with fewer than two branches. And
        of all together: compared (with ten faults), unnamed (faults without a branch), p_joint (of first-time fixes),
        p_returns (chi-squared test of one rate for all with ten fixes).
    """
    import pandas as pd

    from models.statistics.comparison import compare, p_of_one_rate
    from models.statistics.intervals import wilson

    back = connection.execute(
        """
        select branch, count(*) as fixes, count(*) filter (where event = 'return' and days <= $window) as returns
        from report_fix
        where fix_date between $first and $end and days_followed >= $window and branch is not null
        group by branch
        """,
        {"first": scope.weighed_from, "end": scope.end, "window": scope.window_days},
    ).df()
    unnamed = int(cases["branch"].isna().sum())
    if len({*cases["branch"].dropna(), *back["branch"]}) < 2:
        nothing = {"compared": 0, "unnamed": unnamed, "p_joint": float("nan"), "p_returns": float("nan")}
        return pd.DataFrame(columns=_BRANCH_COLUMNS), nothing
    made = compare(cases, "branch", STRATA, "is_fixed")
    table = made.table.rename(columns={"unit": "branch", "n": "known", "observed": "fixed"})
    table = table[["branch", "known", "fixed", "expected", "said"]].astype({"branch": object})
    table = table.merge(back.astype({"branch": object}), on="branch", how="outer").sort_values("branch")
    counts = ["known", "fixed", "fixes", "returns"]
    table = table.fillna(dict.fromkeys(counts, 0)).astype(dict.fromkeys(counts, int)).reset_index(drop=True)
    for hits, of, names in (("fixed", "known", ("rate", "low", "high")), ("returns", "fixes", _BACK)):
        low, high = wilson(table[hits].to_numpy(dtype=float), table[of].to_numpy(dtype=float))
        shares = dict(zip(names, (table[hits] / table[of].where(table[of] > 0), low, high), strict=True))
        table = table.join(pd.DataFrame(shares).where(table[of] >= FEWEST_FOR_RATE, axis=0))
    told = table["fixes"] >= FEWEST_FOR_RATE
    together = {
        "compared": made.compared,
        "unnamed": unnamed,
        "p_joint": made.p_joint,
        "p_returns": p_of_one_rate(table.loc[told, "returns"], table.loc[told, "fixes"]),
    }
    said = table["said"].map(words()).fillna("few").astype(object)
    return table.assign(words=said).drop(columns="said"), together


def _together(made: Compared, unit: pd.Series) -> dict[str, float]:
    return {
        "units": len(made.table),
        "compared": made.compared,
        "unnamed": int(unit.isna().sum()),
        "p_joint": made.p_joint,
        "widened": made.widened,
    }


def _on_one_mix(compared: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    """Carry the partly pooled rate and its interval from each unit's own cases to everyone's mix."""
    same_mix = float(cases["is_fixed"].mean()) / compared["target"]
    return compared.assign(**{name: (compared[name] * same_mix).clip(upper=1.0) for name in ("rate", "low", "high")})


def ages(connection: duckdb.DuckDBPyConnection, scope: Scope) -> tuple[pd.DataFrame, dict[str, float]]:
    """Give first-time fixes by age band over the last twelve months.

    Returns
    -------
    tuple
        One row a band, youngest first: value (missing = age not recorded), fixed, known, rate, low, high. And of the
        bands together: compared (with ten faults or more), p_joint (chi-squared test of one rate for all).
    """
    from models.statistics.comparison import p_of_one_rate
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
    aged = counted[(counted["value"] != "not known") & (counted["known"] >= FEWEST_FOR_RATE)]
    together = {"compared": len(aged), "p_joint": p_of_one_rate(aged["fixed"], aged["known"])}
    return counted.assign(
        value=counted["value"].where(counted["value"] != "not known"),
        rate=counted["fixed"] / counted["known"],
        low=low,
        high=high,
    ), together


_EPISODES = f"""
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
    where not episode.is_left_truncated
        and episode.first_visit_date <= $end
        and ($branch is null or {OF_BRANCH})
    order by main.place, episode.episode_id
"""


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
        _EPISODES,
        {
            "first": scope.weighed_from,
            "last": scope.last,
            "kinds": KINDS_SHOWN,
            "end": scope.end,
            "branch": scope.branch,
        },
    ).df()
    as_of = pd.Timestamp(min(scope.as_of, scope.end))
    kinds = episodes["kind"].unique().tolist()
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
