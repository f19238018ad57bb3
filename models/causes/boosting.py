"""Gradient boosting beside the Bayes layer: fitted by scikit-learn, kept as plain arrays, evaluated here without it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import NOT_KNOWN, encode, numbers_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from sklearn.ensemble import HistGradientBoostingClassifier
    from sklearn.ensemble._hist_gradient_boosting.predictor import TreePredictor

    from models.causes.encoding import Column

MOST_CATEGORIES = 254  # of one column, a limit of scikit-learn's boosting; later ones count as not known


@dataclass(frozen=True)
class Trees:
    """Boosted trees as arrays, one entry a node, all trees behind one another.

    Attributes
    ----------
    causes_grown
        Cause of each tree of a round.
    root
        First node of each tree; the trees of one round follow one another.
    feature, threshold, left, right, value
        As usual; ``left`` and ``right`` are node numbers, a leaf points at itself.
    missing_left
        Where not-known goes.
    category
        Row of ``bits`` for a split by category, −1 for a split by number.
    bits
        True where the category goes left.
    known
        columns × codes: False for a category no tree has seen, which counts as not known.
    baseline
        Log score of each cause before the first tree.
    """

    causes_grown: np.ndarray
    root: np.ndarray
    feature: np.ndarray
    threshold: np.ndarray
    left: np.ndarray
    right: np.ndarray
    value: np.ndarray
    missing_left: np.ndarray
    category: np.ndarray
    bits: np.ndarray
    known: np.ndarray
    baseline: np.ndarray
    depth: int

    def scores(self, inputs: np.ndarray) -> np.ndarray:
        """Log probabilities, jobs × causes, from :func:`boosting_inputs`."""
        code = np.where(np.isnan(inputs), 0, np.clip(inputs, 0, MOST_CATEGORIES)).astype(int)
        inputs = np.where(self.known[np.arange(inputs.shape[1]), code], inputs, np.nan)
        total = np.tile(self.baseline, (len(inputs), 1))
        jobs = np.arange(len(inputs))[:, None]
        for roots in self.root.reshape(-1, len(self.causes_grown)):
            at = np.tile(roots, (len(inputs), 1))
            for _ in range(self.depth):
                at = self._step(inputs, code, jobs, at)
            total[:, self.causes_grown] += self.value[at]
        total -= total.max(axis=1, keepdims=True)
        return np.asarray(total - np.log(np.exp(total).sum(axis=1, keepdims=True)))

    def _step(self, inputs: np.ndarray, code: np.ndarray, jobs: np.ndarray, at: np.ndarray) -> np.ndarray:
        feature, category = self.feature[at], self.category[at]
        shown = inputs[jobs, feature]
        left = np.where(category >= 0, self.bits[category, code[jobs, feature]], shown <= self.threshold[at])
        left = np.where(np.isnan(shown), self.missing_left[at], left)
        return np.asarray(np.where(left, self.left[at], self.right[at]))


def boosting_inputs(frame: pd.DataFrame, columns: Sequence[Column]) -> np.ndarray:
    """Numbers as they are, categories as their code, NaN for not known."""
    codes = encode(frame, columns)
    inputs = codes.astype(float)
    inputs[(codes == NOT_KNOWN) | (codes > MOST_CATEGORIES)] = np.nan
    for position, column in enumerate(columns):
        if column.is_number and column.name in frame.columns:
            inputs[:, position] = numbers_of(frame[column.name])
    inputs[~np.isfinite(inputs)] = np.nan
    return inputs


def fit_trees(
    inputs: np.ndarray,
    columns: Sequence[Column],
    cause: np.ndarray,
    weight: np.ndarray,
    causes: int,
    *,
    rounds: int,
    seed: int,
    leaves: int = 8,
    rate: float | None = None,
    ridge: float = 10.0,
) -> Trees:
    """Fit scikit-learn's HistGradientBoostingClassifier and copy its trees into arrays."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    position = np.flatnonzero(~np.isnan(inputs).all(axis=0))
    by_category = np.array([not columns[int(p)].is_number and columns[int(p)].size > 2 for p in position], np.bool_)
    position = np.concatenate([position[by_category], position[~by_category]])  # the order scikit-learn gives them
    machine = HistGradientBoostingClassifier(
        max_iter=rounds,
        learning_rate=rate or min(max(6 / rounds, 0.08), 0.3),
        max_leaf_nodes=leaves,
        l2_regularization=ridge,
        min_samples_leaf=5,
        early_stopping=False,
        categorical_features=list(range(int(by_category.sum()))) or None,
        random_state=seed,
    )
    machine.fit(inputs[:, position], cause, sample_weight=weight)
    codes_seen = [
        np.unique(column[~np.isnan(column)]).astype(int) for column in inputs[:, position[: by_category.sum()]].T
    ]
    known = np.ones((inputs.shape[1], MOST_CATEGORIES + 2), dtype=bool)
    for p, seen in zip(position[: by_category.sum()], codes_seen, strict=True):
        known[p] = False
        known[p, seen] = True
    unseen_score = float(np.log(0.5 / (weight.sum() + 1.0)))
    return _copied(machine, position, codes_seen, known, causes, unseen_score)


