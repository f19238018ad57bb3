"""Reads whole columns of free text: each distinct clause once, by language and kind of appliance."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

from pipeline.values.distinct import arrow_text
from pipeline.words.phrases import OTHER
from pipeline.words.tokens import DROP, FIRST_WORD, batches

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Iterator, Sequence

    import pandas as pd
    import pyarrow as pa
    from numpy.typing import NDArray

    from pipeline.words.lexicon import Lexicon
    from pipeline.words.tokens import Clauses

Found = TypeVar("Found")
LONGEST_TEXT = 20_000
_REMEMBERED_AT_MOST = 400_000


def as_texts(column: pd.Series[Any]) -> pa.LargeStringArray:
    """Give a column as texts; what is missing is empty, what is longer than `LONGEST_TEXT` is read so far."""
    import pyarrow.compute as pc

    texts = arrow_text(column).fill_null("")
    if (pc.max(pc.binary_length(texts)).as_py() or 0) > LONGEST_TEXT:
        return pc.utf8_slice_codeunits(texts, 0, LONGEST_TEXT)
    return texts


def as_numbered(
    column: pd.Series[Any] | None, length: int, listed: Container[str] | None = None
) -> tuple[list[str | None], NDArray[np.int64]]:
    """Give the distinct values and which one each row has.

    None comes first, for missing ones; then, where only some values are ``listed``, `OTHER` for the rest.
    """
    import pandas as pd

    if column is None:
        return [None], np.zeros(length, dtype=np.int64)
    which, distinct = pd.factorize(column, use_na_sentinel=True)
    names = [str(value) for value in distinct]
    kept = [name for name in names if listed is None or name in listed]
    head: list[str | None] = [None] if listed is None else [None, OTHER]
    number = {name: place for place, name in enumerate(kept, len(head))}
    places = np.array([number.get(name, 1) for name in names] + [0], dtype=np.int64)
    return [*head, *kept], places[which]


class ClauseReader(Generic[Found]):
    """Finds something in the clauses of texts, remembering what it made of each distinct clause.

    Parameters
    ----------
    lexicons
        Languages; each text is read in the one that knows most of its words, the first when equal.
    read
        Gives what one clause says: words, kind, lexicon → findings.
    """

    def __init__(
        self, lexicons: Sequence[Lexicon], read: Callable[[Sequence[str], str | None, Lexicon], list[Found]]
    ) -> None:
        self._lexicons = lexicons
        self._read = read
        self._remembered: dict[tuple[str, str | None, int], list[int]] = {}
        self._number: dict[Found, int] = {}

    @property
    def found(self) -> list[Found]:
        """Everything found so far; `find` gives positions in it."""
        return list(self._number)

    @property
    def languages(self) -> list[str]:
        """Names of the languages."""
        return [lexicon.language for lexicon in self._lexicons]

    def find(
        self, texts: pa.LargeStringArray, kinds: Sequence[str | None], kind_of: NDArray[np.int64]
    ) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
        """Yield, batch by batch, the row of everything found, and which of ``found`` it is."""
        for start, end in batches(texts):
            part = texts[start:end]
            for lexicon, rows in self.by_language(part):
                chosen = part if rows is None else part.take(rows)
                places = np.arange(start, end) if rows is None else rows + start
                yield self._find_in(lexicon, chosen, places, kinds, kind_of)

    def by_language(self, texts: pa.LargeStringArray) -> list[tuple[Lexicon, NDArray[np.int64] | None]]:
        """Give each language with the positions of its texts; None = all."""
        if len(self._lexicons) == 1:
            return [(self._lexicons[0], None)]
        known = np.stack([known_words(lexicon, texts) for lexicon in self._lexicons])
        best = known.argmax(axis=0)
        return [(lexicon, np.flatnonzero(best == n)) for n, lexicon in enumerate(self._lexicons) if (best == n).any()]

    def _find_in(
        self,
        lexicon: Lexicon,
        texts: pa.LargeStringArray,
        places: NDArray[np.int64],
        kinds: Sequence[str | None],
        kind_of: NDArray[np.int64],
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        import pandas as pd

        clauses = lexicon.reader.clauses(texts)
        rows = places[clauses.row]
        which, distinct = pd.factorize(clauses.which * len(kinds) + kind_of[rows])
        said = [self._said(lexicon, kinds[key % len(kinds)], clauses, key // len(kinds)) for key in distinct.tolist()]
        counts = np.fromiter(map(len, said), dtype=np.int64, count=len(said))
        first = np.concatenate(([0], np.cumsum(counts)))
        flat = np.fromiter(chain.from_iterable(said), dtype=np.int64, count=int(first[-1]))
        times = counts[which]
        total = int(times.sum())
        within = np.arange(total) - np.repeat(np.cumsum(times) - times, times)
        return np.repeat(rows, times), flat[np.repeat(first[which], times) + within]

    def _said(self, lexicon: Lexicon, kind: str | None, clauses: Clauses, distinct: int) -> list[int]:
        key = (lexicon.language, kind, clauses.keys[distinct])
        said = self._remembered.get(key)
        if said is None:
            if len(self._remembered) > _REMEMBERED_AT_MOST:
                self._remembered.clear()
            found = self._read(lexicon.spell(clauses.words(distinct)), kind, lexicon)
            said = self._remembered[key] = [self._number.setdefault(item, len(self._number)) for item in found]
        return said


def known_words(lexicon: Lexicon, texts: pa.LargeStringArray) -> NDArray[np.int64]:
    """Count the words of each text that a language knows, fillers included, marks not."""
    met = lexicon.reader.words(texts)
    is_word = (met.number >= FIRST_WORD) | ((met.number == DROP) & (met.end - met.begin > 1))
    return np.bincount(met.row[is_word], minlength=len(texts))[: len(texts)]
