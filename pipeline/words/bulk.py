"""Reads whole columns of free text: each distinct clause once, by language and kind of appliance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from pipeline.values.distinct import arrow_text
from pipeline.words.phrases import OTHER
from pipeline.words.tokens import DROP, FIRST_WORD, batches

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Iterator, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from pipeline.words.lexicon import Lexicon

Found = TypeVar("Found")
LONGEST_TEXT = 20_000
_REMEMBERED_AT_MOST = 400_000


def as_texts(column: pd.Series[Any]) -> list[str]:
    """Give a column as texts; what is missing is empty, what is longer than `LONGEST_TEXT` is read so far."""
    texts: list[str] = arrow_text(column).fill_null("").to_pylist()
    if max(map(len, texts), default=0) > LONGEST_TEXT:
        return [text[:LONGEST_TEXT] for text in texts]
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


class ClauseReader:
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
        self._remembered: dict[tuple[str, str | None, tuple[int, ...]], list[Any]] = {}

    @property
    def languages(self) -> list[str]:
        """Names of the languages."""
        return [lexicon.language for lexicon in self._lexicons]

    def find(
        self, texts: Sequence[str], kinds: Sequence[str | None], kind_of: NDArray[np.int64]
    ) -> Iterator[tuple[NDArray[np.int64], list[Any], NDArray[np.int64]]]:
        """Yield, batch by batch, the row of everything found, what distinct clauses say, and which of it it is."""
        for start, end in batches(texts):
            part = texts[start:end]
            for lexicon, rows in self.by_language(part):
                chosen = part if rows is None else [part[row] for row in rows.tolist()]
                places = np.arange(start, end) if rows is None else rows + start
                yield self._find_in(lexicon, chosen, places, kinds, kind_of)

    def by_language(self, texts: Sequence[str]) -> list[tuple[Lexicon, NDArray[np.int64] | None]]:
        """Give each language with the positions of its texts; None = all."""
        if len(self._lexicons) == 1:
            return [(self._lexicons[0], None)]
        known = np.stack([known_words(lexicon, texts) for lexicon in self._lexicons])
        best = known.argmax(axis=0)
        return [(lexicon, np.flatnonzero(best == n)) for n, lexicon in enumerate(self._lexicons) if (best == n).any()]

    def _find_in(
        self,
        lexicon: Lexicon,
        texts: Sequence[str],
        places: NDArray[np.int64],
        kinds: Sequence[str | None],
        kind_of: NDArray[np.int64],
    ) -> tuple[NDArray[np.int64], list[Any], NDArray[np.int64]]:
        import pandas as pd

        clauses = lexicon.reader.clauses(texts)
        if not clauses.words:
            return np.empty(0, dtype=np.int64), [], np.empty(0, dtype=np.int64)
        rows = places[clauses.row]
        which, distinct = pd.factorize(clauses.which * len(kinds) + kind_of[rows])
        said = [
            self._said(lexicon, kinds[key % len(kinds)], clauses.words[key // len(kinds)]) for key in distinct.tolist()
        ]
        counts = np.fromiter((len(found) for found in said), dtype=np.int64, count=len(said))
        first = np.concatenate(([0], np.cumsum(counts)))
        flat = [item for found in said for item in found]
        times = counts[which]
        total = int(times.sum())
        within = np.arange(total) - np.repeat(np.cumsum(times) - times, times)
        picks = np.repeat(first[which], times) + within
        return np.repeat(rows, times), flat, picks

    def _said(self, lexicon: Lexicon, kind: str | None, words: tuple[int, ...]) -> list[Any]:
        key = (lexicon.language, kind, words)
        found = self._remembered.get(key)
        if found is None:
            if len(self._remembered) > _REMEMBERED_AT_MOST:
                self._remembered.clear()
            found = self._remembered[key] = self._read(lexicon.spell(words), kind, lexicon)
        return found


def known_words(lexicon: Lexicon, texts: Sequence[str]) -> NDArray[np.int64]:
    """Count the words of each text that a language knows, fillers included, marks not."""
    met = lexicon.reader.words(texts)
    is_word = (met.number >= FIRST_WORD) | ((met.number == DROP) & (met.end - met.begin > 1))
    return np.bincount(met.row[is_word], minlength=len(texts))[: len(texts)]
