"""Reads whole columns of free text: each distinct clause once, by language and kind of appliance."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

from pipeline.values.distinct import arrow_text
from pipeline.words.lexicon import split_joined
from pipeline.words.phrases import OTHER
from pipeline.words.tokens import DROP, FIRST_WORD, batches
from pipeline.words.vocabulary import folded

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
_SALT = 0xD1B54A32D192ED03


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
        Languages; each text is read in the one that knows most of its words, most of them rightly spelt, or the first.
    read
        Gives what one clause says: words, kind, lexicon → findings.
    """

    def __init__(
        self, lexicons: Sequence[Lexicon], read: Callable[[Sequence[str], str | None, Lexicon], list[Found]]
    ) -> None:
        self._lexicons = lexicons
        self._read = read
        self._remembered: dict[int, list[int]] = {}
        self._salts: dict[tuple[str, str | None], int] = {}
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
        equal = np.flatnonzero((known == known.max(axis=0)).sum(axis=0) > 1)
        if equal.size:
            astray = np.stack([mended_words(lexicon, texts.take(equal)) for lexicon in self._lexicons])
            best[equal] = (2 * known[:, equal] - astray).argmax(axis=0)
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
        clause, kind = distinct // len(kinds), distinct % len(kinds)
        salts = np.array([self._salt(lexicon.language, name) for name in kinds], dtype=np.uint64)
        said = self._said(lexicon, clauses, clause, (clauses.keys[clause] ^ salts[kind]).tolist(), kinds, kind)
        counts = np.fromiter(map(len, said), dtype=np.int64, count=len(said))
        first = np.concatenate(([0], np.cumsum(counts)))
        flat = np.fromiter(chain.from_iterable(said), dtype=np.int64, count=int(first[-1]))
        times = counts[which]
        total = int(times.sum())
        within = np.arange(total) - np.repeat(np.cumsum(times) - times, times)
        return np.repeat(rows, times), flat[np.repeat(first[which], times) + within]

    def _salt(self, language: str, kind: str | None) -> int:
        """Give a number that tells equal clauses of other kinds and languages apart."""
        return self._salts.setdefault((language, kind), (len(self._salts) + 1) * _SALT % 2**64)

    def _said(
        self,
        lexicon: Lexicon,
        clauses: Clauses,
        clause: NDArray[np.int64],
        keys: list[int],
        kinds: Sequence[str | None],
        kind: NDArray[np.int64],
    ) -> list[list[int]]:
        """Give what each clause says; what was met before is not read again."""
        if len(self._remembered) > _REMEMBERED_AT_MOST:
            self._remembered.clear()
        said: list[list[int]] = []
        for at, key in enumerate(keys):
            found = self._remembered.get(key)
            if found is None:
                words = lexicon.spell(clauses.words(int(clause[at])))
                read = self._read(words, kinds[kind[at]], lexicon)
                found = self._remembered[key] = [self._number.setdefault(item, len(self._number)) for item in read]
            said.append(found)
        return said


def known_words(lexicon: Lexicon, texts: pa.LargeStringArray) -> NDArray[np.int64]:
    """Count the words of each text that a language knows, fillers included, marks not."""
    met = lexicon.reader.words(texts)
    is_word = (met.number >= FIRST_WORD) | ((met.number == DROP) & (met.end - met.begin > 1))
    return np.bincount(met.row[is_word], minlength=len(texts))[: len(texts)]


def mended_words(lexicon: Lexicon, texts: pa.LargeStringArray) -> NDArray[np.int64]:
    """Count the words of each text that a language knows only as misspellings."""
    met = lexicon.reader.words(texts)
    at = np.flatnonzero(met.number >= FIRST_WORD)
    which, of = np.unique(met.which[at], return_inverse=True)
    spelt = [lexicon.vocabulary.base(split_joined(folded(met.spelling(one)))) is not None for one in which.tolist()]
    is_mended = ~np.array(spelt, dtype=bool)[of] if len(which) else np.zeros(0, dtype=bool)
    return np.bincount(met.row[at[is_mended]], minlength=len(texts))[: len(texts)]
