"""Quotes brought into line with later jobs: a tenth below P10, a tenth above P90, whatever they were off."""

from __future__ import annotations

import numpy as np
import pytest

from models.plan.quote import billing, brought_into_line, learn_chances, learn_shifts, shifted


@pytest.mark.parametrize(("too_low", "too_narrow"), [(1.0, 1.0), (1.4, 1.0), (0.8, 1.6)])
def test_a_tenth_of_later_jobs_ends_beyond_each_end(too_low, too_narrow):
    rng = np.random.default_rng(7)

    def jobs(count):
        middle = rng.uniform(40, 160, count)
        told = np.stack([middle * np.exp(z * 0.35 / too_narrow) for z in (-1.2816, 0.0, 1.2816)], axis=1)
        return told, middle * too_low * np.exp(0.35 * rng.normal(size=count))

    shifts = learn_shifts(*jobs(6000))
    told, came = jobs(6000)
    low, middle, high = np.array([shifted(one, shifts) for one in told]).T
    for level, amount in ((0.1, low), (0.5, middle), (0.9, high)):
        assert (came <= amount).mean() == pytest.approx(level, abs=0.03)


def test_few_jobs_teach_nothing_and_what_is_not_known_is_left_out():
    told = np.tile([50.0, 80.0, 120.0], (100, 1))
    amounts = np.full(100, np.nan)
    amounts[:39] = 300.0
    assert learn_shifts(told, amounts) == []
    assert shifted((50.0, 80.0, 120.0), []) == (50.0, 80.0, 120.0)
    amounts[:60] = 300.0
    low, middle, high = shifted(tuple(told[0]), learn_shifts(told, amounts))  # 60 jobs beside 200 of those told
    assert 50 < low < middle < high < 300


def test_no_amount_falls_below_nothing_and_levels_stay_in_order():
    low, middle, high = shifted((0.0, 10.0, 12.0), [-2.0, 0.5, -0.5])
    assert 0.0 == low <= middle <= high


def test_chances_said_too_boldly_are_brought_into_line():
    rng = np.random.default_rng(3)
    told = rng.uniform(0.5, 0.98, 4000)
    happened = rng.random(4000) < told**2
    learned = learn_chances(told, happened)
    better = np.array([brought_into_line(chance, learned) for chance in told])
    assert better.mean() == pytest.approx(happened.mean(), abs=0.02)
    assert better[told > 0.9].mean() == pytest.approx(happened[told > 0.9].mean(), abs=0.05)
    assert brought_into_line(1.0, learned) == 1.0


def test_labour_is_billed_as_the_records_say_or_by_the_rate_where_they_say_nothing():
    minutes = np.array([20.0, 35.0, 50.0, 65.0, np.nan] * 4)
    assert billing(minutes, 30 + 0.5 * minutes, 0.8) == pytest.approx((30.0, 0.5))
    assert billing(minutes, np.full(20, 75.0), 0.8) == pytest.approx((75.0, 0.0)), "one price whatever it takes"
    assert billing(minutes, np.full(20, np.nan), 0.8) == billing(minutes[:8], minutes[:8], 0.8) == (0.0, 0.8)
    assert billing(np.full(20, 30.0), np.full(20, 40.0), 0.8) == (40.0, 0.0), "all took as long"
