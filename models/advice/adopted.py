"""Did it help? The wrong parts of an advice row before and since it was adopted, and what would have come anyway."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.advice.find import COLUMN_OF
from models.statistics.change import difference
from models.statistics.comparison import beta_binomial
from models.statistics.intervals import wilson

if TYPE_CHECKING:
    from collections.abc import Mapping

FEWEST = 10


@dataclass(frozen=True)
class BeforeAndAfter:
    """Wrong parts before and since a day.

    Attributes
    ----------
    before, before_of, after, after_of
        Not the cause, of how many verdicts.
    change, low, high
        Share since less share before, with its 95 % interval; NaN when either side is empty.
    expected_anyway
        Share to expect since, had nothing changed: the rows were picked because they stood out, so part of that was
        luck and goes by itself (regression to the mean).
    said
        The answer in plain words.
    """

    before: int
    before_of: int
    after: int
    after_of: int
    change: float
    low: float
    high: float
    expected_anyway: float
    said: str


def did_it_help(
    verdicts: pd.DataFrame, row: Mapping[str, Any], adopted_on: pd.Timestamp, findings: pd.DataFrame | None = None
) -> BeforeAndAfter:
    """Compare an advice row's share of wrong parts before and since it was adopted.

    Parameters
    ----------
    verdicts, findings
        As in `models.advice.find.find_advice`, with ``visit_date``.
    row
        An advice row: part, kind, make, complaint, code, finding (None = any).
    adopted_on
        The first day that counts as "since".

    Notes
    -----
    Interval of the difference: method 10 of Newcombe 1998, Statistics in Medicine 17, 873–890. Expected anyway: the
    share before, drawn toward the shares of all parts and complaints by as much as those differ among each other
    (beta-binomial). An advice that is followed also makes its pattern rarer: compare the counts too.
    """
    known = verdicts[verdicts["verdict"].isin(["cured", "not the cause"])]
    is_wrong = known["verdict"] == "not the cause"
    is_before = pd.to_datetime(known["visit_date"]) < pd.Timestamp(adopted_on)
    inside = _matches(known, row, findings)
    before, before_of = int((is_wrong & is_before & inside).sum()), int((is_before & inside).sum())
    after, after_of = int((is_wrong & ~is_before & inside).sum()), int((~is_before & inside).sum())
    change = low = high = math.nan
    if before_of and after_of:
        change, low, high = difference(
            after / after_of, *wilson(after, after_of), before / before_of, *wilson(before, before_of)
        )
    expected = _expected_anyway(known[is_before], is_wrong[is_before], before, before_of)
    said = _said(before_of, after, after_of, high, expected)
    return BeforeAndAfter(before, before_of, after, after_of, change, low, high, expected, said)


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


def _expected_anyway(known: pd.DataFrame, is_wrong: pd.Series, before: int, before_of: int) -> float:
    if not before_of:
        return math.nan
    cells = is_wrong.groupby([known["part"], known["main_symptom"].fillna("not told")]).agg(["sum", "count"])
    rate, strength = beta_binomial(cells["sum"], cells["count"])
    common = float(np.average(rate, weights=cells["count"]))
    return (before + common * strength) / (before_of + strength)


def _said(before_of: int, after: int, after_of: int, high: float, expected: float) -> str:
    if before_of < FEWEST or after_of < FEWEST:
        return f"too early to say: {after} of {after_of} were not the cause since"
    share = after / after_of
    if not high < 0:
        return "no change that stands out from chance"
    _, reach = wilson(after, after_of)
    if reach < expected:
        return f"fewer wrong parts, and fewer than the {expected:.0%} to expect if nothing had changed"
    return (
        f"fewer wrong parts ({share:.0%}), but {expected:.0%} was to be expected even if nothing had changed: "
        "part of it may be luck"
    )
