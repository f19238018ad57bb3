"""What to load for a round of calls: the parts whose expected saving of a further trip pays their place in the van.

A call is cured in one visit when its cause needs no part, or when every part it needs is still in the van on arrival;
calls are served in order. A unit carried costs the same whatever its price: it is picked, carried and comes back. So
the list that saves most is also the one with the best chance of one-visit cures among all lists of its size.

Parts that no cause needs together do not touch each other: every filling of each such group is tried and the places are
shared out among the groups, which is exact. A group too large for that makes the choice a binary programme solved by
SciPy's ``milp``, mended by exact evaluation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np

ONE_BY_ONE = 3_000
SMALLEST = 1e-4
SMALLEST_PATH = 1e-8
MOST_STATES = 3_000
DRAWS = 20_000

Needs = tuple[frozenset[str], float]


@dataclass(frozen=True)
class VanList:
    """What to carry and what it brings.

    Attributes
    ----------
    units
        Part → units to carry; parts not carried are left out.
    expected_use
        Part → expected number of calls that need it, carried or not.
    one_visit_cures
        Expected number of calls cured in one visit with this van.
    all_cured
        Chance that every call is.
    saving
        Expected money saved against an empty van, the cost of carrying taken off.
    """

    units: Mapping[str, int]
    expected_use: Mapping[str, float]
    one_visit_cures: float
    all_cured: float
    saving: float


def van_list(
    calls: Sequence[Sequence[Needs]],
    *,
    trip: float,
    carrying: float,
    stock: Mapping[str, int] | None = None,
    most: int | None = None,
) -> VanList:
    """Choose the parts for a round.

    Parameters
    ----------
    calls
        For each call in order: (parts needed together, probability). An empty set is a cause cured without a part;
        what is missing to 1 cannot be cured in this visit.
    trip
        Money of one further trip.
    carrying
        Money of carrying one unit.
    stock
        Part → units to be had; a part not named is out of stock. None = everything can be had.
    most
        Most units the van holds; None = no limit.

    Returns
    -------
    VanList
        Ties go to fewer units, then to the order of names.
    """
    use = expected_use(calls)
    limits = _limits(calls, use, stock)
    worth = {part: n for part in use if (n := _units_that_pay(calls, part, limits[part], trip, carrying))}
    places = sum(worth.values()) if most is None else most
    groups = _bound_together(calls, worth)
    if all(prod(worth[part] + 1 for part in group) <= ONE_BY_ONE for group in groups):
        best = _exact(calls, groups, worth, trip, carrying, places)
    else:
        chosen = _programme(calls, worth, trip, carrying, places)
        starts = [
            _mended(calls, van, worth, trip, carrying, places) for van in (chosen, likeliest(calls, places, worth))
        ]
        best = min(starts, key=lambda van: _rank(calls, van, trip, carrying))
    units = {part: n for part, n in sorted(best.items(), key=lambda row: (-use[row[0]], row[0])) if n}
    cures, all_cured = chances(calls, units)
    saving = trip * (cures - _cures(calls, {}, frozenset())) - carrying * sum(units.values())
    return VanList(units, use, cures, all_cured, saving)


def _units_that_pay(calls: Sequence[Sequence[Needs]], part: str, limit: int, trip: float, carrying: float) -> int:
    """Most units that can pay: the last one is of use only when as many calls need the part."""
    at_least = _at_least([sum(p for parts, p in call if part in parts) for call in calls])
    return sum(trip * chance > carrying for chance in at_least[1 : limit + 1])


def _bound_together(calls: Sequence[Sequence[Needs]], worth: Mapping[str, int]) -> list[list[str]]:
    """Parts that some cause needs together, directly or through others, in one group; groups do not touch."""
    groups = [{part} for part in worth]
    for parts in {parts for call in calls for parts, _ in call if len(parts) > 1 and parts <= set(worth)}:
        joined = set(parts).union(*(group for group in groups if group & parts))
        groups = [group for group in groups if not group & parts] + [joined]
    return sorted(sorted(group) for group in groups)


def _exact(
    calls: Sequence[Sequence[Needs]],
    groups: Sequence[Sequence[str]],
    worth: Mapping[str, int],
    trip: float,
    carrying: float,
    places: int,
) -> dict[str, int]:
    """Best van by trying every filling of each group, then sharing out the places among the groups."""
    best: list[tuple[float, dict[str, int]]] = [(0.0, {})]
    for group in groups:
        inside = [[(parts, p) for parts, p in call if parts and parts <= set(group)] for call in calls]
        by_count: dict[int, tuple[float, dict[str, int]]] = {}
        for filling in product(*(range(worth[part] + 1) for part in group)):
            van, count = dict(zip(group, filling, strict=True)), sum(filling)
            if count <= places:
                gain = round(trip * _cures(inside, van, _scarce(inside, van)) - carrying * count, 9)
                if count not in by_count or gain > by_count[count][0]:
                    by_count[count] = (gain, van)
        best = _shared_out(best, by_count, places)
    return max(best, key=lambda row: (row[0], -sum(row[1].values())))[1]


def _shared_out(
    before: Sequence[tuple[float, dict[str, int]]], group: Mapping[int, tuple[float, dict[str, int]]], places: int
) -> list[tuple[float, dict[str, int]]]:
    """Best filling for every number of places, with one group more; position = places used at most."""
    size = min(places, len(before) - 1 + max(group))
    shared: list[tuple[float, dict[str, int]]] = []
    for used in range(size + 1):
        options = [
            (before[min(used - count, len(before) - 1)][0] + gain, -count, count, van)
            for count, (gain, van) in group.items()
            if count <= used
        ]
        gain, _, count, van = max(options, key=lambda option: option[:2])
        shared.append((gain, {**before[min(used - count, len(before) - 1)][1], **van}))
    return shared


def expected_use(calls: Sequence[Sequence[Needs]]) -> dict[str, float]:
    """Part → expected number of calls that need it, most needed first, then by name."""
    use: dict[str, float] = {}
    for call in calls:
        for parts, p in call:
            for part in parts:
                use[part] = use.get(part, 0.0) + p
    return dict(sorted(use.items(), key=lambda row: (-row[1], row[0])))


def likeliest(calls: Sequence[Sequence[Needs]], most: int, limits: Mapping[str, int]) -> dict[str, int]:
    """One unit each of the ``most`` parts with the highest expected use that can be had."""
    return dict.fromkeys([part for part in expected_use(calls) if limits.get(part, 0)][:most], 1)


def chances(calls: Sequence[Sequence[Needs]], van: Mapping[str, int]) -> tuple[float, float]:
    """Expected number of calls cured in one visit, and the chance that all are; exact, calls served in order."""
    scarce = _scarce(calls, van)
    return _cures(calls, van, scarce), _all_cured(calls, van, scarce)


def _scarce(calls: Sequence[Sequence[Needs]], van: Mapping[str, int]) -> frozenset[str]:
    """Parts that more calls may need than the van holds units, and that it holds at all."""
    wanted_by = {part: sum(any(part in parts for parts, _ in call) for call in calls) for part in van}
    return frozenset(part for part, n in van.items() if 0 < n < wanted_by[part])


def _cures(calls: Sequence[Sequence[Needs]], van: Mapping[str, int], scarce: frozenset[str]) -> float:
    """Expected one-visit cures: scarce parts that no cause needs together run out independently of each other."""
    plenty = frozenset(part for part, n in van.items() if n) - scarce
    groups = [frozenset({part}) for part in sorted(scarce)]
    for parts in {parts & scarce for call in calls for parts, _ in call}:
        joined = frozenset().union(parts, *(group for group in groups if group & parts))
        groups = [group for group in groups if not group & parts] + ([joined] if joined else [])
    cures = sum(p for call in calls for parts, p in call if parts <= plenty)
    for group in groups:
        names = sorted(group)
        left: dict[tuple[int, ...], float] = {tuple(van[part] for part in names): 1.0}
        for call in calls:
            needs = [(parts & group, p) for parts, p in call if parts & group and parts <= plenty | group]
            after: dict[tuple[int, ...], float] = {}
            for units, chance in left.items():
                lost = 1.0
                for parts, p in needs:
                    then = _served(parts, units, names)
                    if then is not None:
                        cures += chance * p
                        lost -= p
                        after[then] = after.get(then, 0.0) + chance * p
                after[units] = after.get(units, 0.0) + chance * lost
            left = after
    return cures


def _all_cured(calls: Sequence[Sequence[Needs]], van: Mapping[str, int], scarce: frozenset[str]) -> float:
    """Chance that no call goes short, paths less likely than ``SMALLEST_PATH`` left out.

    Units beyond what later calls can ask for make no difference, so the state forgets them. A round with more than
    ``MOST_STATES`` states is simulated instead: the same draws each time, standard error under 0.004.
    """
    names, aboard = sorted(scarce), frozenset(part for part, n in van.items() if n)
    left: dict[tuple[int, ...], float] = {tuple(van[part] for part in names): 1.0}
    later = [0] * len(names)
    wanted_later: list[list[int]] = []
    for call in reversed(calls):
        wanted_later.append(list(later))
        later = [n + any(name in parts for parts, _ in call) for n, name in zip(later, names, strict=True)]
    for call, most in zip(calls, reversed(wanted_later), strict=True):
        if len(left) > MOST_STATES:
            return _all_cured_in_draws(calls, van, names, aboard)
        after: dict[tuple[int, ...], float] = {}
        needs = [(parts & scarce, p) for parts, p in call if parts <= aboard]
        for units, chance in left.items():
            for parts, p in needs:
                then = _served(parts, units, names) if parts else units
                if then is not None and chance * p > SMALLEST_PATH:
                    then = tuple(map(min, then, most))
                    after[then] = after.get(then, 0.0) + chance * p
        left = after
    return sum(left.values())


def _all_cured_in_draws(
    calls: Sequence[Sequence[Needs]], van: Mapping[str, int], names: Sequence[str], aboard: frozenset[str]
) -> float:
    """Estimate the chance that no call goes short: all parts that all causes drawn need are aboard, in any order."""
    rng = np.random.default_rng(0)
    wanted = np.zeros((DRAWS, len(names)), dtype=int)
    is_cured = np.ones(DRAWS, dtype=bool)
    for call in calls:
        needs = [(parts, p) for parts, p in call if parts <= aboard]
        drawn = np.searchsorted(np.cumsum([p for _, p in needs]), rng.random(DRAWS), side="right")
        asked = np.array([[part in parts for part in names] for parts, _ in needs] + [[False] * len(names)], dtype=int)
        wanted += asked[drawn]
        is_cured &= drawn < len(needs)
    return float((is_cured & (wanted <= np.array([van[part] for part in names])).all(axis=1)).mean())


def _served(parts: frozenset[str], units: tuple[int, ...], names: Sequence[str]) -> tuple[int, ...] | None:
    """Units left after a call that needs these parts; None when one of them has run out."""
    then = tuple(n - (part in parts) for n, part in zip(units, names, strict=True))
    return None if min(then, default=0) < 0 else then


def _limits(
    calls: Sequence[Sequence[Needs]], use: Mapping[str, float], stock: Mapping[str, int] | None
) -> dict[str, int]:
    """Most units of each part that can be of use and can be had."""
    limits = {}
    for part in use:
        wanted = sum(sum(p for parts, p in call if part in parts) > SMALLEST for call in calls)
        limits[part] = wanted if stock is None else min(wanted, stock.get(part, 0))
    return limits


def _rank(
    calls: Sequence[Sequence[Needs]], van: Mapping[str, int], trip: float, carrying: float
) -> tuple[float, int, tuple[str, ...]]:
    cures = _cures(calls, van, _scarce(calls, van))
    count = sum(van.values())
    return -round(trip * cures - carrying * count, 9), count, tuple(sorted(part for part, n in van.items() if n))


def _programme(
    calls: Sequence[Sequence[Needs]], worth: Mapping[str, int], trip: float, carrying: float, places: int
) -> dict[str, int]:
    """Binary programme: one variable a further unit of a part, one a set of several parts that cures together."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    alone: dict[str, list[float]] = {part: [] for part in worth}
    together: dict[frozenset[str], float] = {}
    for call in calls:
        for part in worth:
            alone[part].append(sum(p for parts, p in call if parts == {part}))
        for parts, p in call:
            if len(parts) > 1 and parts <= set(worth):
                together[parts] = together.get(parts, 0.0) + p
    units = [(part, j) for part, n in worth.items() for j in range(1, n + 1)]
    sets = sorted(together, key=sorted)
    at_least = {part: _at_least(ps) for part, ps in alone.items()}
    gain = np.array([trip * at_least[part][j] - carrying for part, j in units] + [trip * together[s] for s in sets])
    row: list[int] = []
    column: list[int] = []
    value: list[float] = []
    upper: list[float] = []
    place = {unit: i for i, unit in enumerate(units)}

    def at_most(coefficients: Mapping[int, float], bound: float) -> None:
        for i, coefficient in coefficients.items():
            row.append(len(upper))
            column.append(i)
            value.append(coefficient)
        upper.append(bound)

    at_most(dict.fromkeys(range(len(units)), 1.0), float(places))
    for part, j in units:
        if j > 1:
            at_most({place[part, j]: 1.0, place[part, j - 1]: -1.0}, 0.0)
    for k, parts in enumerate(sets):
        for part in sorted(parts):
            at_most({len(units) + k: 1.0, place[part, 1]: -1.0}, 0.0)
    matrix = csr_array((value, (row, column)), shape=(len(upper), len(gain)))
    solved = milp(
        -gain,
        constraints=LinearConstraint(matrix, -np.inf, np.array(upper)),
        integrality=np.ones(len(gain)),
        bounds=Bounds(0, 1),
    )
    van = dict.fromkeys(worth, 0)
    for (part, _), x in zip(units, solved.x[: len(units)], strict=True):
        van[part] += round(x)
    return van


