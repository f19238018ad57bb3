"""Differences and money over few events: published values, and chance itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from models.statistics.change import difference, weighted_count_interval
from models.statistics.intervals import wilson


@pytest.mark.parametrize(
    ("first", "second", "low", "high"),
    [
        # Newcombe 1998, Stat. Med. 17, 873-890, Table II, method 10 without continuity correction, from memory
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
    ],
)
def test_difference_of_shares_matches_newcombe(
    first: tuple[int, int], second: tuple[int, int], low: float, high: float
) -> None:
    _, found_low, found_high = difference(first[0] / first[1], *wilson(*first), second[0] / second[1], *wilson(*second))
    assert (round(found_low, 4), round(found_high, 4)) == (low, high)


@given(some.integers(0, 50), some.integers(0, 50))
def test_difference_turns_round_with_its_arguments(x: int, y: int) -> None:
    one = (x / 50, *wilson(x, 50))
    other = (y / 50, *wilson(y, 50))
    apart, low, high = difference(*one, *other)
    turned, turned_low, turned_high = difference(*other, *one)
    assert apart == pytest.approx(-turned)
    assert (low, high) == pytest.approx((-turned_high, -turned_low))
    assert low <= apart <= high


@pytest.mark.parametrize(
    # exact limits of a Poisson count (Garwood 1936, Biometrika 28, 437-442), as R's poisson.test(10) and (3) give them
    ("count", "low", "high"),
    [(10, 4.7954, 18.3904), (3, 0.6187, 8.7673)],
)
def test_equal_weights_give_the_exact_poisson_limits(count: int, low: float, high: float) -> None:
    found = weighted_count_interval([1.0] * count)
    assert found == pytest.approx((low, high), abs=5e-5)


@given(some.lists(some.floats(0.5, 500), min_size=1, max_size=40), some.floats(0.1, 9))
def test_interval_of_money_scales_and_holds_the_sum(amounts: list[float], factor: float) -> None:
    low, high = weighted_count_interval(amounts)
    assert low < sum(amounts) < high
    scaled = weighted_count_interval([amount * factor for amount in amounts])
    assert scaled == pytest.approx((low * factor, high * factor), rel=1e-6)


def test_interval_of_money_holds_the_truth_nineteen_times_in_twenty(seed: int) -> None:
    draws, rate, mean = 1500, 12.0, 80.0
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(draws):
        low, high = weighted_count_interval(rng.gamma(4.0, mean / 4.0, rng.poisson(rate)))
        held += low <= rate * mean <= high
    # the method is known to cover at least as often as it says; three standard errors are allowed for the draw
    assert held / draws >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / draws)


def test_nothing_lost_and_nonsense() -> None:
    low, high = weighted_count_interval([0.0, 0.0])
    assert low == 0 and math.isnan(high)
    with pytest.raises(ValueError, match="not negative"):
        weighted_count_interval([3.0, -1.0])
