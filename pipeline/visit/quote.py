"""What a call may cost, as a range: minutes, parts and money of jobs like it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.visit.costs import Costs
    from pipeline.visit.odds import Odds
    from pipeline.visit.similar_jobs import Evidence

Range = tuple[float, float, float]
LEAST_ODDS = 0.01
LOOKING_MINUTES = (
    15.0  # what finding a cause takes beside curing it, for a quote with few jobs (common practice, no source)
)


def quote(
    costs: Costs, evidence: Evidence, odds: Odds, shifts: Mapping[str, Sequence[float]] | None = None
) -> dict[str, Range]:
    """P10, P50 and P90 of money, minutes and parts; empty where no cause is known.

    Parameters
    ----------
    shifts
        Name of an amount → what later jobs taught of it; see `pipeline.visit.later_jobs`.
    """
    import numpy as np

    from models.plan.quote import quote_range, shifted

    jobs = evidence.similar
    likely = {cause: p for cause, p in odds.causes.items() if p >= LEAST_ODDS}
    if not likely:
        return {}
    minutes = {cause: costs.minutes(cause) + LOOKING_MINUTES for cause in likely}
    parts = {cause: sum(costs.price(part) for part in costs.repair(cause).parts) for cause in likely}
    money = {cause: minutes[cause] * costs.rate + parts[cause] for cause in likely}
    paid = jobs["parts_cost"].to_numpy(dtype=float, na_value=float("nan"))
    took = jobs["labour_minutes"].to_numpy(dtype=float, na_value=float("nan"))
    spent = took * costs.rate + np.nan_to_num(paid)
    causes = jobs["cause"].tolist()
    ranges = {
        "money": quote_range(likely, causes, spent, money),
        "minutes": quote_range(likely, causes, took, minutes),
        "parts": quote_range(likely, causes, paid, parts),
    }
    return {name: shifted(told, (shifts or {}).get(name, ())) for name, told in ranges.items()}
