"""Which conditions stand out among lines marked wrong: every cell looked at, tested, corrected, merged."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import betainc, betaln, ndtr, xlogy

from models.statistics.intervals import benjamini_hochberg

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

DEEPEST = 3
WORTH_A_LOOK = 0.05
PARTS_DIFFER = 0.05  # standard deviation of the shares of honest parts; a choice, no source
NATS_A_CONDITION = 1.5


class Pattern(NamedTuple):
    """One cell.

    Attributes
    ----------
    where
        Its conditions, the subject's name first among them.
    lines
        Positions of its lines.
    p_adjusted
        Adjusted p-value.
    usual
        Share of wrong lines held to be usual there.
    passes_from
        Fewest wrong lines with which a cell of its size would have been taken.
    """

    where: dict[str, str]
    lines: Counts
    p_adjusted: float
    usual: float = 0.0
    passes_from: int = 1


@dataclass(frozen=True)
class _Cells:
    """All cells of one set of conditions: ``lines`` cell by cell (from ``rows``), where each starts, its counts."""

    names: tuple[str, ...]
    lines: Counts
    rows: Counts
    starts: Counts
    sizes: Counts
    wrong: Counts
    prints: NDArray[np.uint64]


def stand_out(
    cases: pd.DataFrame,
    wrong: NDArray[np.bool_],
    seen: pd.DataFrame,
    who: NDArray[np.int64],
    *,
    fewest: int,
    usual_share: float,
    false_finds: float,
) -> list[Pattern]:
    """Find the cells whose share of wrong lines is higher than usual, overlapping ones merged.

    Parameters
    ----------
    cases
        One row a line: first the subject (part), then the plain conditions; a missing value meets no condition.
    wrong
        Whether each line is wrong.
    seen
        line (position), finding: any number a line. Findings are not crossed with makes: such cells are many and small,
        and what fails in one make shows without them.
    who
        Number of the person behind each line, from 0 without gaps.
    fewest, usual_share, false_finds
        As in `models.advice.find.find_advice`.

    Returns
    -------
    list
        The pattern that explains most first. Cells with the same lines are one test, under the fewest conditions. A
        cell is tested again without the lines of those before it, at the bar that all cells had to pass.

    Notes
    -----
    A cell passes two tests, and the weaker counts. Against the usual share: exact, where the shares of honest parts
    differ among each other by `PARTS_DIFFER`. Within persons (Mantel & Haenszel 1959, Journal of the National Cancer
    Institute 22, 719–748, from memory): more wrong lines than the same people have elsewhere, so that a kind of work
    that falls to one weak hand is not a pattern.
    """
    sets = list(_cells(cases, wrong, seen, fewest))
    if not sets:
        return []
    which = np.concatenate([np.full(len(cells.starts), number) for number, cells in enumerate(sets)])
    inside = np.concatenate([np.arange(len(cells.starts)) for cells in sets])
    _, first = np.unique(np.concatenate([cells.prints for cells in sets]), return_index=True)
    which, inside = which[np.sort(first)], inside[np.sort(first)]
    size = np.concatenate([cells.sizes for cells in sets])[np.sort(first)]
    count = np.concatenate([cells.wrong for cells in sets])[np.sort(first)]
    depth = np.array([len(cells.names) for cells in sets])[which] - 1
    usual = _usual(count, size, wrong, usual_share)
    within = np.concatenate([_within_persons(cells, wrong, who) for cells in sets])[np.sort(first)]
    p = np.maximum(_p_value(count, size, usual), within)
    adjusted = benjamini_hochberg(p)
    sure = np.flatnonzero(adjusted <= false_finds)
    patterns = [_pattern(sets[which[place]], inside[place], cases, seen, float(adjusted[place])) for place in sure]
    gain = _gain(count[sure], size[sure], usual[sure]) - NATS_A_CONDITION * depth[sure]
    order = sorted(range(len(sure)), key=lambda at: (-gain[at], depth[sure][at], str(patterns[at].where)))
    ranked = [patterns[at]._replace(usual=float(usual[sure[at]])) for at in order]
    return _merged(ranked, wrong, fewest, bar=float(p[sure].max()) if len(sure) else 0.0)


def _merged(ranked: list[Pattern], wrong: NDArray[np.bool_], fewest: int, bar: float) -> list[Pattern]:
    """Take the patterns in turn, each where the lines that those before it do not explain still pass the bar."""
    explained = np.zeros(len(wrong), dtype=bool)
    taken: list[Pattern] = []
    for pattern in ranked:
        left = pattern.lines[~explained[pattern.lines]]
        hits = int(wrong[left].sum())
        if len(left) >= fewest and hits >= 2 and _p_value(hits, len(left), pattern.usual) <= bar:
            passes_from = _fewest_to_pass(len(pattern.lines), pattern.usual, bar)
            taken.append(pattern._replace(passes_from=passes_from))
            explained[pattern.lines] = True
    return taken


def _cells(cases: pd.DataFrame, wrong: NDArray[np.bool_], seen: pd.DataFrame, fewest: int) -> Iterator[_Cells]:
    """Every cell of up to three conditions on one subject, set by set, the fewest conditions first."""
    codes = {name: pd.factorize(cases[name], sort=True)[0].astype(np.int64) for name in cases.columns}
    every = np.arange(len(cases), dtype=np.int64)
    found = pd.factorize(seen["finding"], sort=True)[0].astype(np.int64)
    seen_lines = seen["line"].to_numpy(dtype=np.int64)
    # equal lines give equal sums, different ones practically never: 64 random bits a line
    marks = np.random.default_rng(0).integers(0, 2**63, len(cases), dtype=np.uint64)
    subject, *plain = cases.columns
    for depth in range(DEEPEST + 1):
        for names in combinations([*plain, "finding"], depth):
            if {"make", "finding"} <= set(names):
                continue
            lines = seen_lines if "finding" in names else every
            columns = [found if name == "finding" else codes[name][lines] for name in (subject, *names)]
            meets = np.logical_and.reduce([column >= 0 for column in columns])
            if not meets.any():
                continue
            rows = np.flatnonzero(meets)
            rows = rows[np.lexsort((lines[rows], *(column[rows] for column in columns[::-1])))]
            lines, columns = lines[rows], [column[rows] for column in columns]
            breaks = np.logical_or.reduce([np.diff(column) != 0 for column in columns])
            starts = np.concatenate([[0], np.flatnonzero(breaks) + 1])
            sizes = np.diff(np.append(starts, len(lines)))
            hits = np.add.reduceat(wrong[lines].astype(np.int64), starts)
            prints = np.add.reduceat(marks[lines], starts)
            keep = sizes >= fewest
            yield _Cells((subject, *names), lines, rows, starts[keep], sizes[keep], hits[keep], prints[keep])


def _pattern(cells: _Cells, inside: int, cases: pd.DataFrame, seen: pd.DataFrame, p_adjusted: float) -> Pattern:
    start, size = cells.starts[inside], cells.sizes[inside]
    lines = cells.lines[start : start + size]
    where = {
        name: str(seen["finding"].iloc[cells.rows[start]] if name == "finding" else cases[name].iloc[lines[0]])
        for name in cells.names
    }
    return Pattern(where, lines, p_adjusted)


def _usual(count: Counts, size: Counts, wrong: NDArray[np.bool_], usual_share: float) -> Floats:
    """Share of wrong lines outside each cell, not below the usual one."""
    outside = np.maximum(len(wrong) - size, 1)
    return np.maximum((int(wrong.sum()) - count) / outside, usual_share)


def _p_value(count: Counts | int, size: Counts | int, usual: Floats | float) -> Floats:
    """Chance of as many or more wrong lines at the usual share, which differs among honest parts (beta-binomial).

    Where not even one common share makes so many likely too rare (binomial), that chance stands: it is the smaller.
    """
    hits, of = np.atleast_1d(np.asarray(count)), np.atleast_1d(np.asarray(size))
    mean = np.broadcast_to(np.asarray(usual, dtype=float), hits.shape)
    least = np.maximum(hits, 1)
    chance = np.where(hits > 0, betainc(least, of - least + 1, mean), 1.0)
    for at in np.flatnonzero(chance < WORTH_A_LOOK):
        strength = max(mean[at] * (1 - mean[at]) / PARTS_DIFFER**2 - 1, 1.0)
        alpha, beta = mean[at] * strength, (1 - mean[at]) * strength
        more, n = np.arange(hits[at], of[at] + 1), of[at]
        logs = betaln(more + alpha, n - more + beta) - betaln(alpha, beta) - betaln(more + 1, n - more + 1)
        chance[at] = min(1.0, float(np.exp(logs - np.log(n + 1)).sum()))
    return chance


def _fewest_to_pass(size: int, usual: float, bar: float) -> int:
    """Fewest wrong lines of so many that pass, all of them where none does; more wrong lines never pass less."""
    return bisect_left(range(size), True, key=lambda hits: bool(_p_value(hits, size, usual)[0] <= bar))


def _within_persons(cells: _Cells, wrong: NDArray[np.bool_], who: NDArray[np.int64]) -> Floats:
    """Chance of as many wrong lines in each cell, had every person the same share inside as outside."""
    if not len(cells.starts):
        return np.zeros(0)
    people = int(who.max()) + 1
    all_lines = np.bincount(who, minlength=people).astype(float)
    all_wrong = np.bincount(who[wrong], minlength=people).astype(float)
    place = np.repeat(np.arange(len(cells.starts)), cells.sizes)
    inside = np.concatenate(
        [np.arange(start, start + size) for start, size in zip(cells.starts, cells.sizes, strict=True)]
    )
    pair, n = np.unique(place * people + who[cells.lines[inside]], return_counts=True)
    cell, person = pair // people, pair % people
    of, hits = all_lines[person], all_wrong[person]
    expected = np.bincount(cell, weights=n * hits / of, minlength=len(cells.starts))
    spread = n * (of - n) * hits * (of - hits) / (of**2 * np.maximum(of - 1, 1))
    variance = np.bincount(cell, weights=spread, minlength=len(cells.starts))
    chance = ndtr(-(cells.wrong - expected - 0.5) / np.sqrt(np.maximum(variance, 1e-9)))
    # people with no line elsewhere cannot be held against themselves: that says nothing where there is one person only
    return np.asarray(np.where(variance > 0, chance, float(people > 1)), dtype=float)


def _gain(count: Counts, size: Counts, usual: Floats) -> Floats:
    """Log-likelihood won by giving a cell its own share."""
    share = count / size
    return np.asarray(xlogy(count, share / usual) + xlogy(size - count, (1 - share) / (1 - usual)), dtype=float)
