"""Scores against worked values of the literature and against one another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.evaluate import scores


def test_brier_parts_and_calibration_of_five_bins() -> None:
    # worked by hand after Murphy 1973, J. Appl. Meteor. 12, 595-600: five forecasts, twenty events each
    said = np.repeat([0.1, 0.3, 0.5, 0.7, 0.9], 20)
    came = np.concatenate([np.arange(20) < n for n in (2, 5, 11, 13, 19)]).astype(float)
    parts = scores.brier_parts(said, came, bins=10)
    assert parts["brier"] == pytest.approx(0.162)
    assert parts["reliability"] == pytest.approx(0.002)
    assert parts["resolution"] == pytest.approx(0.090)
    assert parts["uncertainty"] == pytest.approx(0.250)
    assert parts["within"] == pytest.approx(0.0, abs=1e-12)
    assert scores.calibration_error(said, came, bins=10) == pytest.approx(0.04)
    two = np.stack([1 - said, said], axis=1)
    assert scores.log_loss(two, came.astype(int)) == pytest.approx(0.49104, abs=5e-6)


def test_brier_of_the_tiny_example() -> None:
    # o = 0 1 1 0, f = .1 .9 .8 .3: binary .0375 (scikit-learn's documented example); over both classes twice that
    said = np.array([0.1, 0.9, 0.8, 0.3])
    came = np.array([0, 1, 1, 0])
    assert scores.brier_parts(said, came)["brier"] == pytest.approx(0.0375)
    assert scores.brier(np.stack([1 - said, said], axis=1), came) == pytest.approx(0.075)


def test_top_counts_ties_against() -> None:
    chance = np.array([[0.5, 0.3, 0.2], [0.2, 0.2, 0.6], [0.4, 0.4, 0.2]])
    assert scores.top(chance, np.array([0, 0, 0]), 1) == pytest.approx(1 / 3)
    assert scores.top(chance, np.array([1, 2, 1]), 2) == 1.0


def test_a_cause_the_model_does_not_know_is_never_right() -> None:
    chance = np.array([[0.7, 0.3]])
    unknown = np.array([-1])
    assert scores.top(chance, unknown, 2) == 0.0
    assert scores.log_loss(chance, unknown, least=1e-6) == pytest.approx(-np.log(1e-6))
    assert scores.brier(chance, unknown) == pytest.approx(0.49 + 0.09 + 1)


@given(
    st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60),
    st.integers(1, 20),
)
def test_brier_parts_always_add_up(rows: list[tuple[float, bool]], bins: int) -> None:
    said = np.array([row[0] for row in rows])
    came = np.array([float(row[1]) for row in rows])
    parts = scores.brier_parts(said, came, bins)
    total = parts["reliability"] - parts["resolution"] + parts["uncertainty"] + parts["within"]
    assert total == pytest.approx(np.mean((said - came) ** 2))
    assert 0 <= scores.calibration_error(said, came, bins) <= 1
    assert sum(row["jobs"] for row in scores.reliability(said, came, bins)) == len(rows)
