"""What wrongly swapped parts of a stretch of days cost, and how long it takes until they are known as such.

Every function expects the scope's tables to be laid out (``scope.laid_out``).
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from models.statistics.intervals import FEWEST_FOR_RATE
from pipeline.month.scope import Scope
from pipeline.settings import Settings

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

NEARLY_ALL = 0.95
DEFAULT_COSTS = (Settings.hour_rate, Settings.trip_cost, Settings.trip_minutes)

# a verdict comes with time while the complaint's end, or what follows it, is still awaited; other open ones stay open
_WAITS = """
    verdict = 'still open' and not is_for_review
    and datediff('day', visit_date, $as_of) < coalesce(days_to_verdict, $longest)
"""


_PART_LINES = f"""
    select
        episode_id,
        verdict,
        is_for_review,
        total_cost,
        coalesce(labour_cost, 0) as labour_cost,
        coalesce(trip_cost, 0) as trip_cost,
        coalesce(labour_minutes, 0) + coalesce(trip_minutes, 0) as minutes,
        {_WAITS} as waits
    from report_part
    where visit_date between $first and $end
    order by part_line_id
"""


def wrong_swap_money(
    connection: duckdb.DuckDBPyConnection, scope: Scope, first: dt.date, end: dt.date, delays: pd.DataFrame
) -> dict[str, Any]:
    """Give what wrongly swapped parts of one stretch of days cost, as one figure.

    Parameters
    ----------
    connection, scope, first, end
        The stretch.
    delays
        As `verdict_delays` gives them.

    Returns
    -------
    dict
        parts (lines not the cause), judged (verdicts cured or not the cause), open (still open), to_review (of them,
        until the lists know what cures the cause), waiting (of them, until time has gone by), value (money; of it
        labour, or beside it where is_labour_billed, and trips), minutes, low, high (NaN under ten parts), fitted
        (lines), to_come, to_come_low, to_come_high (of those waiting, to be expected wrong at the usual share before,
        with its 95 % interval; NaN where that is not known), usual (that share), assumed (the costs, where they are the
        defaults that nobody has changed; else None), is_provisional (some wait), is_comparable (none waits, or of the
        wrong parts of such a period 95 % are known by now).
    """
    from models.statistics.change import weighted_count_interval
    from models.statistics.delay import shown_by

    lines = _part_lines(connection, scope, first, end)
    wrong, is_open = lines[lines["verdict"] == "not the cause"], lines["verdict"] == "still open"
    waiting = int(lines["waits"].sum())
    low, high = math.nan, math.nan
    if len(wrong) >= FEWEST_FOR_RATE:
        low, high = weighted_count_interval(wrong.groupby("episode_id")["total_cost"].sum().clip(lower=0).tolist())
    first_day = shown_by(delays["days"], delays["followed"], [(scope.as_of - end).days]) if waiting else [1.0]
    return {
        "parts": len(wrong),
        "judged": int(lines["verdict"].isin(["cured", "not the cause"]).sum()),
        "open": int(is_open.sum()),
        "to_review": int((is_open & lines["is_for_review"]).sum()),
        "waiting": waiting,
        "value": float(wrong["total_cost"].sum()),
        "labour": float(wrong["labour_cost"].sum()),
        "trips": float(wrong["trip_cost"].sum()),
        "is_labour_billed": scope.is_labour_billed,
        "minutes": float(wrong["minutes"].sum()),
        "low": low,
        "high": high,
        **_to_come(connection, scope, first, waiting),
        "fitted": len(lines),
        "assumed": scope.costs if scope.costs == DEFAULT_COSTS else None,
        "is_provisional": waiting > 0,
        "is_comparable": bool(first_day[0] >= NEARLY_ALL),
        "cases": math.inf,  # the interval is that of a number left to chance
    }


def _part_lines(connection: duckdb.DuckDBPyConnection, scope: Scope, first: dt.date, end: dt.date) -> pd.DataFrame:
    longest = scope.waiting_days + scope.window_days
    asked = {"first": first, "end": end, "as_of": scope.as_of, "longest": longest}
    return connection.execute(_PART_LINES, asked).df()


def _to_come(connection: duckdb.DuckDBPyConnection, scope: Scope, first: dt.date, waiting: int) -> dict[str, float]:
    """Give how many of the parts that wait for their verdict are to be expected wrong, at the usual share before."""
    import numpy as np
    from scipy.special import betaln

    ((wrong, judged),) = connection.execute(
        """
        select count(*) filter (where verdict = 'not the cause'), count(*)
        from report_part
        where visit_date >= $shown and visit_date < $first and verdict in ('cured', 'not the cause')
        """,
        {"shown": scope.shown_from, "first": first},
    ).fetchall()
    if judged < FEWEST_FOR_RATE:
        return dict.fromkeys(("to_come", "to_come_low", "to_come_high", "usual"), math.nan)
    a, b = wrong + 0.5, judged - wrong + 0.5  # beta-binomial, Jeffreys' prior, so that none so far is not never
    count = np.arange(waiting + 1)
    ways = -betaln(count + 1, waiting - count + 1) - np.log(waiting + 1)
    at_most = np.cumsum(np.exp(ways + betaln(count + a, waiting - count + b) - betaln(a, b)))
    low, high = np.minimum(np.searchsorted(at_most, (0.025, 0.975)), waiting)
    return {
        "to_come": waiting * a / (a + b),
        "to_come_low": float(low),
        "to_come_high": float(high),
        "usual": wrong / judged,
    }


def verdict_delays(connection: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """Give how long parts that were not the cause took to be known as such, for those fitted in two years.

    Returns
    -------
    DataFrame
        One row a wrong part: days (from fitting to the day its verdict could be given), followed (days from fitting to
        the end of follow-up).
    """
    return connection.execute(
        """
        select days_to_verdict as days, datediff('day', visit_date, $as_of) as followed
        from part_verdict
        where verdict = 'not the cause' and visit_date between $first and $as_of
        order by all
        """,
        {"as_of": scope.as_of, "first": scope.shown_from},
    ).df()
