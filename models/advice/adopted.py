"""Did it help? The wrong parts of an advice row before and since it was adopted, against those of all other parts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.advice.find import COLUMN_OF
from models.statistics.change import difference
from models.statistics.comparison import beta_binomial
from models.statistics.intervals import FEWEST_FOR_RATE, wilson

if TYPE_CHECKING:
    from collections.abc import Mapping

FEWEST_IGNORED = 5
MONTHS_BEFORE = 12
LAST_MONTHS = 3
SURE = 1.645
HELPED, FELL_BEFORE, IGNORED = "helped", "fell before", "not followed"
TOO_EARLY, TOO_LITTLE, UNCLEAR = "too early", "too little before", "no clear change"


@dataclass(frozen=True)
class BeforeAndAfter:
    """Wrong parts before and since a day.

    Attributes
    ----------
    before, before_of, after, after_of
        Not the cause, of how many verdicts: in the twelve months before the day, and since.
    others_before, others_before_of, others_after, others_after_of
        The same of all lines of other parts.
    last, last_of
        Of the last three months before the day.
    change, low, high
        Share since less share before, with its 95 % interval; NaN when either side is empty.
    expected_anyway
        Share to expect since, had nothing been done: the share before, less what of it was luck (rows are picked for
        standing out), moved as the other parts' share has moved.
    months, pace
        Months since the day, and verdicts a month before it.
    state
        helped, fell before, not followed, too early, too little before, no clear change.
    said
        The answer in plain words.
    """

    before: int
    before_of: int
    after: int
    after_of: int
    others_before: int
    others_before_of: int
    others_after: int
    others_after_of: int
    last: int
    last_of: int
    change: float
    low: float
    high: float
    expected_anyway: float
    months: float
    pace: float
    state: str
    said: str


def did_it_help(
    verdicts: pd.DataFrame,
    row: Mapping[str, Any],
    adopted_on: pd.Timestamp,
    findings: pd.DataFrame | None = None,
    *,
    as_of: pd.Timestamp | None = None,
) -> BeforeAndAfter:
    """Compare an advice row's share of wrong parts before and since it was adopted, by difference in differences.

    Parameters
    ----------
    verdicts, findings
        As in `models.advice.find.find_advice`, with ``visit_date``.
    row
        An advice row: part, kind, make, complaint, code, finding (None = any).
    adopted_on
        The first day that counts as "since".
    as_of
        Day up to which visits are known; default the last visit date.

    Notes
    -----
    Credit is given where log(since / before) of the row lies below that of all other parts by more than 1.645 standard
    errors, the count before first drawn toward the shares of all parts and complaints by as much as those differ among
    each other (beta-binomial). With fewer than ten lines of other parts before or since, the row alone is compared. An
    advice that is followed also makes its pattern rarer: compare the counts too. No credit is given where the last
    three months before are likelier at the share since than at the share before them: then the fall came first.
    """
    known = verdicts[verdicts["verdict"].isin(["cured", "not the cause"])]
    is_wrong = known["verdict"] == "not the cause"
    days = pd.to_datetime(known["visit_date"])
    day, end = pd.Timestamp(adopted_on), pd.Timestamp(as_of) if as_of is not None else days.max()
    is_after = days >= day
    is_before = ~is_after & (days >= day - pd.DateOffset(months=MONTHS_BEFORE))
    is_last = ~is_after & (days >= day - pd.DateOffset(months=LAST_MONTHS))
    inside = _matches(known, row, findings)
    others = known["part"] != row["part"]

    def counted(where: pd.Series) -> tuple[int, int]:
        return int((is_wrong & where).sum()), int(where.sum())

    before, after, last = (counted(inside & when) for when in (is_before, is_after, is_last))
    others_before, others_after = counted(others & is_before), counted(others & is_after)
    change = low = high = math.nan
    if before[1] and after[1]:
        change, low, high = difference(after[0] / after[1], *wilson(*after), before[0] / before[1], *wilson(*before))
    drawn = _less_luck(known[is_before], is_wrong[is_before], *before)
    expected = drawn * _moved(others_before, others_after)
    months = max(0.0, (end - day).days / 30.44)
    pace = before[1] / MONTHS_BEFORE
    state = _state(before, after, last, others_before, others_after, drawn, expected, months, pace)
    said = _said(state, before, after, last, expected, months, pace)
    return BeforeAndAfter(
        *before, *after, *others_before, *others_after, *last, change, low, high, expected, months, pace, state, said
    )


def _matches(known: pd.DataFrame, row: Mapping[str, Any], findings: pd.DataFrame | None) -> pd.Series:
    inside = pd.Series(True, index=known.index)
    for name, column in COLUMN_OF.items():
        if row[name] is not None:
            inside &= known[column] == row[name]
    wanted = row["finding"]
    if wanted is None:
        return inside
    if findings is None:
        raise ValueError("the row names a finding, so the findings are needed")
    if wanted.endswith(" not recorded"):
        seen = findings.loc[findings["finding"] == wanted.removesuffix(" not recorded"), "visit_id"]
        return inside & ~known["visit_id"].isin(seen)
    seen = findings.loc[findings["finding"] + "=" + findings["value"] == wanted, "visit_id"]
    return inside & known["visit_id"].isin(seen)


def _less_luck(known: pd.DataFrame, is_wrong: pd.Series, before: int, before_of: int) -> float:
    """Share before, drawn toward the common share by as much as parts and complaints differ among each other."""
    if not before_of:
        return math.nan
    cells = is_wrong.groupby([known["part"], known["main_symptom"].fillna("not told")]).agg(["sum", "count"])
    rate, strength = beta_binomial(cells["sum"], cells["count"])
    common = float(np.average(rate, weights=cells["count"]))
    return (before + common * strength) / (before_of + strength)


def _moved(before: tuple[int, int], after: tuple[int, int]) -> float:
    """How the share of others has moved: since over before; half a line is added so that none is not nothing."""
    if min(before[1], after[1]) < FEWEST_FOR_RATE:
        return 1.0
    return ((after[0] + 0.5) / (after[1] + 1)) / ((before[0] + 0.5) / (before[1] + 1))


def _state(
    before: tuple[int, int],
    after: tuple[int, int],
    last: tuple[int, int],
    others_before: tuple[int, int],
    others_after: tuple[int, int],
    drawn: float,
    expected: float,
    months: float,
    pace: float,
) -> str:
    if before[1] < FEWEST_FOR_RATE:
        return TOO_LITTLE
    earlier = (before[0] - last[0], before[1] - last[1])
    if min(last[1], earlier[1]) >= FEWEST_IGNORED:
        _, _, high = difference(last[0] / last[1], *wilson(*last), earlier[0] / earlier[1], *wilson(*earlier))
        if high < 0:
            return FELL_BEFORE
    if after[1] >= FEWEST_FOR_RATE:
        expected_before = (drawn * before[1], before[1])
        pairs = [expected_before, after]
        if min(others_before[1], others_after[1]) >= FEWEST_FOR_RATE:
            pairs += [others_before, others_after]
        spread = math.sqrt(sum(_spread(*pair) for pair in pairs))
        share = (after[0] + 0.5) / (after[1] + 1)
        if math.log(share / expected) < -SURE * spread:
            was = (earlier[0] + 0.5) / (earlier[1] + 1) if earlier[1] else drawn
            return HELPED if _log_odds(last, was, share) >= 0 else FELL_BEFORE
    if after[1] >= FEWEST_IGNORED and wilson(*after)[0] > expected / 2:
        return IGNORED
    return TOO_EARLY if after[1] < FEWEST_FOR_RATE and months * pace < FEWEST_FOR_RATE else UNCLEAR


def _log_odds(seen: tuple[int, int], high: float, low: float) -> float:
    """How much likelier it is to have seen so many at one share than at another, as a logarithm."""
    hits, of = seen
    return hits * math.log(high / low) + (of - hits) * math.log((1 - high) / (1 - low))


def _spread(hits: float, of: float) -> float:
    """Variance of the logarithm of a share."""
    return 1 / (hits + 0.5) - 1 / (of + 1)


def _said(
    state: str,
    before: tuple[int, int],
    after: tuple[int, int],
    last: tuple[int, int],
    expected: float,
    months: float,
    pace: float,
) -> str:
    since = f"{after[0]} of {after[1]} were not the cause since"
    if state == TOO_LITTLE:
        return f"too few of them in the year before to compare with: {since}"
    if state == FELL_BEFORE:
        return (
            f"it seems to have fallen by itself before it was taken up: {last[0]} of {last[1]} in the three months "
            f"before, {before[0]} of {before[1]} in the year; {since}"
        )
    if state == HELPED:
        return f"fewer wrong parts, and fewer than the {expected:.0%} to expect had nothing been done: {since}"
    if state == IGNORED:
        return (
            f"it does not look followed: {since}; {expected:.0%} is to be expected had nothing been done (the share "
            "before, drawn towards that of all parts and moved as theirs has moved)"
        )
    if state == TOO_EARLY:
        left = max(1, math.ceil(FEWEST_FOR_RATE / pace - months)) if pace else 1
        return f"too early to say: {since}; at the pace before in about {left} more months"
    return f"no change that stands out from chance: {since}, {expected:.0%} to expect without it"
