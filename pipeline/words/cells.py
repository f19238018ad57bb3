"""Understands whole cells: kinds of appliance, outcomes, makes and part names."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from pipeline.words.phrases import Meaning, Phrase, PhraseTree
from pipeline.words.vocabulary import BREAKS, MARKS, Vocabulary, folded, plain, split

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

LONGEST_TERM = 80
LONGEST_CELL = 400
"""A longer cell is no single term."""
_NUMBER = re.compile(r"(?<!\S)(?=[^\s]*\d)[A-Za-z0-9][\w/.-]{2,}(?!\S)")  # a part or model number
_DOUBT = frozenset(
    {
        "?",
        "?<",
        "poss",
        "possible",
        "possibly",
        "maybe",
        "perhaps",
        "probably",
        "prob",
        "suspect",
        "suspected",
        "evtl",
        "vielleicht",
    }
)
_DENY = frozenset({"not", "no", "isnt", "wasnt", "nicht", "kein", "keine"})
WORKING, TESTED = "working", "tested ok"
"""What the words of an outcome say that name no outcome: that it works, or only that it was tested and does.

Both are a repair where the rest of the record tells one; the second alone may as well mean that nothing was found.
"""
_YIELD = frozenset({"made safe", "advice only", "unknown", WORKING, TESTED})
_SUCCESS = frozenset({"fixed", "no fault found"})


class Cell(NamedTuple):
    """What one cell means."""

    term: str | None
    is_understood: bool
    is_doubtful: bool


def own_term(written: str) -> str | None:
    """Give the workshop's own term for a cell no list knows: lower case, single spaces; None when empty."""
    text = " ".join("".join(c if c.isprintable() else " " for c in plain(written)).split())
    return text.strip(" .,;:!?-_/|\"'")[:LONGEST_TERM].strip() or None


class CellList:
    """One list of whole cells.

    A cell is understood when it is a known phrase, give or take words that do not matter beside one. Several phrases of
    different meaning in one cell are not guessed at, but for outcomes: there the last counts ("no access, then fixed"),
    doubtful where one of them is a success. That it works or was tested yields to any other ("done, tested ok").

    Parameters
    ----------
    name
        kind, outcome, make or part.
    phrases
        Written forms.
    ignored
        Words that may stand beside a phrase.
    forms
        Irregular forms and abbreviations of single words.
    """

    def __init__(
        self, name: str, phrases: Iterable[Phrase], ignored: Collection[str], forms: Mapping[str, str] | None = None
    ) -> None:
        self._name = name
        phrases = list(phrases)
        self._exact: dict[str, list[Meaning]] = {}
        cut = [(phrase, _words(phrase.written)) for phrase in phrases]
        words = {word for _phrase, pieces in cut for word in pieces}
        self._ignored = frozenset(folded(word) for word in ignored)
        self._vocabulary = Vocabulary(
            words, forms=forms or {}, fillers=(), known=self._ignored, endings=("s",) if name != "make" else ()
        )
        self._tree = PhraseTree(())
        self._group = frozenset({name})
        for phrase, pieces in cut:
            meaning = Meaning(name, phrase.term, phrase.kinds, phrase.origin)
            self._exact.setdefault(_key(phrase.written), []).append(meaning)
            bases = [self._vocabulary.base(piece) or piece for piece in pieces]
            if bases:
                self._tree.add(bases, meaning)

    def read(self, written: str, kind: str | None) -> Cell:
        """Give what a cell means for a kind of appliance."""
        if len(written) > LONGEST_CELL:
            return Cell(own_term(written), False, False)
        exact = self._held(self._exact.get(_key(written), []), kind)
        if exact is not None:
            return self._outcome([exact], is_doubtful=False) if self._name == "outcome" else Cell(exact, True, False)
        words = _words(written)
        is_doubtful = self._name != "make" and any(word in _DOUBT for word in words)
        words = [word for word in words if word not in _DOUBT]
        found, left = self._search(words, kind, mend=False)
        if not found or left:
            words = [word for word in _words(_NUMBER.sub(" ", written)) if word not in _DOUBT] or words
            found, left = self._search(words, kind, mend=True)
        terms = list(dict.fromkeys(found))
        if left or not found or (self._name != "outcome" and (len(terms) > 1 or not terms[0])):
            return Cell(own_term(written), False, is_doubtful)
        return (
            self._outcome(found, is_doubtful=is_doubtful)
            if self._name == "outcome"
            else Cell(terms[0], True, is_doubtful)
        )

    def _held(self, meanings: list[Meaning], kind: str | None) -> str | None:
        own = {m.term for m in meanings if kind in m.kinds} or {m.term for m in meanings if not m.kinds}
        if not own and kind is None:
            own = {m.term for m in meanings}
        return own.pop() if len(own) == 1 else None

    def _search(self, words: Sequence[str], kind: str | None, *, mend: bool) -> tuple[list[str], list[str]]:
        """Give the terms found in order, and the words left over that are not known to be beside the point."""
        bases: list[str] = []
        for word in words:
            base = self._vocabulary.base(word)
            if base is None and mend and word not in self._ignored:
                base = self._vocabulary.mend([word]).get(word)
            bases.append(base or word)
        found: list[str] = []
        left: list[str] = []
        position = 0
        while position < len(bases):
            match = self._tree.longest(bases, position, kind, self._group)
            if match is None:
                if not self._is_beside_the_point(words[position]) or words[position] in _DENY:
                    left.append(words[position])
                position += 1
                continue
            position, meanings = match
            terms = {meaning.term for meaning in meanings}
            found += [terms.pop()] if len(terms) == 1 else [""]
        return found, left

    def _is_beside_the_point(self, word: str) -> bool:
        return word in self._ignored or any(c.isdigit() for c in word) or not any(c.isalnum() for c in word)

    def _outcome(self, found: list[str], *, is_doubtful: bool) -> Cell:
        """Choose among the outcomes a cell names: the last that says more than that it works or was left safe."""
        strong = [term for term in found if term not in _YIELD]
        weak = [term for term in found if term not in (WORKING, TESTED)]
        if strong or weak:
            said_twice = len(set(strong)) > 1 and not _SUCCESS.isdisjoint(strong)
            return Cell((strong or weak)[-1], True, is_doubtful or said_twice)
        return Cell("fixed", True, is_doubtful) if WORKING in found else Cell(TESTED, True, True)


def _key(written: str) -> str:
    return " ".join(folded(plain(written)).split()).strip(" .,;:!-")


def _words(written: str) -> list[str]:
    from pipeline.words.lexicon import split_joined

    return [split_joined(MARKS.get(w, w)) for w in split(written) if w not in BREAKS]
