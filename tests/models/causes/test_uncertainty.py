"""How far a probability may be off, from models of half the jobs."""

from __future__ import annotations

import numpy as np

from models.causes.evidence import interval
from models.causes.uncertainty import BANDS, around, learn_width, log_odds


def test_the_width_is_half_of_what_two_half_models_differ_by() -> None:
    rng = np.random.default_rng(0)
    called = rng.uniform(0.05, 0.95, (4000, 2))
    one, other = (1 / (1 + np.exp(-(log_odds(called) + rng.normal(0, 2**0.5, called.shape)))) for _ in range(2))
    width = learn_width(called, one, other)
    assert len(width) == len(BANDS)
    assert abs(width[2] - 1.96) < 0.2  # variance 2 each, so 4 between them: half a difference has variance 1


def test_the_interval_holds_the_probability_and_stays_between_none_and_all() -> None:
    low, high = around(np.array([0.001, 0.3, 0.99]), np.full(len(BANDS), 0.8))
    assert (low >= 0).all() and (low <= [0.001, 0.3, 0.99]).all()
    assert (high >= [0.001, 0.3, 0.99]).all() and (high <= 1).all()


def test_too_few_held_out_jobs_teach_no_width_and_jobs_are_counted_instead() -> None:
    chance = np.full((5, 2), 0.5)
    width = learn_width(chance, chance, chance)
    assert len(width) == 0
    low, high = interval(np.array([0.3]), 10, width)
    assert 0 < low[0] < 0.3 < high[0] < 0.7
