"""What a text is made of: words, word pairs and pieces of words, weighed by how rare they are.

A word that many jobs show tells little, a rare one much (inverse document frequency); a word with a letter dropped
still shares most of its pieces with the word meant, and a compound shares pieces with its parts. Needs no list and no
language.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import chain, pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")
PIECES = (2, 3, 4, 5)  # letters of a piece, the edges of the word counting as one each
MOST = 40_000  # words, pairs and pieces of them kept, the most frequent; bounds time and memory
SHARES = np.array([0.3, 1.7])  # of a text's squared length: words and pairs; pieces. Most is told by pieces, which
# meet again in texts that share no word (printers, phones)
PIECE_RARITY = 0.75  # power of a piece's rarity: pieces of one rare word are many and say the same


@dataclass(frozen=True)
class Words:
    """Words, pairs and pieces met, and the weight of each.

    Attributes
    ----------
    entries
        Each once; a piece of a word begins with ``~``. What stands in one text alone may name a person, so of it a
        checksum is kept.
    rarity
        Inverse document frequency of each, of pieces to the power ``PIECE_RARITY``.
    """

    entries: tuple[str, ...]
    rarity: np.ndarray

    @cached_property
    def place(self) -> dict[str, int]:
        """Place of each entry."""
        return {entry: number for number, entry in enumerate(self.entries)}

    @cached_property
    def is_piece(self) -> np.ndarray:
        """Of each entry: whether it is a piece of a word."""
        return np.array([entry[:1] == "~" for entry in self.entries], dtype=bool)

    def find(self, entry: str) -> int | None:
        """Place of a word, pair or piece; None = never met."""
        place = self.place.get(entry)
        return self.place.get(checksum(entry)) if place is None else place

    def read(self, texts: Sequence[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Entries that texts show: text, entry and weight of each; texts alike in length, ``SHARES`` of it words."""
        entries, row, shown, times = entries_of(texts)
        places = [self.find(entry) for entry in entries]
        column = np.array([-1 if place is None else place for place in places], dtype=np.int64)[shown]
        is_met = column >= 0
        row, column = row[is_met], column[is_met]
        weight = self.rarity[column] * (1 + np.log(times[is_met]))
        block = row * len(SHARES) + self.is_piece[column]
        squared = np.bincount(block, weight**2, minlength=len(SHARES) * len(texts))
        return row, column, weight * np.sqrt(SHARES[block % len(SHARES)] / squared[block])


def learn_words(texts: Iterable[str]) -> Words:
    """Learn which words, pairs and pieces texts show; the same text is heard once for each job."""
    texts = list(texts)
    number = len(texts)
    met, _, which, _ = entries_of(texts)
    shown = dict(zip(met, np.bincount(which, minlength=len(met)).tolist(), strict=True))
    kept = sorted(shown, key=lambda entry: (-shown[entry], entry))[:MOST]
    counts = {entry if shown[entry] > 1 else checksum(entry): shown[entry] for entry in kept}
    entries = tuple(sorted(counts))
    rarity = np.log((1 + number) / (1 + np.array([counts[entry] for entry in entries], dtype=float))) + 1
    words = Words(entries, rarity)
    return replace(words, rarity=np.where(words.is_piece, rarity**PIECE_RARITY, rarity))


def checksum(entry: str) -> str:
    """What is kept of a word, pair or piece that one text alone shows; many texts have the same."""
    return f"{'~' if entry.startswith('~') else ''}#{zlib.crc32(entry.encode()):08x}"


def made_of(text: str) -> set[str]:
    """Words, word pairs, and pieces of words of one text, in small letters."""
    return set(entries_of([text])[0])


def entries_of(texts: Sequence[str]) -> tuple[list[str], np.ndarray, np.ndarray, np.ndarray]:
    """Words, word pairs and pieces that texts show, each once; and text, entry and how many times of each showing."""
    number: dict[str, int] = {}  # of each entry
    place: dict[str, int] = {}  # of each word and pair among ``parts``
    parts: list[list[int]] = []  # the entries of each
    rows: list[int] = []
    told: list[int] = []
    for row, text in enumerate(texts):
        said = WORD.findall(text.lower())
        both = [f"{one} {other}" for one, other in pairwise(said)]
        for run in (*said, *both):
            if run not in place:
                place[run] = len(parts)
                made = (run,) if " " in run else (run, *pieces_of(run))
                parts.append([number.setdefault(entry, len(number)) for entry in made])
        told += [place[run] for run in (*said, *both)]
        rows += [row] * (len(said) + len(both))
    sizes = np.array([len(part) for part in parts], dtype=np.int64)
    run = np.array(told, dtype=np.int64)
    many = sizes[run]
    at = np.arange(many.sum()) + np.repeat((np.cumsum(sizes) - sizes)[run] - np.cumsum(many) + many, many)
    entry = np.fromiter(chain.from_iterable(parts), dtype=np.int64)[at]
    told_at = np.repeat(np.array(rows, dtype=np.int64), many) * len(number) + entry
    shown, times = np.unique(told_at, return_counts=True)
    rows_shown, entries_shown = np.divmod(shown, max(len(number), 1))
    return list(number), rows_shown, entries_shown, times


@lru_cache(maxsize=1 << 16)
def pieces_of(word: str) -> tuple[str, ...]:
    """Pieces of a word, its edges told from its middle."""
    edged = f"<{word}>"
    return tuple("~" + edged[i : i + size] for size in PIECES for i in range(len(edged) - size + 1))


def texts_of(frame: pd.DataFrame, text: str | None) -> list[str]:
    """Texts of a frame's rows, "" where there is none."""
    if text is None or text not in frame.columns:
        return [""] * len(frame)
    return ["" if value is None or value != value else str(value) for value in frame[text].tolist()]
