"""How likely a finding is under a cause: counts shrunk to what the word lists expect."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.plan.likelihood import STRENGTH, learn
from models.plan.quote import quote_range, weighted_quantiles

NO_JOBS = pd.DataFrame({"cause": [], "finding": [], "value": [], "jobs": []})
EXPECTED = pd.DataFrame(
    [
        ("blocked pump filter", "pump filter", "blocked", 0.92),
        ("blocked pump filter", "water left", "yes", 0.9),
        ("level sensor fault", "water left", "no", 0.93),
        ("suds lock", "suds", "yes", 0.95),
        ("pump seized", "pump sound", "hums", 0.45),
        ("pump seized", "pump sound", "silent", 0.5),
    ],
    columns=["cause", "finding", "value", "probability"],
)


def jobs(*rows):
    return pd.DataFrame(rows, columns=["cause", "finding", "value", "jobs"])


def test_without_jobs_the_word_lists_speak():
    table = learn(NO_JOBS, EXPECTED).of(
        "pump filter", ("clear", "blocked"), ["blocked pump filter", "level sensor fault"]
    )
    assert table[0] == pytest.approx([0.08, 0.92])
    assert table[1, 0] > 0.8


def test_the_rest_goes_mostly_to_the_usual_value():
    table = learn(NO_JOBS, EXPECTED).of("pump sound", ("normal", "hums", "silent"), ["pump seized"])
    assert table[0] == pytest.approx([0.05, 0.45, 0.5])


def test_a_yes_that_only_one_cause_gives_is_a_no_elsewhere():
    table = learn(NO_JOBS, EXPECTED).of("suds", ("yes", "no"), ["suds lock", "level sensor fault"])
    assert table[0, 0] == pytest.approx(0.95)
    assert table[1, 1] > 0.8


def test_nothing_is_burnt_where_no_list_says_so():
    table = learn(NO_JOBS, EXPECTED).of("burnt part", ("none", "wiring", "board"), ["pump seized"])
    assert table[0, 0] > 0.8


def test_a_finding_that_tells_both_ways_is_even_where_nothing_is_known():
    table = learn(NO_JOBS, EXPECTED).of("water left", ("yes", "no"), ["pump seized"])
    assert table[0] == pytest.approx([0.5, 0.5])


def test_jobs_outweigh_the_lists_as_they_grow():
    few = learn(jobs(("blocked pump filter", "pump filter", "clear", 2)), EXPECTED)
    many = learn(jobs(("blocked pump filter", "pump filter", "clear", 2000)), EXPECTED)
    values, cause = ("clear", "blocked"), ["blocked pump filter"]
    expected = (2 + STRENGTH * 0.08) / (2 + STRENGTH)
    assert few.of("pump filter", values, cause)[0, 0] == pytest.approx(expected)
    assert many.of("pump filter", values, cause)[0, 0] > 0.99


def test_a_cause_no_list_names_takes_the_pooled_jobs():
    learned = learn(
        jobs(("own cause", "water left", "yes", 40), ("other own cause", "water left", "yes", 40)), EXPECTED
    )
    assert learned.of("water left", ("yes", "no"), ["never seen"])[0, 0] > 0.9


def test_counts_come_back_from_data_drawn_with_known_chances():
    rng = np.random.default_rng(20)
    drawn = rng.multinomial(50_000, [0.6, 0.3, 0.1])
    rows = [
        ("pump seized", "pump sound", value, n) for value, n in zip(("normal", "hums", "silent"), drawn, strict=True)
    ]
    table = learn(jobs(*rows), EXPECTED).of("pump sound", ("normal", "hums", "silent"), ["pump seized"])
    assert table[0] == pytest.approx([0.6, 0.3, 0.1], abs=0.02)


def test_rows_sum_to_one_and_nothing_is_impossible():
    learned = learn(jobs(("pump seized", "pump sound", "hums", 10_000)), EXPECTED)
    table = learned.of("pump sound", ("normal", "hums", "silent"), ["pump seized", "x"])
    assert table.sum(axis=1) == pytest.approx([1, 1])
    assert table.min() > 0


def test_weighted_quantiles_by_hand():
    amounts, weights = np.array([30.0, 10.0, 20.0]), np.array([0.1, 0.5, 0.4])
    assert weighted_quantiles(amounts, weights, (0.1, 0.5, 0.9, 1.0)) == [10.0, 10.0, 20.0, 30.0]


def test_a_quote_weighs_each_cause_by_its_odds():
    past = ["cheap"] * 50 + ["dear"] * 50 + ["other", "cheap"], np.array([40.0] * 50 + [200.0] * 50 + [900.0, np.nan])
    listed = {"cheap": 40.0, "dear": 200.0}
    assert quote_range({"cheap": 0.95, "dear": 0.05}, *past, listed) == (40.0, 40.0, 40.0)
    assert quote_range({"cheap": 0.6, "dear": 0.4}, *past, listed) == (40.0, 40.0, 200.0)


def test_a_quote_without_jobs_takes_the_listed_amounts():
    listed = {"cheap": 40.0, "dear": 200.0}
    assert quote_range({"cheap": 0.3, "dear": 0.7}, [], np.array([]), listed) == (40.0, 200.0, 200.0)
