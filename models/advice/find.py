"""Where a part is often not the cause: patterns of complaint, code, finding, kind and make, found by search.

"On this complaint, with this finding, look at X before fitting P: 14 of 19 were not the cause." Every pattern is
tested against the price of working by odds (a share of wrong parts that no workshop escapes), corrected for
everything else that was looked at, and opens to its jobs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.advice.patterns import Pattern, stand_out
from models.advice.winners_curse import likely_share
from models.statistics.change import difference
from models.statistics.intervals import wilson

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

FEWEST = 5
USUAL_SHARE = 0.10
FALSE_FINDS = 0.08
READINGS_A_PART = 3
RECENT_MONTHS = 12
COLUMN_OF = {"part": "part", "kind": "kind", "complaint": "main_symptom", "make": "make", "code": "fault_code"}
CONDITIONS = ("kind", "complaint", "make", "code", "finding")
COLUMNS = (
    "part", "kind", "make", "complaint", "code", "finding", "count", "of", "share", "low", "usual", "p_adjusted",
    "trend", "recent_count", "recent_of", "first_date", "last_date", "lost", "money", "minutes", "usually",
    "usually_count", "suspects", "look_first", "most_by_one", "kinds", "jobs", "part_line_ids",
)  # fmt: skip


def find_advice(
    verdicts: pd.DataFrame,
    findings: pd.DataFrame | None = None,
    *,
    look_first: Mapping[tuple[str, str], str] | None = None,
    fewest: int = FEWEST,
    usual_share: float = USUAL_SHARE,
    false_finds: float = FALSE_FINDS,
    as_of: pd.Timestamp | None = None,
) -> pd.DataFrame:
    """Find the patterns in which a part is often not the cause.

    Parameters
    ----------
    verdicts
        Rows of the mart ``part_verdict``: part_line_id, visit_id, part, kind, make, main_symptom, fault_code,
        verdict, confirmed_cause, total_cost, labour_minutes, trip_minutes, and job_no where there is one. Only
        "cured" and "not the cause" count. With technician (who fitted it; missing = not recorded) the patterns are
        tested within technicians. With visit_date the rows have a trend.
    findings
        What was known when the part went in: visit_id, finding, value. A part is also compared by what was *not*
        written down: "element not recorded".
    look_first
        (kind, cause) → what to look at first; default "look for" and the cause.
    fewest
        Verdicts below which a pattern is never stated.
    usual_share
        Share of wrong parts that is the price of working by odds; the workshop's own share outside the pattern, if
        that is higher.
    false_finds
        Expected share of false finds among the rows given (Benjamini–Hochberg over every pattern looked at). Patterns
        are small and lie inside each other, so that fewer are false (``tests.benchmarks.truth.advice``).
    as_of
        Day up to which visits are known; default the last visit date. The trend holds the twelve months before it
        against the time before those.

    Returns
    -------
    DataFrame
        One row a pattern, the most money first, ended ones last: part, kind, make, complaint, code, finding (None =
        any), count (not the cause), of (verdicts), share and low (likely share and its 95 % lower bound, corrected for
        having been picked: `honest.likely_share`), usual (share that is usual there), p_adjusted, trend (rising,
        steady, fading, ended), recent_count, recent_of (of the last twelve months), first_date, last_date (of the wrong
        ones), lost (what all wrong ones cost), money (what those above the usual share are likely to have cost in
        the last twelve months), minutes (labour and trips of all wrong ones), usually (what it was most often),
        usually_count, suspects (the causes that are more than half of the wrong ones), look_first, most_by_one (wrong
        ones of the technician with most; 0 where there is one alone), kinds, jobs and part_line_ids of the wrong ones.
        Overlapping patterns are merged to the one that explains most: a pattern whose lines are explained by one
        already taken does not appear.
    """
    known = verdicts[verdicts["verdict"].isin(["cured", "not the cause"])].reset_index(drop=True)
    wrong = (known["verdict"] == "not the cause").to_numpy()
    if wrong.sum() == 0:
        return pd.DataFrame(columns=list(COLUMNS))
    cases = known[list(COLUMN_OF.values())].set_axis(list(COLUMN_OF), axis=1)
    patterns = stand_out(
        cases,
        wrong,
        _findings_of(known, findings),
        pd.factorize(known["technician"].fillna("") if "technician" in known else np.zeros(len(known)))[0],
        fewest=fewest,
        usual_share=usual_share,
        false_finds=false_finds,
    )
    if "technician" in known and known["technician"].nunique() < 2:
        known = known.drop(columns="technician")  # one alone has no colleagues to be held against
    day = pd.Timestamp(as_of) if as_of is not None else pd.to_datetime(known["visit_date"]).max()
    found = [_row(known, wrong, pattern, look_first or {}, day) for pattern in patterns]
    table = pd.DataFrame(found, columns=list(COLUMNS))
    for name in CONDITIONS:
        table[name] = pd.Series([row[name] for row in found], dtype=object)
    order = pd.DataFrame({"ended": table["trend"] == "ended", "money": -table["money"], "count": -table["count"]})
    return table.loc[order.sort_values(["ended", "money", "count"], kind="stable").index].reset_index(drop=True)


def said(row: Mapping[str, Any]) -> str:
    """Say one row of advice as a sentence.

    Examples
    --------
    >>> said({"part": "level sensor", "kind": None, "make": None, "complaint": "does not drain", "code": None,
    ...       "finding": "water left=no", "count": 14, "of": 19, "look_first": "inspect sump hose"})
    'does not drain, water left=no: inspect sump hose before fitting level sensor: 14 of 19 were not the cause'
    """
    conditions = [str(row[name]) for name in CONDITIONS if row[name] is not None]
    start = ", ".join(conditions) + ": " if conditions else ""
    return f"{start}{row['look_first']} before fitting {row['part']}: {row['count']} of {row['of']} were not the cause"


def _findings_of(known: pd.DataFrame, findings: pd.DataFrame | None) -> pd.DataFrame:
    """One row a line and a thing seen, or not written down, when the part went in."""
    nothing = pd.DataFrame({"line": pd.Series(dtype="int64"), "finding": pd.Series(dtype=object)})
    if findings is None:
        return nothing
    lines = known[["visit_id", "part", "kind"]].assign(line=np.arange(len(known)))
    seen = lines.merge(findings[["visit_id", "finding", "value"]].drop_duplicates(), on="visit_id")
    if seen.empty:
        return nothing
    usual = _own_readings(lines, seen)
    missing = lines.merge(usual[["part", "finding"]], on="part").merge(
        seen[["line", "finding"]].drop_duplicates().assign(is_seen=True), on=["line", "finding"], how="left"
    )
    missing = missing[missing["is_seen"].isna()]
    return pd.concat(
        [
            pd.DataFrame({"line": seen["line"], "finding": seen["finding"] + "=" + seen["value"]}),
            pd.DataFrame({"line": missing["line"], "finding": missing["finding"] + " not recorded"}),
        ],
        ignore_index=True,
    ).drop_duplicates()


def _own_readings(lines: pd.DataFrame, seen: pd.DataFrame) -> pd.DataFrame:
    """The readings that belong to a part: written down with it more often than with other parts of the same kinds."""
    once = seen.drop_duplicates(["line", "finding"])
    kinds = lines.groupby(["part", "kind"]).size().rename("lines").reset_index()
    of_kind = lines.groupby("kind").size()
    uses = once.groupby(["part", "finding"]).size().rename("uses").reset_index()
    in_kind = once.groupby(["kind", "finding"]).size().rename("kind_uses").reset_index()
    around = kinds.merge(in_kind, on="kind")
    around["expected"] = around["lines"] * around["kind_uses"] / around["kind"].map(of_kind)
    expected = around.groupby(["part", "finding"])["expected"].sum().reset_index()
    ranked = uses.merge(expected, on=["part", "finding"])
    ranked["more"] = ranked["uses"] - ranked["expected"]
    ranked = ranked[(ranked["uses"] >= FEWEST) & (ranked["more"] > 0)]
    ranked = ranked.sort_values(["part", "more", "finding"], ascending=[True, False, True])
    return ranked.groupby("part").head(READINGS_A_PART)


def _row(
    known: pd.DataFrame,
    wrong: NDArray[np.bool_],
    pattern: Pattern,
    look_first: Mapping[tuple[str, str], str],
    as_of: pd.Timestamp,
) -> dict[str, Any]:
    every, is_wrong = known.iloc[pattern.lines], wrong[pattern.lines]
    lines = every[is_wrong]
    count, of = len(lines), len(every)
    causes = lines["confirmed_cause"].value_counts()
    suspects = _suspects(causes, count)
    who = lines["technician"].value_counts() if "technician" in known else pd.Series(dtype=int)
    kinds = sorted(lines["kind"].unique())
    jobs = lines["job_no"] if "job_no" in lines else lines["visit_id"]
    minutes = lines["labour_minutes"].fillna(0) + (lines["trip_minutes"].fillna(0) if "trip_minutes" in lines else 0)
    days = pd.to_datetime(every["visit_date"])
    is_recent = (days > as_of - pd.DateOffset(months=RECENT_MONTHS)).to_numpy()
    recent_count, recent_of = int((is_recent & is_wrong).sum()), int(is_recent.sum())
    share, low = likely_share(count, of, pattern.passes_from, pattern.usual)
    cost = lines["total_cost"].fillna(0)
    is_last_year = is_recent[is_wrong]
    return {
        "part": pattern.where["part"],
        **{name: pattern.where.get(name) for name in ("kind", "make", "complaint", "code", "finding")},
        "count": count,
        "of": of,
        "share": share,
        "low": low,
        "usual": pattern.usual,
        "p_adjusted": pattern.p_adjusted,
        "trend": _trend(recent_count, recent_of, count - recent_count, of - recent_of, pattern.usual),
        "recent_count": recent_count,
        "recent_of": recent_of,
        "first_date": days[is_wrong].min(),
        "last_date": days[is_wrong].max(),
        "lost": float(cost.sum()),
        "money": float(cost[is_last_year].sum()) * min(1.0, share / (count / of)) * (1 - pattern.usual / share),
        "minutes": float(minutes.sum()),
        "usually": suspects[0],
        "usually_count": int(causes.max()),
        "suspects": suspects,
        "look_first": _look(suspects, kinds, look_first),
        "most_by_one": int(who.max()) if len(who) else 0,
        "kinds": kinds,
        "jobs": [str(job) for job in jobs.dropna().drop_duplicates()],
        "part_line_ids": lines["part_line_id"].tolist(),
    }


def _suspects(causes: pd.Series, count: int) -> list[str]:
    """The most frequent causes that together are more than half of the wrong lines."""
    ranked = sorted(causes.items(), key=lambda item: (-item[1], str(item[0])))
    so_far = np.cumsum([times for _, times in ranked])
    needed = int(np.searchsorted(so_far, count / 2, side="right")) + 1
    return [str(cause) for cause, _ in ranked[:needed]]


def _look(suspects: list[str], kinds: list[str], look_first: Mapping[tuple[str, str], str]) -> str:
    """What to look at first: the check that tells the one suspect, where all kinds of the pattern have it."""
    looks = {look_first.get((kind, suspects[0])) for kind in kinds}
    look = looks.pop() if len(suspects) == len(looks) == 1 else None
    return look or f"look for {' or '.join(suspects)}"


def _trend(count: int, of: int, before: int, before_of: int, usual: float) -> str:
    """Say whether a pattern still happens: the last twelve months against the time before."""
    if of == 0:
        return "ended"
    if before_of == 0:
        return "steady"
    _, low, high = difference(count / of, *wilson(count, of), before / before_of, *wilson(before, before_of))
    if high < 0:
        return "ended" if count / of <= usual else "fading"
    return "rising" if low > 0 else "steady"
