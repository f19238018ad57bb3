"""The van list against enumeration, simulation and the k likeliest parts."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from models.plan.van import ONE_BY_ONE, chances, expected_use, likeliest, van_list

TRIP, CARRYING = 50.0, 1.5


def needs(*rows):
    return [(frozenset(parts), p) for parts, p in rows]


PUMP = needs((("pump",), 0.5), ((), 0.3), (("board",), 0.02))
DOOR = needs((("switch", "fuse"), 0.6), (("board",), 0.2))


def drawn(rng, calls, parts):
    names = [f"part {i}" for i in range(parts)]
    rows = []
    for _ in range(calls):
        count = int(rng.integers(2, 5))
        p = rng.dirichlet(np.ones(count + 1))[:count]
        sets = [frozenset(rng.choice(names, size=int(rng.choice([0, 1, 1, 1, 2])), replace=False).tolist()) for _ in p]
        merged: dict[frozenset[str], float] = {}
        for parts_needed, chance in zip(sets, p, strict=True):
            merged[parts_needed] = merged.get(parts_needed, 0.0) + float(chance)
        rows.append(list(merged.items()))
    return rows


def simulated(calls, van, rng, rounds=20_000):
    cured, all_cured = 0, 0
    for _ in range(rounds):
        left, good = dict(van), 0
        for call in calls:
            u, parts = rng.random(), None
            for needed, p in call:
                if u < p:
                    parts = needed
                    break
                u -= p
            if parts is not None and all(left.get(part, 0) > 0 for part in parts):
                good += 1
                for part in parts:
                    left[part] -= 1
        cured += good
        all_cured += good == len(calls)
    return cured / rounds, all_cured / rounds


def test_two_calls_by_hand():
    cures, all_cured = chances([PUMP, PUMP], {"pump": 1})
    # each call is cured without a part with .3; the pump serves whichever call needs it first
    assert cures == pytest.approx(0.3 + 0.5 + 0.3 + 0.5 * 0.5)
    assert all_cured == pytest.approx(0.3 * 0.3 + 2 * 0.3 * 0.5)


def test_parts_needed_together_are_carried_together_or_not_at_all():
    chosen = van_list([DOOR], trip=TRIP, carrying=CARRYING)
    assert chosen.units == {"fuse": 1, "switch": 1, "board": 1}
    only_one = van_list([DOOR], trip=TRIP, carrying=CARRYING, stock={"fuse": 1, "board": 5})
    assert only_one.units == {"board": 1}


def test_a_part_that_does_not_pay_stays():
    assert "board" not in van_list([PUMP], trip=TRIP, carrying=CARRYING).units


def test_two_calls_for_the_same_part_take_two():
    assert van_list([PUMP, PUMP], trip=TRIP, carrying=CARRYING).units["pump"] == 2
    assert van_list([PUMP, PUMP], trip=TRIP, carrying=CARRYING, stock={"pump": 1}).units["pump"] == 1


@pytest.mark.parametrize("seed", range(4))
def test_chances_equal_simulation(seed):
    rng = np.random.default_rng(seed)
    calls = drawn(rng, calls=4, parts=3)
    van = {f"part {i}": int(rng.integers(0, 3)) for i in range(3)}
    cures, all_cured = chances(calls, van)
    seen_cures, seen_all = simulated(calls, van, rng)
    assert cures == pytest.approx(seen_cures, abs=0.03)
    assert all_cured == pytest.approx(seen_all, abs=0.02)


@pytest.mark.parametrize("seed", range(4))
def test_the_chance_of_a_long_round_is_estimated_right(seed, monkeypatch):
    calls = drawn(np.random.default_rng(seed), calls=5, parts=4)
    van = {"part 0": 1, "part 1": 2, "part 2": 1, "part 3": 5}
    exact = chances(calls, van)[1]
    monkeypatch.setattr("models.plan.van.MOST_STATES", 0)
    estimated = chances(calls, van)[1]
    assert estimated != exact  # another way was taken
    assert estimated == pytest.approx(exact, abs=4 * 0.5 / np.sqrt(20_000))


@pytest.mark.parametrize("seed", range(12))
def test_the_programme_equals_enumeration(seed, monkeypatch):
    calls = drawn(np.random.default_rng(100 + seed), calls=3, parts=4)
    whole = van_list(calls, trip=TRIP, carrying=CARRYING)
    monkeypatch.setattr("models.plan.van.ONE_BY_ONE", 0)
    solved = van_list(calls, trip=TRIP, carrying=CARRYING)
    tried = [
        TRIP * chances(calls, dict(zip(expected_use(calls), units, strict=True)))[0] - CARRYING * sum(units)
        for units in product(range(4), repeat=len(expected_use(calls)))
    ]
    base = TRIP * chances(calls, {})[0]
    assert whole.saving == pytest.approx(max(tried) - base)
    assert solved.saving == pytest.approx(max(tried) - base)


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("most", [None, 3, 6])
def test_never_fewer_one_visit_cures_than_the_likeliest_parts_of_the_same_number(seed, most):
    calls = drawn(np.random.default_rng(seed), calls=8, parts=9)
    chosen = van_list(calls, trip=TRIP, carrying=CARRYING, most=most)
    count = sum(chosen.units.values())
    assert most is None or count <= most
    naive = likeliest(calls, count, dict.fromkeys(expected_use(calls), 9))
    assert chosen.one_visit_cures >= chances(calls, naive)[0] - 1e-9


def test_the_programme_is_reached_and_beats_the_likeliest_somewhere():
    calls = drawn(np.random.default_rng(5), calls=8, parts=9)
    assert np.prod([9.0 for _ in expected_use(calls)]) > ONE_BY_ONE
    chosen = van_list(calls, trip=TRIP, carrying=CARRYING, most=5)
    naive = likeliest(calls, 5, dict.fromkeys(expected_use(calls), 9))
    assert chosen.one_visit_cures > chances(calls, naive)[0]


def test_an_empty_round():
    chosen = van_list([], trip=TRIP, carrying=CARRYING)
    assert chosen.units == {}
    assert chosen.all_cured == 1.0