def _at_least(ps: Sequence[float]) -> list[float]:
    """Chance that at least j of independent events happen, from j = 0 on."""
    exactly = np.ones(1)
    for p in ps:
        exactly = np.append(exactly, 0.0) * (1 - p) + np.append(0.0, exactly) * p
    return [float(x) for x in np.cumsum(exactly[::-1])[::-1]]


def _mended(
    calls: Sequence[Sequence[Needs]],
    van: Mapping[str, int],
    worth: Mapping[str, int],
    trip: float,
    carrying: float,
    places: int,
) -> dict[str, int]:
    """Add, drop or exchange one unit while that helps by exact evaluation."""
    best = {part: van.get(part, 0) for part in worth}
    rank = _rank(calls, best, trip, carrying)
    is_better = True
    while is_better:
        is_better = False
        moves = [{part: 1} for part in worth] + [{part: -1} for part in worth]
        moves += [{less: -1, more: 1} for less in worth for more in worth if less != more and best[less]]
        for move in moves:
            tried = {part: n + move.get(part, 0) for part, n in best.items()}
            if any(not 0 <= n <= worth[part] for part, n in tried.items()) or sum(tried.values()) > places:
                continue
            tried_rank = _rank(calls, tried, trip, carrying)
            if tried_rank < rank:
                best, rank, is_better = tried, tried_rank, True
                break
    return best
