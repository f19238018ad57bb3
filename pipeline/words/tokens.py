"""Cuts many texts into words at once: whole columns as byte arrays, each distinct word looked at only once."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pyarrow as pa
    from numpy.typing import NDArray

DROP, GAP, BREAK = 0, 1, 2
"""What a word becomes when it says nothing, is not known, or ends a clause; known words follow from ``FIRST_WORD``."""
FIRST_WORD = 3

BYTES_AT_ONCE = 1_500_000
_SEPARATOR = "\x00"
_QUESTION_BEFORE = 1  # the byte that stands for a question mark with no word right before it
_SEEN_AT_MOST = 2_000_000
_RECENT_AT_MOST = 6  # complaints and their unknown words are asked for one after the other

_TYPOGRAPHY = {
    "\N{RIGHT SINGLE QUOTATION MARK}": "",
    "\N{LEFT SINGLE QUOTATION MARK}": "",
    "\N{MODIFIER LETTER APOSTROPHE}": "",
    "\N{ACUTE ACCENT}": "",
    "\N{NO-BREAK SPACE}": " ",
    "\N{LEFT DOUBLE QUOTATION MARK}": " ",
    "\N{RIGHT DOUBLE QUOTATION MARK}": " ",
    "\N{DOUBLE LOW-9 QUOTATION MARK}": " ",
    "\N{LEFT-POINTING DOUBLE ANGLE QUOTATION MARK}": " ",
    "\N{RIGHT-POINTING DOUBLE ANGLE QUOTATION MARK}": " ",
    "\N{EN DASH}": " - ",
    "\N{EM DASH}": " - ",
    "\N{HORIZONTAL ELLIPSIS}": ".",
    "\N{BULLET}": ".",
    "\N{INVERTED QUESTION MARK}": " ",
    "\N{ZERO WIDTH SPACE}": "",
    "\N{SOFT HYPHEN}": "",
    "\N{ZERO WIDTH NO-BREAK SPACE}": "",
}


class Clauses(NamedTuple):
    """Distinct clauses of a batch, and where each stands.

    ``keys`` are equal for equal clauses, of other batches too; ``words`` gives the word numbers of one. ``which`` and
    ``row`` have one entry a clause met.
    """

    keys: NDArray[np.uint64]
    numbers: NDArray[np.int32]
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    which: NDArray[np.int64]
    row: NDArray[np.int32]

    def words(self, distinct: int) -> list[int]:
        """Give the numbers of the words of a distinct clause."""
        numbers: list[int] = self.numbers[self.starts[distinct] : self.ends[distinct]].tolist()
        return numbers


class Met(NamedTuple):
    """Every word of some texts, in order.

    ``number`` and ``row`` have one entry a word; ``which`` says which distinct spelling it is, ``spelling`` gives them.
    """

    number: NDArray[np.int32]
    row: NDArray[np.int32]
    which: NDArray[np.int64]
    first: NDArray[np.int64]
    begin: NDArray[np.int64]
    end: NDArray[np.int64]
    raw: bytes

    def spelling(self, distinct: int) -> str:
        """Give a distinct word as written, in lower case."""
        at = self.first[distinct]
        return self.raw[self.begin[at] : self.end[at]].decode("utf-8", errors="replace").lower()


def _classes() -> bytes:
    """Give of every byte: 0 = between words, 1 = within a word, 2 = a mark that is a word by itself."""
    classes = bytearray(128) + b"\x01" * 128
    for character in b"abcdefghijklmnopqrstuvwxyz0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ":
        classes[character] = 1
    for character in b".,;:!?()[]{}+&/~|-\n\r\x00\x01=":
        classes[character] = 2
    return bytes(classes)


_CLASS = _classes()
_CLASS_OF_DIGITS = np.isin(np.arange(256), list(b"0123456789"))
_SMALL = bytes.maketrans(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ", b"abcdefghijklmnopqrstuvwxyz")
_BYTES_AT_ONCE = 8
_FIRST_BYTES = np.array([(1 << 8 * n) - 1 for n in range(_BYTES_AT_ONCE + 1)], dtype=np.uint64)
_ODD = np.uint64(0x9E3779B97F4A7C15)


def join(texts: pa.LargeStringArray) -> bytes:
    """Put texts into one run of bytes, a zero byte after each, with typographic marks made plain."""
    import pyarrow.compute as pc

    blob = _ended(texts)
    if np.count_nonzero(np.frombuffer(blob, dtype=np.uint8) == 0) != len(texts):
        blob = _ended(pc.replace_substring(texts, _SEPARATOR, " "))
    blob = blob.replace(b"'", b"").replace(b"`", b"").replace(b"\x01", b" ")
    if not blob.isascii():
        for mark, plain in _TYPOGRAPHY.items():
            blob = blob.replace(mark.encode(), plain.encode())
    return blob


def _ended(texts: pa.LargeStringArray) -> bytes:
    import pyarrow as pa
    import pyarrow.compute as pc

    nothing, end = pa.scalar("", pa.large_string()), pa.scalar(_SEPARATOR, pa.large_string())
    joined = pc.binary_join_element_wise(texts, nothing, end)
    blob: bytes = joined.buffers()[2].to_pybytes()
    return blob[: pc.sum(pc.binary_length(joined)).as_py() or 0]


def batches(texts: pa.LargeStringArray, size: int = BYTES_AT_ONCE) -> list[tuple[int, int]]:
    """Give the first and last-plus-one positions of runs of texts of about so many bytes each."""
    import pyarrow.compute as pc

    if not len(texts):
        return []
    ends = np.cumsum(pc.binary_length(texts).to_numpy(zero_copy_only=False) + 1)
    cuts = np.searchsorted(ends, np.arange(size, int(ends[-1]), size)).tolist()
    edges = sorted({0, *(cut + 1 for cut in cuts), len(texts)})
    return list(pairwise(edges))


def _spans(data: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give where each word begins and ends (one past its last byte)."""
    classes = np.frombuffer(data.tobytes().translate(_CLASS), dtype=np.uint8).copy()
    is_word = classes == 1
    before, after = np.zeros_like(is_word), np.zeros_like(is_word)
    before[1:], after[:-1] = is_word[:-1], is_word[1:]
    before2, after2 = np.zeros_like(is_word), np.zeros_like(is_word)
    before2[2:], after2[:-2] = is_word[:-2], is_word[2:]
    inner = before & after
    digit = (data >= 48) & (data <= 57)
    digits_round = np.zeros_like(is_word)
    digits_round[1:-1] = digit[:-2] & digit[2:]
    is_dot = data == ord(".")
    is_slash = data == ord("/")
    joins = (is_slash & inner & ~before2) | (is_dot & inner & ((~before2 & ~after2) | digits_round))
    is_hyphen = data == ord("-")
    classes[is_hyphen & inner] = 0
    classes[joins] = 1
    data[(data == ord("?")) & ~before] = _QUESTION_BEFORE
    is_word = classes == 1
    is_mark = classes == 2
    starts = is_word.copy()
    starts[1:] &= ~is_word[:-1]
    ends = is_word
    ends[:-1] &= ~is_word[1:]
    return np.flatnonzero(starts | is_mark), np.flatnonzero(ends | is_mark) + 1


