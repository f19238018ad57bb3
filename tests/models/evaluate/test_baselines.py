"""The plain guesses answer whatever little the jobs say."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.evaluate import baselines


@pytest.mark.parametrize("name", baselines.BASELINES)
def test_jobs_of_which_no_complaint_is_understood(name: str) -> None:
    facts = pd.DataFrame({"kind": ["oven"] * 12})
    chances = baselines.BASELINES[name](facts, np.arange(12) % 3 // 2, 2, facts.iloc[:4])
    assert chances.shape == (4, 2)
    assert chances.sum(axis=1) == pytest.approx(1.0)
    assert (chances[:, 0] > chances[:, 1]).all()
