"""What is read of a job, one number a feature: facts understood, products of two, and the words of the call.

Where lists are, findings are left to them, so that what was looked at on the way to the cause does not answer the
telephone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import cells, offsets
from models.causes.features import FINDING, SYMPTOM
from models.causes.products import learn_pairs, pair_keys
from models.causes.words import Words, learn_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scipy.sparse import csr_matrix

    from models.causes.encoding import Column

CELLS, PRODUCTS, WORDS = 1.0, 0.7, 3.0  # scale of a fact, of a product of two, and of a text's words (and its pieces)


@dataclass(frozen=True)
class Facts:
    """Features in order: cells of columns, then products, then words.

    Attributes
    ----------
    columns
        As learned.
    is_read
        Of each cell: whether it is a feature.
    pairs
        Products, as :func:`models.causes.products.pair_keys` numbers them, rising.
    words
        Words and pieces; none for jobs without text.
    """

    columns: Sequence[Column]
    is_read: np.ndarray
    pairs: np.ndarray
    words: Words

    @property
    def size(self) -> int:
        """How many features there are."""
        return len(self.is_read) + len(self.pairs) + len(self.words.entries)

    @property
    def is_piece(self) -> np.ndarray:
        """Of each feature: whether it is a piece of a word."""
        return np.append(np.zeros(len(self.is_read) + len(self.pairs), dtype=bool), self.words.is_piece)

    def read(self, codes: np.ndarray, texts: Sequence[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Features that jobs show: job, feature, value."""
        at = cells(codes, offsets(self.columns))
        shown = np.append(self.is_read, False)[at]
        job = np.nonzero(shown)[0]
        jobs, features, values = [job], [at[shown]], [np.full(len(job), CELLS)]
        both, key = pair_keys(codes, self.columns)
        if len(self.pairs) and len(key):
            place = np.minimum(np.searchsorted(self.pairs, key), len(self.pairs) - 1)
            known = self.pairs[place] == key
            jobs.append(both[known])
            features.append(len(self.is_read) + place[known])
            values.append(np.full(int(known.sum()), PRODUCTS))
        if self.words.entries:
            row, entry, weight = self.words.read(texts)
            jobs.append(row)
            features.append(len(self.is_read) + len(self.pairs) + entry)
            values.append(WORDS * weight)
        return np.concatenate(jobs), np.concatenate(features), np.concatenate(values)

    def matrix(self, codes: np.ndarray, texts: Sequence[str]) -> csr_matrix:
        """Jobs × features."""
        from scipy.sparse import csr_matrix

        job, feature, value = self.read(codes, texts)
        return csr_matrix((value, (job, feature)), shape=(len(codes), self.size))


def entries(shown: csr_matrix) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Job, feature and value of what a matrix holds, as :meth:`Facts.read` gives them."""
    told = shown.tocoo()
    return told.row, told.col, told.data


def learn_facts(codes: np.ndarray, texts: Sequence[str], columns: Sequence[Column], *, beside_lists: bool) -> Facts:
    """Learn which features there are; ``beside_lists`` leaves findings to the lists."""
    is_read = [np.zeros(0, dtype=bool)]
    for column in columns:
        if column.name.startswith(SYMPTOM):
            is_read.append(np.array([value == "yes" for value in column.values], dtype=bool))
        else:
            is_read.append(np.full(column.size, not (beside_lists and column.name.startswith(FINDING))))
    return Facts(columns, np.concatenate(is_read), learn_pairs(codes, columns), learn_words(texts))