def _hash(run: bytes, begin: NDArray[np.int64], end: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Give one number a stretch of bytes, equal for equal stretches."""
    eight_from = np.ndarray(len(run), dtype="<u8", buffer=run + bytes(_BYTES_AT_ONCE), strides=(1,))
    left = end - begin
    hashed = left.astype(np.uint64) * _ODD
    which = np.arange(len(begin))
    while len(which):
        read = eight_from[begin] & _FIRST_BYTES[np.minimum(left, _BYTES_AT_ONCE)]
        mixed = (hashed[which] ^ read) * _ODD
        hashed[which] = mixed ^ (mixed >> np.uint64(32))
        longer = np.flatnonzero(left > _BYTES_AT_ONCE)
        which, begin, left = which[longer], begin[longer] + _BYTES_AT_ONCE, left[longer] - _BYTES_AT_ONCE
    return hashed


def _distinct(
    hashed: NDArray[np.uint64],
) -> tuple[NDArray[np.int64], NDArray[np.uint64], NDArray[np.int64]]:
    """Give which distinct value each entry is, the distinct values, and where each stands first."""
    import pandas as pd

    which, distinct = pd.factorize(hashed)
    first = np.zeros(len(distinct), dtype=np.int64)
    first[which[::-1]] = np.arange(len(which) - 1, -1, -1)
    return which.astype(np.int64), distinct, first


def _hashes_of(words: Sequence[str]) -> list[int]:
    """Give the numbers `_hash` gives for single words."""
    if not words:
        return []
    run = _SEPARATOR.join(words).encode().translate(_SMALL) + b"\0"
    ends = np.flatnonzero(np.frombuffer(run, dtype=np.uint8) == 0)
    begins = np.concatenate(([0], ends[:-1] + 1))
    return [int(value) for value in _hash(run, begins, ends)]


class Reader:
    """Turns texts into the numbers of known words; remembers every distinct word it has looked at.

    Parameters
    ----------
    number_of
        Gives the number of a word in lower case: ``DROP``, ``GAP``, ``BREAK`` or a known word's.
    abbreviations
        Numbers of words after which a full stop ends nothing.
    with_digits
        Known words that begin with a digit; all others that do are gaps and never looked at.
    """

    def __init__(
        self,
        number_of: Callable[[list[str]], list[int]],
        abbreviations: frozenset[int],
        with_digits: Sequence[str] = (),
    ) -> None:
        self._number_of = number_of
        self._abbreviations = abbreviations
        self._seen: dict[int, int] = {}
        self._with_digits = dict(zip(_hashes_of(with_digits), number_of(list(with_digits)), strict=True))
        self._seen |= self._with_digits
        self._numbers_with_digits = np.array(list(self._with_digits), dtype=np.uint64)
        self._recent: dict[bytes, Met] = {}

    def words(self, texts: pa.LargeStringArray) -> Met:
        """Give every word of the texts."""
        blob = join(texts)
        met = self._recent.get(blob)
        if met is None:
            met = self._read(blob)
            if len(self._recent) >= _RECENT_AT_MOST:
                self._recent.clear()
            self._recent[blob] = met
        return met

    def _read(self, blob: bytes) -> Met:
        data = np.frombuffer(blob, dtype=np.uint8).copy()
        begin, end = _spans(data)
        hashed = _hash(data.tobytes().translate(_SMALL), begin, end)
        which, distinct, first = _distinct(hashed)
        is_row_end = data[begin] == 0
        rows = np.cumsum(is_row_end, dtype=np.int32) - is_row_end
        met = Met(np.empty(0, dtype=np.int32), rows, which, first, begin, end, data.tobytes())
        number_of = np.full(len(distinct), GAP, dtype=np.int32)
        begins_with_digit = _CLASS_OF_DIGITS[data[begin[first]]]
        asked = np.flatnonzero(~begins_with_digit | np.isin(distinct, self._numbers_with_digits))
        keys = distinct[asked].tolist()
        known = [self._seen.get(key) for key in keys]
        new = [at for at, number in enumerate(known) if number is None]
        if new:
            if len(self._seen) > _SEEN_AT_MOST:
                self._seen = dict(self._with_digits)
            found = self._number_of([met.spelling(position) for position in asked[new].tolist()])
            for at, number in zip(new, found, strict=True):
                known[at] = self._seen[keys[at]] = number
        number_of[asked] = np.array(known, dtype=np.int32)
        numbers = number_of[which]
        if self._abbreviations:
            dots = np.flatnonzero(data[begin] == ord("."))
            dots = dots[dots > 0]
            numbers[dots[np.isin(numbers[dots - 1], list(self._abbreviations))]] = DROP
        return met._replace(number=numbers)

    def clauses(self, texts: pa.LargeStringArray) -> Clauses:
        """Give the distinct clauses of the texts; unknown words beside each other are one gap."""
        met = self.words(texts)
        kept = met.number != DROP
        numbers, rows = met.number[kept], met.row[kept]
        kept = np.ones(len(numbers), dtype=bool)
        kept[1:] = (numbers[1:] != numbers[:-1]) | (numbers[1:] > BREAK)
        numbers, rows = numbers[kept], rows[kept]
        edge = numbers == BREAK
        beside = np.ones(len(numbers), dtype=bool)
        beside[1:] = edge[:-1]
        beside[:-1] |= edge[1:]
        kept = (numbers != GAP) | ~beside
        numbers, rows = numbers[kept], rows[kept]
        edge = numbers == BREAK
        begins = np.ones(len(numbers), dtype=bool)
        begins[1:] = edge[:-1]
        numbers, rows, starts = numbers[~edge], rows[~edge], np.flatnonzero(begins[~edge])
        ends = np.append(starts[1:], len(numbers))[: len(starts)]
        size = numbers.itemsize
        which, keys, first = _distinct(_hash(numbers.tobytes(), starts * size, ends * size))
        return Clauses(keys, numbers, starts[first], ends[first], which, rows[starts])
