"""Small counts leaning on what was expected: what is told from what means nothing, and age."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from models.causes.ageing import by_manner
from models.causes.shrinkage import lean_rates

PASSING = 0.01


def rates(seen: np.ndarray, jobs: np.ndarray) -> np.ndarray:
    return lean_rates(seen, jobs, np.full(seen.shape, 0.02), np.full(seen.shape, PASSING))


def test_what_comes_everywhere_alike_gets_one_rate_and_what_tells_keeps_its_own() -> None:
    rng = np.random.default_rng(0)
    jobs = np.full((20, 50), 60.0)
    seen = rng.binomial(60, 0.008, jobs.shape).astype(float)
    seen[3, 7], seen[5, 2] = 20.0, 12.0
    found = rates(seen, jobs)
    means_nothing = np.ones(jobs.shape, dtype=bool)
    means_nothing[3, 7] = means_nothing[5, 2] = False
    assert np.abs(found[means_nothing] - 0.008).max() < 0.02
    assert np.median(found[means_nothing]) < 0.009
    assert 0.27 < found[3, 7] < 0.35
    assert 0.13 < found[5, 2] < 0.22


def test_one_odd_word_among_few_jobs_does_not_tell() -> None:
    seen, jobs = np.zeros((10, 20)), np.full((10, 20), 4.0)
    seen[0, 0] = 1.0
    assert rates(seen, jobs)[0, 0] < 0.1


def test_without_jobs_what_is_said_means_nothing_more_often_than_not() -> None:
    found = rates(np.zeros((3, 4)), np.zeros((3, 4)))
    assert np.allclose(found, found[0, 0])
    assert PASSING <= found[0, 0] < 0.02


def aged(factor: np.ndarray, jobs: int, seed: int) -> np.ndarray:
    """Jobs of one way by age, where the bins are usually equally full."""
    return np.random.default_rng(seed).multinomial(jobs, factor / factor.sum()).astype(float)


def test_ways_that_wear_and_ways_that_fail_early_lend_one_another_their_shape() -> None:
    wear, early = np.linspace(0.3, 1.7, 8), np.linspace(1.7, 0.3, 8)
    seen = np.stack([aged(wear, 60, k) for k in range(15)] + [aged(early, 60, k) for k in range(15)], axis=1)
    seen[:, 14], seen[:, 29] = aged(wear, 8, 99), aged(early, 8, 99)
    told = by_manner(seen, np.outer(np.full(8, 1 / 8), seen.sum(axis=0)))
    own = np.log((seen[:, 14] + 0.5) / (seen[:, 14] + 0.5).mean())
    truth = np.log(wear / wear.mean())
    assert np.abs(told[:, 14] - truth).mean() < 0.6 * np.abs(own - truth).mean()
    assert told[-1, 14] > 0.2 > -0.2 > told[0, 14]
    assert told[-1, 29] < -0.1 < 0.1 < told[0, 29]


def test_ways_that_come_at_any_age_say_nothing_about_it() -> None:
    seen = np.stack([aged(np.ones(8), 40, k) for k in range(30)], axis=1)
    told = by_manner(seen, np.outer(np.full(8, 1 / 8), seen.sum(axis=0)))
    own = np.log((seen + 0.5) / (seen + 0.5).mean(axis=0))
    assert np.abs(told).mean() < 0.4 * np.abs(own).mean()


@given(
    st.lists(st.lists(st.floats(0, 1e4), min_size=4, max_size=4), min_size=1, max_size=6),
    st.floats(1e-9, 10.0),
)
def test_however_few_jobs_no_ratio_runs_away(seen: list[list[float]], hoped: float) -> None:
    jobs = np.array(seen).T
    told = by_manner(jobs, np.full(jobs.shape, hoped))
    assert np.isfinite(told).all()
    assert np.allclose(np.exp(told).mean(axis=0), 1.0, atol=1e-6)
