"""The layers below the pool: tables, traits, pairs, trees, weights."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import approx_fprime
from threadpoolctl import threadpool_limits

from models.causes.bayes import best_strengths, count_cells, fit_tables, log_shares
from models.causes.boosting import boosting_inputs, fit_trees
from models.causes.column_weights import Unseen, column_weights
from models.causes.encoding import cells, encode, gather, learn_columns, never_seen, offsets, one_hot
from models.causes.pairs import find_pairs
from models.causes.pool import pool_weights
from models.causes.softmax import softmax
from models.causes.traits import trait_tables
from tests.worlds.cause_world import SmallWorld


def test_counts_by_hand() -> None:
    at = np.array([[0, 3], [1, 4], [0, 5]])  # two columns of two and three cells; 5 cells, so 5 is "not known"
    counted = count_cells(at, np.array([0, 1, 1]), np.array([1.0, 2.0, 0.5]), 5, 2)
    assert counted.tolist() == [[1.0, 0.5], [0.0, 2.0], [0.0, 0.0], [1.0, 0.0], [0.0, 2.0]]


def test_softmax_with_temperature_worked_values() -> None:
    # z = (2, 1, 0): T = 1 gives .6652 .2447 .0900, T = 2 gives .5065 .3072 .1863
    z = np.array([[2.0, 1.0, 0.0]])
    assert softmax(z)[0].round(4).tolist() == [0.6652, 0.2447, 0.0900]
    assert softmax(z / 2)[0].round(4).tolist() == [0.5065, 0.3072, 0.1863]


def test_tables_add_to_one_within_a_column() -> None:
    rng = np.random.default_rng(0)
    starts = np.array([0, 2, 2, 5, 6])  # a column without values and one with a single value among them
    counts = rng.poisson(2.0, (6, 7)).astype(float)
    tables = fit_tables(counts, np.zeros(7), starts)
    assert tables.chance[0:2].sum(axis=0) == pytest.approx(np.ones(7))
    assert tables.chance[2:5].sum(axis=0) == pytest.approx(np.ones(7))
    assert (tables.log_ratio[5] == 0).all()


def test_traits_foretell_a_rare_cause_from_those_like_it() -> None:
    # five causes of one habit, five of the opposite; a sixth of the first with two jobs, seen in two columns of twenty
    rng = np.random.default_rng(0)
    habit = rng.random(20) < 0.5
    often = np.where(habit, 0.95, 0.05)
    counts = np.zeros((40, 11))
    for cause in range(10):
        yes = often if cause < 5 else 1 - often
        counts[0::2, cause] = 40 * yes
        counts[1::2, cause] = 40 * (1 - yes)
    for column in (0, 1):
        counts[2 * column + (0 if habit[column] else 1), 10] = 2
    table = trait_tables(counts, np.arange(0, 41, 2))
    foretold = table[0::2, 10][2:]
    assert (np.abs(foretold - often[2:]) < np.abs(foretold - (1 - often[2:]))).all()


def test_strength_is_high_where_causes_agree_and_low_where_they_differ() -> None:
    alike = np.tile([[30.0], [70.0]], (1, 12))
    apart = np.where(np.arange(12) % 2, [[95.0], [5.0]], [[5.0], [95.0]])
    starts = np.array([0, 2, 4])
    means = np.tile([[0.3], [0.7], [0.5], [0.5]], (1, 12))
    high, low = best_strengths(np.vstack([alike, apart]), means, starts)
    assert high > 50 > 2 > low


@pytest.mark.parametrize("causes", [2, 3, 5])
def test_trees_answer_as_scikit_learn_does(causes: int) -> None:
    from sklearn.ensemble import HistGradientBoostingClassifier

    rng = np.random.default_rng(causes)
    frame = pd.DataFrame(
        {"kind": rng.choice(list("abcdef"), 600), "age": rng.normal(size=600), "seen": rng.choice([True, False], 600)}
    ).astype({"kind": object})
    frame = frame.mask(rng.random(frame.shape) < 0.25)
    cause = (rng.random(600) * causes).astype(int)
    cause[frame["kind"].isin(["a", "c"]).to_numpy()] = 0
    columns = learn_columns(frame)
    inputs = boosting_inputs(frame, columns)
    with threadpool_limits(limits=1):  # threads that wait for one another take minutes on a busy machine
        ours = fit_trees(inputs, columns, cause, np.ones(600), causes, rounds=15, seed=0, rate=0.2)
        theirs = HistGradientBoostingClassifier(
            max_iter=15, learning_rate=0.2, max_leaf_nodes=8, l2_regularization=10, min_samples_leaf=5,
            early_stopping=False, categorical_features=[0], random_state=0,
        ).fit(inputs, cause)  # fmt: skip
    assert np.exp(ours.scores(inputs)) == pytest.approx(theirs.predict_proba(inputs), abs=1e-10)
    assert (ours.category >= 0).any()


def test_pool_gives_zero_to_noise_and_full_weight_to_truth() -> None:
    world = SmallWorld.make()
    facts, cause = world.jobs(3000, 1)
    truth = np.log(world.posterior(facts))
    noise = np.random.default_rng(0).normal(size=truth.shape)
    weights = pool_weights([truth, noise], cause, np.ones(3000), lean=0.0)
    assert weights[0] == pytest.approx(1.0, abs=0.08)
    assert weights[1] < 0.05


def test_slope_of_column_weights_is_right() -> None:
    rng = np.random.default_rng(0)
    from models.causes.column_weights import one_part

    shown = one_hot(np.array([[0, 3], [1, 4], [0, 5], [1, 2]]), 5)
    part = Unseen(
        shown, rng.normal(size=(5, 3)), rng.normal(size=3), np.array([0, 1, 2, 1]), np.array([1.0, 2.0, 1.0, 0.5])
    )
    column = np.array([0, 0, 1, 1, 1])
    point = np.array([0.7, 1.2, 0.9])

    def lost(flat: np.ndarray) -> float:
        return one_part(part, flat[:2], flat[2], column)[0]

    _, by_column, by_share = one_part(part, point[:2], point[2], column)
    assert np.append(by_column, by_share) == pytest.approx(approx_fprime(point, lost), abs=1e-5)


def test_a_column_that_only_repeats_another_is_heard_less() -> None:
    world = SmallWorld.make(causes=4, findings=2, seed=1)
    facts, cause = world.jobs(4000, 1, known=1.0)
    facts["copy 1"] = facts["copy 2"] = facts["finding: f0"]
    columns = learn_columns(facts)
    starts = offsets(columns)
    at = cells(encode(facts, columns), starts)
    counts = count_cells(at, cause, np.ones(4000), int(starts[-1]), 4)
    tables = fit_tables(counts, log_shares(cause, np.ones(4000), 4), starts)
    part = Unseen(one_hot(at, int(starts[-1])), tables.log_ratio, tables.log_share, cause, np.ones(4000))
    weights = column_weights([part], starts, common=0.8)
    assert weights[[0, 2, 3]].sum() == pytest.approx(1.0, abs=0.2)
    assert weights[1] == pytest.approx(1.0, abs=0.2)


def test_pairs_see_what_goes_together_whatever_the_cause() -> None:
    rng = np.random.default_rng(0)
    cause = rng.integers(0, 3, 4000)
    first = np.where(rng.random(4000) < np.array([0.3, 0.5, 0.7])[cause], "yes", "no")
    second = np.where(rng.random(4000) < 0.9, first, np.where(first == "yes", "no", "yes"))
    apart = rng.choice(["yes", "no"], 4000)
    frame = pd.DataFrame({"a": first, "b": second, "c": apart}).astype(object)
    columns = learn_columns(frame)
    starts, codes = offsets(columns), encode(frame, columns)
    at = cells(codes, starts)
    counts = count_cells(at, cause, np.ones(4000), int(starts[-1]), 3)
    tables = fit_tables(counts, log_shares(cause, np.ones(4000), 3), starts)
    pairs = find_pairs(codes, at, cause, np.ones(4000), starts, tables.chance)
    assert pairs is not None
    assert pairs.columns.tolist() == [[0, 1]]
    joint = np.exp(pairs.table.reshape(2, 2, 3)) * tables.chance[0:2][:, None] * tables.chance[2:4][None]
    assert joint.sum(axis=(0, 1)) == pytest.approx(np.ones(3), abs=1e-6)
    seen = np.array(
        [[np.mean((first == u) & (second == v) & (cause == 1)) for v in ("no", "yes")] for u in ("no", "yes")]
    )
    assert joint[:, :, 1] == pytest.approx(seen / seen.sum(), abs=0.03)
    two, begin = codes[:, [0, 2]], np.array([0, 2, 4])
    assert find_pairs(two, cells(two, begin), cause, np.ones(4000), begin, tables.chance[[0, 1, 4, 5]]) is None


def test_codes_of_numbers_text_and_what_was_never_seen() -> None:
    frame = pd.DataFrame({"age": [1.0, 2.0, np.nan], "seen": [True, False, None], "make": ["A", "B", None]})
    columns = learn_columns(frame)
    assert encode(frame, columns).tolist() == [[0, 1, 0], [1, 0, 1], [-1, -1, -1]]
    asked = pd.DataFrame({"age": [99.0], "make": ["new"], "other": ["x"]})
    assert encode(asked, columns).tolist() == [[1, -1, -1]]
    assert never_seen(asked, columns) == [{"age": 99.0, "make": "new"}]
    weights = np.arange(12.0).reshape(6, 2)
    assert gather(weights, cells(encode(frame, columns), offsets(columns))).tolist() == [
        (weights[0] + weights[3] + weights[4]).tolist(), (weights[1] + weights[2] + weights[5]).tolist(), [0.0, 0.0],
    ]  # fmt: skip
