"""What a text is made of: words, word pairs and pieces of words, weighed by how rare they are.

A word that many jobs show tells little, a rare one much (inverse document frequency); a word with a letter dropped
still shares most of its pieces with the word meant, and a compound shares pieces with its parts. Needs no list and no
language.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")
PIECES = (3, 4, 5)  # letters of a piece, the edges of the word counting as one each
MOST = 40_000  # words, pairs and pieces of them kept, the most frequent; bounds time and memory
FEWEST = 2  # texts that show a word or piece before it is kept: what stands in one text alone may name a person
BLOCKS = 2  # words and pairs; pieces


@dataclass(frozen=True)
class Words:
    """Words, pairs and pieces met, and the weight of each.

    Attributes
    ----------
    entries
        Each once; a piece of a word begins with ``~``.
    rarity
        Inverse document frequency of each.
    """

    entries: tuple[str, ...]
    rarity: np.ndarray

    def read(self, texts: Sequence[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Entries that texts show: text, entry and weight of each; a text's words have length 1, and its pieces."""
        place = {entry: number for number, entry in enumerate(self.entries)}
        rows: list[int] = []
        columns: list[int] = []
        for number, text in enumerate(texts):
            shown = [place[entry] for entry in made_of(text) if entry in place]
            rows += [number] * len(shown)
            columns += shown
        row, column = np.array(rows, dtype=np.int64), np.array(columns, dtype=np.int64)
        is_piece = np.array([entry[:1] == "~" for entry in self.entries], dtype=bool)
        weight = self.rarity[column]
        block = row * BLOCKS + is_piece[column]
        length = np.sqrt(np.bincount(block, weight**2, minlength=BLOCKS * len(texts)))
        return row, column, weight / length[block]


def learn_words(texts: Iterable[str]) -> Words:
    """Learn which words, pairs and pieces texts show; the same text is heard once for each job."""
    shown: Counter[str] = Counter()
    number = 0
    for text in texts:
        shown.update(made_of(text))
        number += 1
    kept = sorted(
        (entry for entry, count in shown.items() if count >= FEWEST), key=lambda entry: (-shown[entry], entry)
    )
    kept = sorted(kept[:MOST])
    counts = np.array([shown[entry] for entry in kept], dtype=float)
    return Words(tuple(kept), np.log((1 + number) / (1 + counts)) + 1)


def made_of(text: str) -> set[str]:
    """Words, word pairs, and pieces of words of one text, in small letters."""
    said = WORD.findall(text.lower())
    entries = {*said, *(f"{one} {other}" for one, other in pairwise(said))}
    for word in set(said):
        edged = f"<{word}>"
        entries.update("~" + edged[i : i + size] for size in PIECES for i in range(len(edged) - size + 1))
    return entries


def texts_of(frame: pd.DataFrame, text: str | None) -> list[str]:
    """Texts of a frame's rows, "" where there is none."""
    if text is None or text not in frame.columns:
        return [""] * len(frame)
    return ["" if value is None or value != value else str(value) for value in frame[text].tolist()]