def _copied(
    machine: HistGradientBoostingClassifier,
    position: np.ndarray,
    codes_seen: list[np.ndarray],
    known: np.ndarray,
    causes: int,
    unseen_score: float,
) -> Trees:
    """Copy the fitted trees into arrays; a cause the machine never saw gets no tree and a very small share."""
    fitted = machine.classes_.astype(int)
    baseline = np.asarray(machine._baseline_prediction, dtype=float).ravel()
    grown_for = fitted if len(fitted) > 2 else fitted[1:]
    start = np.full(causes, unseen_score)
    start[fitted[0]] = 0.0
    start[grown_for] = baseline
    trees = [tree for one_round in machine._predictors for tree in one_round]
    sizes = np.array([len(tree.nodes) for tree in trees])
    root = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    nodes = np.concatenate([tree.nodes for tree in trees])
    tree_start = np.repeat(root, sizes)
    is_leaf = nodes["is_leaf"].astype(bool)
    own = np.arange(len(nodes))
    feature = nodes["feature_idx"].astype(np.int64)
    bits, category = _category_splits(trees, sizes, codes_seen)
    return Trees(
        causes_grown=grown_for,
        root=root,
        feature=np.where(is_leaf, 0, position[np.where(is_leaf, 0, feature)]),
        threshold=np.where(is_leaf, 0.0, nodes["num_threshold"]),
        left=np.where(is_leaf, own, tree_start + nodes["left"]),
        right=np.where(is_leaf, own, tree_start + nodes["right"]),
        value=np.where(is_leaf, nodes["value"], 0.0),
        missing_left=nodes["missing_go_to_left"].astype(bool),
        category=category,
        bits=bits,
        known=known,
        baseline=start,
        depth=int(nodes["depth"].max()),
    )


def _category_splits(
    trees: list[TreePredictor], sizes: np.ndarray, codes_seen: list[np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Rows of booleans by our own codes, and for each node its row (−1: splits by number)."""
    bits = [np.zeros((1, MOST_CATEGORIES + 2), dtype=bool)]
    category = np.full(int(sizes.sum()), -1)
    first = 0
    rows = 1
    for tree, size in zip(trees, sizes, strict=True):
        nodes = tree.nodes
        splits = np.flatnonzero(nodes["is_categorical"].astype(bool) & ~nodes["is_leaf"].astype(bool))
        for node in splits:
            seen = codes_seen[int(nodes["feature_idx"][node])]
            packed = tree.raw_left_cat_bitsets[int(nodes["bitset_idx"][node])]
            ranks = ((packed[:, None] >> np.arange(32, dtype=np.uint32)) & 1).ravel().astype(bool)
            row = np.zeros((1, MOST_CATEGORIES + 2), dtype=bool)
            row[0, seen] = ranks[: len(seen)]
            bits.append(row)
            category[first + node] = rows
            rows += 1
        first += size
    return np.concatenate(bits), category
