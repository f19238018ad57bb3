"""Where a part is often not the cause: patterns of complaint, code, finding, kind and make, found by search.

"On this complaint, with this finding, look at X before fitting P: 14 of 19 were not the cause." Every pattern is
tested against the price of working by odds (a share of wrong parts that no workshop escapes), corrected for
everything else that was looked at, and opens to its jobs.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import betainc

from models.rates import benjamini_hochberg, wilson

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Rows = NDArray[np.int64]

FEWEST = 5
USUAL_SHARE = 0.10
FALSE_FINDS = 0.05
DEEPEST = 3
NATS_A_CONDITION = 1.5
READINGS_A_PART = 3
CONDITIONS = ("kind", "complaint", "make", "code", "finding")
COLUMNS = (
    "part", "kind", "make", "complaint", "code", "finding", "count", "of", "low", "p_adjusted", "money", "minutes",
    "usually", "look_first", "kinds", "jobs", "part_line_ids",
)  # fmt: skip


class _Pattern(NamedTuple):
    """One cell of the search: its conditions, its lines (positions), how many were wrong, and how it scores."""

    part: str
    where: dict[str, str]
    rows: Rows
    wrong: int
    gain: float


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
    patterns = list(_patterns(known, wrong, _findings_of(known, findings), fewest, usual_share))
    if not patterns:
        return pd.DataFrame(columns=list(COLUMNS))
    size = np.array([len(pattern.rows) for pattern in patterns])
    count = np.array([pattern.wrong for pattern in patterns])
    p = _p_value(count, size, _usual(count, size, wrong, usual_share))
    adjusted = benjamini_hochberg(p)
    sure = sorted(
        (place for place in range(len(patterns)) if adjusted[place] <= false_finds),
        key=lambda place: (-patterns[place].gain, len(patterns[place].where), str(patterns[place][:2])),
    )
    bar = max((float(p[place]) for place in sure), default=0.0)
    taken: list[int] = []
    explained = np.zeros(len(known), dtype=bool)
    for place in sure:
        rows = patterns[place].rows
        left = rows[~explained[rows]]
        hits = int(wrong[left].sum())
        if len(left) < fewest or hits < 2:
            continue
        again = _p_value(
            np.array([hits]), np.array([len(left)]), _usual(count[[place]], size[[place]], wrong, usual_share)
        )
        if again[0] <= bar:
            taken.append(place)
            explained[rows] = True
    found = [_row(known, wrong, patterns[place], float(adjusted[place]), look_first or {}) for place in taken]
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


def _patterns(
    known: pd.DataFrame, wrong: NDArray[np.bool_], seen: pd.DataFrame, fewest: int, usual_share: float
) -> Iterator[_Pattern]:
    """Every cell of up to three conditions on one part, each set of lines once, under its fewest conditions.

    Makes are not crossed with findings: such cells are many and small, and what fails in one make shows without them.
    """
    plain = pd.DataFrame(
        {
            "line": np.arange(len(known)),
            "part": known["part"],
            "kind": known["kind"],
            "complaint": known["main_symptom"],
            "make": known["make"],
            "code": known["fault_code"],
        }
    )
    with_findings = plain.merge(seen, on="line")
    met: set[tuple[str, bytes]] = set()
    for depth in range(DEEPEST + 1):
        for names in combinations(CONDITIONS, depth):
            if {"make", "finding"} <= set(names):
                continue
            cases = with_findings if "finding" in names else plain
            cells = cases.dropna(subset=list(names)).groupby(["part", *names], sort=True)["line"]
            for key, rows in cells.indices.items():
                if len(rows) < fewest:
                    continue
                values = key if isinstance(key, tuple) else (key,)
                lines = np.sort(cells.obj.to_numpy()[rows])
                mark = (str(values[0]), lines.tobytes())
                if mark in met:
                    continue
                met.add(mark)
                count = int(wrong[lines].sum())
                rate = _usual(np.array([count]), np.array([len(lines)]), wrong, usual_share)[0]
                gain = _gain(count, len(lines), float(rate)) - NATS_A_CONDITION * depth
                yield _Pattern(str(values[0]), dict(zip(names, map(str, values[1:]), strict=True)), lines, count, gain)


def _usual(count: Any, size: Any, wrong: NDArray[np.bool_], usual_share: float) -> Floats:
    """Share of wrong parts outside the pattern, not below the usual one."""
    outside = np.maximum(len(wrong) - size, 1)
    return np.asarray(np.maximum((wrong.sum() - count) / outside, usual_share), dtype=float)


def _p_value(count: Any, size: Any, rate: Floats) -> Floats:
    """Chance of as many or more wrong parts at the usual share (exact binomial)."""
    least = np.maximum(count, 1)
    return np.where(count > 0, betainc(least, size - least + 1, rate), 1.0)


def _gain(count: int, size: int, rate: float) -> float:
    """Log-likelihood won by giving the pattern its own share; negative where it has fewer wrong parts than usual."""
    share = count / size
    if share <= rate:
        return -1.0
    gain = count * np.log(share / rate)
    return float(gain + ((size - count) * np.log((1 - share) / (1 - rate)) if count < size else 0.0))


def _row(
    known: pd.DataFrame,
    wrong: NDArray[np.bool_],
    pattern: _Pattern,
    p_adjusted: float,
    look_first: Mapping[tuple[str, str], str],
) -> dict[str, Any]:
    lines = known.iloc[pattern.rows[wrong[pattern.rows]]]
    causes = lines["confirmed_cause"].value_counts()
    top = min(causes[causes == causes.max()].index)
    kind = str(lines["kind"][lines["confirmed_cause"] == top].mode().iloc[0])
    jobs = lines["job_no"] if "job_no" in lines else lines["visit_id"]
    minutes = lines["labour_minutes"].fillna(0) + (lines["trip_minutes"].fillna(0) if "trip_minutes" in lines else 0)
    low, _ = wilson(pattern.wrong, len(pattern.rows), confidence=0.90)
    return {
        "part": pattern.part,
        **{name: pattern.where.get(name) for name in ("kind", "make", "complaint", "code", "finding")},
        "count": pattern.wrong,
        "of": len(pattern.rows),
        "low": low,
        "p_adjusted": p_adjusted,
        "money": float(lines["total_cost"].fillna(0).sum()),
        "minutes": float(minutes.sum()),
        "usually": str(top),
        "look_first": look_first.get((kind, str(top)), f"look for {top}"),
        "kinds": sorted(lines["kind"].unique()),
        "jobs": [str(job) for job in jobs.dropna().drop_duplicates()],
        "part_line_ids": lines["part_line_id"].tolist(),
    }
