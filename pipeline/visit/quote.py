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

    Labour is what the workshop billed for such jobs, or the hour's rate where its records hold no charges.

    Parameters
    ----------
    shifts
        Name of an amount → what later jobs taught of it; see `pipeline.visit.later_jobs`.
    """
    import numpy as np

    from models.plan.quote import billing, quote_range, shifted

    jobs = evidence.similar
    likely = {cause: p for cause, p in odds.causes.items() if p >= LEAST_ODDS}
    if not likely:
        return {}
    minutes = {cause: costs.minutes(cause) + LOOKING_MINUTES for cause in likely}
    parts = {cause: sum(costs.price(part) for part in costs.repair(cause).parts) for cause in likely}
    to_come, a_minute = billing(jobs.minutes, jobs.charge, costs.rate)
    money = {cause: to_come + minutes[cause] * a_minute + parts[cause] for cause in likely}
    labour = np.where(np.isfinite(jobs.charge), jobs.charge, to_come + jobs.minutes * a_minute)
    ranges = {
        "money": quote_range(likely, jobs.cause, labour + np.nan_to_num(jobs.parts), money),
        "minutes": quote_range(likely, jobs.cause, jobs.minutes, minutes),
        "parts": quote_range(likely, jobs.cause, jobs.parts, parts),
    }
    return {name: shifted(told, (shifts or {}).get(name, ())) for name, told in ranges.items()}
