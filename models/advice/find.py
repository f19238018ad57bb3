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
from models.statistics.intervals import wilson

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

FEWEST = 5
USUAL_SHARE = 0.10
FALSE_FINDS = 0.05
READINGS_A_PART = 3
COLUMN_OF = {"part": "part", "kind": "kind", "complaint": "main_symptom", "make": "make", "code": "fault_code"}
CONDITIONS = ("kind", "complaint", "make", "code", "finding")
COLUMNS = (
    "part", "kind", "make", "complaint", "code", "finding", "count", "of", "low", "p_adjusted", "money", "minutes",
    "usually", "look_first", "kinds", "jobs", "part_line_ids",
)  # fmt: skip


def find_advice(
    verdicts: pd.DataFrame,
    findings: pd.DataFrame | None = None,
    *,
    look_first: Mapping[tuple[str, str], str] | None = None,
    fewest: int = FEWEST,
    usual_share: float = USUAL_SHARE,
    false_finds: float = FALSE_FINDS,
) -> pd.DataFrame:
    """Find the patterns in which a part is often not the cause.

    Parameters
    ----------
    verdicts
        Rows of the mart ``part_verdict``: part_line_id, visit_id, part, kind, make, main_symptom, fault_code,
        verdict, confirmed_cause, total_cost, labour_minutes, trip_minutes, and job_no where there is one. Only
        "cured" and "not the cause" count.
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
        Expected share of false finds among the rows given (Benjamini–Hochberg over every pattern looked at).

    Returns
    -------
    DataFrame
        One row a pattern, the most money first: part, kind, make, complaint, code, finding (None = any), count (not
        the cause), of (verdicts), low (one-sided 95 % Wilson bound of the share), p_adjusted, money and minutes lost,
        usually (what it was), look_first, kinds, jobs and part_line_ids of the wrong ones. Overlapping patterns are
        merged to the one that explains most: a pattern whose lines are explained by one already taken does not
        appear.
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
        fewest=fewest,
        usual_share=usual_share,
        false_finds=false_finds,
    )
    found = [_row(known, wrong, pattern, look_first or {}) for pattern in patterns]
    table = pd.DataFrame(found, columns=list(COLUMNS))
    for name in CONDITIONS:
        table[name] = pd.Series([row[name] for row in found], dtype=object)
    return table.sort_values(["money", "count"], ascending=False, kind="stable", ignore_index=True)


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
    if findings is None or findings.empty:
        return pd.DataFrame({"line": pd.Series(dtype="int64"), "finding": pd.Series(dtype=object)})
    lines = known[["visit_id", "part", "kind"]].assign(line=np.arange(len(known)))
    seen = lines.merge(findings[["visit_id", "finding", "value"]].drop_duplicates(), on="visit_id")
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
) -> dict[str, Any]:
    lines = known.iloc[pattern.lines[wrong[pattern.lines]]]
    count, of = len(lines), len(pattern.lines)
    causes = lines["confirmed_cause"].value_counts()
    top = min(causes[causes == causes.max()].index)
    kind = str(lines["kind"][lines["confirmed_cause"] == top].mode().iloc[0])
    jobs = lines["job_no"] if "job_no" in lines else lines["visit_id"]
    minutes = lines["labour_minutes"].fillna(0) + (lines["trip_minutes"].fillna(0) if "trip_minutes" in lines else 0)
    low, _ = wilson(count, of, confidence=0.90)
    return {
        "part": pattern.where["part"],
        **{name: pattern.where.get(name) for name in ("kind", "make", "complaint", "code", "finding")},
        "count": count,
        "of": of,
        "low": low,
        "p_adjusted": pattern.p_adjusted,
        "money": float(lines["total_cost"].fillna(0).sum()),
        "minutes": float(minutes.sum()),
        "usually": str(top),
        "look_first": look_first.get((kind, str(top)), f"look for {top}"),
        "kinds": sorted(lines["kind"].unique()),
        "jobs": [str(job) for job in jobs.dropna().drop_duplicates()],
        "part_line_ids": lines["part_line_id"].tolist(),
    }
