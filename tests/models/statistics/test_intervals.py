"""Intervals of a share and control of false finds, against published values and an independent solver."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from models.statistics.intervals import benjamini_hochberg, wilson

# Newcombe 1998, Statist. Med. 17, 857-872, Table I (from memory of the source; each recomputed from the formula).
NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
# Computed from the formula of NIST/SEMATECH e-Handbook 7.2.4.1.
COMPUTED = [
    (26, 200, 0.0903, 0.1837),
    (0, 10, 0.0, 0.2775),
    (10, 10, 0.7225, 1.0),
    (1, 10, 0.0179, 0.4042),
    (5, 10, 0.2366, 0.7634),
    (14, 19, 0.5121, 0.8819),
    (2, 20, 0.0279, 0.3010),
    (18, 20, 0.6990, 0.9721),
]


@pytest.mark.parametrize(("x", "n", "low", "high"), NEWCOMBE + COMPUTED)
def test_wilson_against_newcombe_1998_table_1_and_the_formula(x: int, n: int, low: float, high: float) -> None:
    assert wilson(x, n) == pytest.approx((low, high), abs=5.1e-5)


def test_wilson_one_sided_against_nist_7_2_4_1() -> None:
    # 26 of 200, one-sided 95 % lower limit .09577 (itl.nist.gov/div898/handbook/prc/section2/prc241.htm)
    assert wilson(26, 200, confidence=0.90)[0] == pytest.approx(0.09577, abs=1e-5)


def test_benjamini_hochberg_1995_section_4() -> None:
    # Benjamini & Hochberg 1995, JRSS B 57, 289-300: at 5 % their procedure rejects the first 4, Bonferroni 3.
    p = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
        0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
    ]  # fmt: skip
    adjusted = benjamini_hochberg(p)
    assert (adjusted <= 0.05).sum() == 4
    assert (np.array(p) <= 0.05 / 15).sum() == 3
    expected = [
        0.0015,
        0.0030,
        0.0095,
        0.0356,
        0.0603,
        0.0639,
        0.0639,
        0.0645,
        0.0765,
        0.4860,
        0.5812,
        0.7149,
        0.7532,
        0.8132,
        1,
    ]
    assert adjusted == pytest.approx(expected, abs=5.1e-5)


counts = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(counts, st.floats(0.5, 0.999))
def test_intervals_equal_statsmodels(pair: tuple[int, int], confidence: float) -> None:
    x, n = pair
    assert wilson(x, n, confidence) == pytest.approx(
        proportion_confint(x, n, 1 - confidence, method="wilson"), abs=1e-9
    )


@given(counts)
def test_a_share_lies_in_its_interval_and_its_complement_is_the_mirror(pair: tuple[int, int]) -> None:
    x, n = pair
    low, high = wilson(x, n)
    assert 0 <= low <= x / n <= high <= 1
    assert wilson(n - x, n) == pytest.approx((1 - high, 1 - low), abs=1e-9)


@settings(deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_adjusted_p_values_equal_statsmodels(p: list[float]) -> None:
    assert benjamini_hochberg(p) == pytest.approx(multipletests(p, method="fdr_bh")[1], abs=1e-12)


def test_arrays_give_arrays_and_nothing_gives_everything() -> None:
    low, high = wilson([0, 14], [0, 19])
    assert low.tolist() == pytest.approx([0.0, wilson(14, 19)[0]])
    assert high.tolist() == pytest.approx([1.0, wilson(14, 19)[1]])
    assert wilson(0, 0) == (0.0, 1.0)
    assert benjamini_hochberg([]).tolist() == []


@pytest.mark.parametrize("wrong", [(5, 4), (-1, 4), (float("nan"), 4)])
def test_impossible_counts_are_refused(wrong: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="0 <= x <= n"):
        wilson(*wrong)


def test_impossible_p_values_and_confidences_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        benjamini_hochberg([0.5, float("nan")])
    with pytest.raises(ValueError, match="between 0 and 1"):
        wilson(1, 2, confidence=1.0)
