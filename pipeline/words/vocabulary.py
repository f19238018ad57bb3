"""Which known word a written word is: base forms, endings, and spelling mistakes that can mean only one thing."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Iterable, Mapping

WORD = re.compile(
    r"(?<![^\W_])[^\W_](?:\.[^\W_](?![^\W_]))+|(?<![^\W_])[^\W_]/[^\W_]+(?:/[^\W_]+)*|\d+\.\d+|[^\W_]+|[^\w\s]|_",
    re.UNICODE,
)
MARKS = {",": ",", "?": "?", "\x01": "?<", "&": "and", "+": "and", "/": "/", "=": "="}
BREAKS = frozenset(".;:!()[]{}~|-\n\r\x00")
_WRITTEN_OUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"})
_SHORT_STEMS = ("s", "es", "ed", "ing")
SHORTEST_TO_MEND = 5
SHORTEST_FOR_TWO_MISTAKES = 11
LONGEST = 24


def plain(text: str) -> str:
    """Give text in lower case with plain apostrophes left out and one form of each accent."""
    folded = unicodedata.normalize("NFKC", text).lower()
    for mark in "'\N{RIGHT SINGLE QUOTATION MARK}\N{LEFT SINGLE QUOTATION MARK}`\N{ACUTE ACCENT}":
        folded = folded.replace(mark, "")
    return folded


def folded(text: str) -> str:
    """Give text with ä, ö, ü, ß written out, so that either spelling is one word."""
    return text if text.isascii() else text.translate(_WRITTEN_OUT)


def split(text: str) -> list[str]:
    """Cut a phrase of a word list into words, as `tokens.Reader` cuts texts."""
    return WORD.findall(folded(plain(text)))


class Vocabulary:
    """The words of one language that phrases and cues are made of.

    Parameters
    ----------
    words
        Words that phrases use, in lower case.
    forms
        Irregular forms: form -> base word.
    fillers
        Words that say nothing and are dropped.
    known
        Words that mean something but take part in no phrase; never mended to another word.
    spelt
        More words that are never mended to another.
    dictionary
        Gives the words of the language, none of which is mended to another; asked when a word would be mended.
    endings, doubling, endings_back
        How words are inflected; see ``cues.toml``.
    """

    def __init__(
        self,
        words: Iterable[str],
        *,
        forms: Mapping[str, str],
        fillers: Iterable[str],
        known: Iterable[str] = (),
        spelt: Iterable[str] = (),
        dictionary: Callable[[], Container[str]] = frozenset,
        endings: Iterable[str] = (),
        doubling: bool = False,
        endings_back: Iterable[str] = (),
    ) -> None:
        self.fillers = frozenset(fillers)
        self._known = frozenset(known)
        self._spelt = self._known | frozenset(spelt)
        self._dictionary = dictionary
        self._endings = sorted(endings, key=len, reverse=True)
        self._doubling, self._endings_back = doubling, tuple(endings_back)
        self.words = {forms.get(word, word) for word in words}
        self._forms = dict(forms)
        for word in sorted(self.words, key=len):
            base = self._stem(word, self.words, only_before=True)
            if base is not None:
                self._forms.setdefault(word, base)
        for form, base in list(self._forms.items()):
            self._forms[form] = self._end_of_chain(base)
        self._beginnings = {word[:3] for word in (*self.words, *self._forms)}
        self.words -= {word for word in self.words if self._forms.get(word, word) != word}
        self._inflected = self.words | self._forms.keys()
        self._near: dict[tuple[str, int], list[str]] | None = None
        self._edges: set[str] = set()

    def _end_of_chain(self, word: str) -> str:
        seen = {word}
        while (base := self._forms.get(word, word)) != word and base not in seen:
            seen.add(base)
            word = base
        return word

    def _stem(self, word: str, known: Container[str], *, only_before: bool = False) -> str | None:
        """Give the word of ``known`` that ``word`` is a form of, or None; ``only_before`` makes one of two the base."""
        for ending in self._endings:
            if not word.endswith(ending) or len(word) - len(ending) < (3 if ending in _SHORT_STEMS else 4):
                continue
            bare = word[: -len(ending)]
            candidates = [bare, *(bare + back for back in self._endings_back)]
            if self._doubling and bare[-1] == bare[-2]:
                candidates.append(bare[:-1])
            if ending in ("es", "ed") and bare.endswith("i"):
                candidates.append(bare[:-1] + "y")
            for candidate in candidates:
                if len(candidate) < 3 or candidate == word or candidate not in known:
                    continue
                if not only_before or (len(candidate), candidate) < (len(word), word):
                    return candidate
        return None

    def base(self, word: str) -> str | None:
        """Give the base word of a word spelt right; "" for a filler, None for a word not known."""
        if word in self.fillers:
            return ""
        if word in self._forms:
            return self._forms[word]
        if word in self.words:
            return word
        stem = self._stem(word, self._inflected) if word[:3] in self._beginnings else None
        if stem is not None:
            return self._forms.get(stem, stem)
        return None

    def spellings(self) -> set[str]:
        """Give every word and form known."""
        return self.words | set(self._forms) | self.fillers

    def is_known(self, word: str) -> bool:
        """Tell whether a word needs no review although no phrase uses it."""
        return word in self._known

    def _targets(self) -> dict[tuple[str, int], list[str]]:
        """Give right spellings by first letter and length, inflected forms included."""
        if self._near is None:
            spelt = {
                w for w in (*self.words, *self._forms, *self.fillers) if len(w) >= SHORTEST_TO_MEND - 1 and w.isalpha()
            }
            for word in list(spelt):
                for ending in self._endings:
                    spelt.add(word + ending)
                    for back in self._endings_back:
                        if word.endswith(back):
                            spelt.add(word.removesuffix(back) + ending)
                    if self._doubling and word[-1] not in "aeiouwy":
                        spelt.add(word + word[-1] + ending)
            self._near = {}
            for word in sorted(spelt):
                if len(word) >= SHORTEST_TO_MEND and self.base(word) is not None:
                    self._near.setdefault((word[0], len(word)), []).append(word)
                    self._edges |= _edges(word)
        return self._near

    def mend(self, words: list[str]) -> dict[str, str]:
        """Give the base word of each misspelt word for which only one comes near enough.

        One mistake (a letter wrong, missing, doubled or two swapped) from five letters on, two from eleven on; the
        first letter must be right. A word near two words of different meaning is left alone, so is any
        word spelt right.
        """
        from rapidfuzz.distance import OSA
        from rapidfuzz.process import cdist

        targets = self._targets()
        groups: dict[tuple[str, int], list[str]] = {}
        for word in words:
            if not SHORTEST_TO_MEND <= len(word) <= LONGEST or not word.isalpha() or word in self._spelt:
                continue
            if len(word) >= SHORTEST_FOR_TWO_MISTAKES or not self._edges.isdisjoint(_edges(word)):
                groups.setdefault((word[0], len(word)), []).append(word)
        mended: dict[str, str] = {}
        for (letter, length), group in groups.items():
            limit = 2 if length >= SHORTEST_FOR_TWO_MISTAKES else 1
            near = [w for size in range(length - limit, length + limit + 1) for w in targets.get((letter, size), ())]
            if not near:
                continue
            distances = cdist(group, near, scorer=OSA.distance, score_cutoff=limit)
            best = distances.min(axis=1)
            for position, word in enumerate(group):
                if best[position] > limit:
                    continue
                bases = {self.base(near[i]) for i in (distances[position] == best[position]).nonzero()[0]}
                if len(bases) == 1 and word not in self._dictionary():
                    mended[word] = str(bases.pop())
        return mended


def _edges(word: str) -> set[str]:
    """Give beginnings and ends of a word; any single mistake after the first letter leaves at least one whole."""
    return {word[:3], f"{word[0]}…{word[-2:]}", f"{word[:2]}…{word[-1]}"}
