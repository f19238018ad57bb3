"""One language made ready: its vocabulary, its phrases, and the words that turn, question or confirm."""

from __future__ import annotations

import unicodedata
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

from pipeline.words.dictionary import words_of
from pipeline.words.phrases import Meaning, Phrase, PhraseTree
from pipeline.words.vocabulary import BREAKS, MARKS, Vocabulary, folded, split

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.words.tokens import Reader

_UNKNOWN = "\ufffd"
_BREAK = "<break>"


class Lexicon:
    """Words and phrases of one language.

    Parameters
    ----------
    language
        Its short name.
    phrases
        Written forms of terms.
    cues
        The language's ``cues.toml``.
    known
        Words that need no review although no phrase uses them.
    spelt
        Words spelt right that are never mended to another.
    """

    def __init__(
        self,
        language: str,
        phrases: Sequence[Phrase],
        cues: Mapping[str, Any],
        known: Sequence[str],
        spelt: Sequence[str] = (),
    ) -> None:
        self.language = language
        self._phrases = phrases
        self._cues = cues
        self._known = known
        self._spelt = spelt
        self.denies_after = bool(cues.get("denies_after", False))
        """What is denied stands before the word that denies: "heizt nicht"."""

    @cached_property
    def cue(self) -> dict[str, str]:
        """Cue word -> what it does: not, no, fail, ok, bad, doubt, confirm, or, and, break, work, comma."""
        found: dict[str, str] = {}
        for effect, words in self._cues.get("cue", {}).items():
            for word in _cut(words):
                found.setdefault(word, effect)
        for word in _cut(self._cues["cue"].get("determiner", "")):
            found[word] = "no"
        found |= {",": "comma", "?": "doubt after", "?<": "doubt", "/": "and", "=": "comma"}
        return found

    @cached_property
    def _forms(self) -> dict[str, str]:
        forms = {folded(str(k)): folded(str(v)) for k, v in self._cues.get("forms", {}).items()}
        for word, effect in self.cue.items():
            if effect == "work":
                forms.setdefault(word, effect)
            elif effect in ("not", "no", "break"):
                forms[word] = _BREAK if effect == "break" else effect
        return forms

    @cached_property
    def light(self) -> frozenset[str]:
        """Words passed over unless a phrase asks for them."""
        return frozenset(_cut(self._cues.get("ignore", {}).get("light", "")))

    @cached_property
    def _split_phrases(self) -> list[tuple[Phrase, list[str]]]:
        return [
            (phrase, [MARKS.get(w, w) for w in split(phrase.written) if w not in BREAKS]) for phrase in self._phrases
        ]

    @cached_property
    def vocabulary(self) -> Vocabulary:
        """All words that mean something in this language."""
        words = {word for _phrase, words in self._split_phrases for word in words}
        words |= {w for w, effect in self.cue.items() if effect not in ("not", "no", "work", "break")}
        fillers = set(_cut(self._cues.get("ignore", {}).get("words", "")))
        fillers |= {word for word in self.light if word not in words}
        fillers -= set(self.cue)
        return Vocabulary(
            words - fillers,
            forms=self._forms,
            fillers=fillers,
            known=self._known,
            spelt=self._spelt,
            dictionary=partial(words_of, self.language),
            endings=self._cues.get("endings", ()),
            doubling=bool(self._cues.get("doubling", False)),
            endings_back=self._cues.get("endings_back", ()),
        )

    @cached_property
    def tree(self) -> PhraseTree:
        """Every phrase of this language; a function of several words is also denied within: "door not open"."""
        tree = PhraseTree(self.light)
        for phrase, words in self._split_phrases:
            bases = [base for base in (self.vocabulary.base(word) for word in words) if base]
            if not bases or bases in (["not"], ["no"]):
                continue
            meaning = Meaning(phrase.group, phrase.term, phrase.kinds, phrase.origin)
            tree.add(bases, meaning)
            if phrase.group in ("function", "opposite") and len(bases) > 1 and bases[0] not in ("not", "no"):
                tree.add([bases[0], "not", *bases[1:]], meaning)
        return tree

    @cached_property
    def effects(self) -> dict[str, str]:
        """Base word -> what it does as a cue."""
        found = dict(self.cue)
        for word, effect in self.cue.items():
            base = self.vocabulary.base(word)
            if base:
                found.setdefault(base, effect)
        return found

    @cached_property
    def nouns(self) -> frozenset[str]:
        """Base words of the names of parts, things and causes."""
        return frozenset(
            base
            for phrase, words in self._split_phrases
            if phrase.group in ("part", "thing", "cause")
            for base in map(self.vocabulary.base, words)
            if base and base not in self.light and base not in self.effects and base not in self.deeds
        )

    @cached_property
    def deeds(self) -> frozenset[str]:
        """Base words of what was done or is to be done: "seized, replaced" is no other cause than "seized"."""
        return frozenset(self.vocabulary.base(word) or word for word in _cut(self._cues.get("deeds", "")))

    @cached_property
    def numbered(self) -> list[str]:
        """Word of each number of `tokens.Reader`; the first three are its signals."""
        bases = sorted(self.vocabulary.words | set(self._forms.values()) | {"no", "not", "work"})
        return ["", _UNKNOWN, _BREAK, *(word for word in bases if word not in ("", _BREAK))]

    @cached_property
    def _number(self) -> dict[str, int]:
        return {word: number for number, word in enumerate(self.numbered) if word != _UNKNOWN}

    def base_words(self, written: list[str]) -> list[str | None]:
        """Give the base word of each written word, misspellings mended; "" = filler, None = not known."""
        bases: list[str | None] = []
        astray: list[int] = []
        for position, raw in enumerate(written):
            word = MARKS.get(raw, raw)
            if word in BREAKS:
                bases.append(_BREAK)
                continue
            word = split_joined(word)
            base = self.vocabulary.base(word)
            bases.append(base)
            if base is None:
                astray.append(position)
        if astray:
            plainly = [split_joined(written[position]) for position in astray]
            mended = self.vocabulary.mend(plainly)
            for position, word in zip(astray, plainly, strict=True):
                bases[position] = mended.get(word)
        return bases

    def numbers(self, written: list[str]) -> list[int]:
        """Give the number of each written word, for `tokens.Reader`."""
        return [1 if base is None else self._number[base] for base in self.base_words(written)]

    @cached_property
    def reader(self) -> Reader:
        """Reads whole columns of text in this language."""
        from pipeline.words.tokens import Reader

        short = _cut(self._cues.get("abbreviations", ""))
        numbers = {self._number[base] for base in (self.vocabulary.base(word) for word in short) if base}
        with_digits = sorted(word for word in self.vocabulary.spellings() if word[0].isdigit())
        return Reader(self.numbers, frozenset(numbers), with_digits)

    def spelt_bases(self, text: str) -> list[str]:
        """Give the base words of a short text, fillers as "", unknown words as a gap."""
        return [_UNKNOWN if base is None else base for base in self.base_words(split(text))]

    def spell(self, numbers: Sequence[int]) -> tuple[str, ...]:
        """Give the words of a clause."""
        return tuple(self.numbered[number] for number in numbers)


def _cut(words: object) -> list[str]:
    return folded(str(words)).split()


def split_joined(word: str) -> str:
    """Give an abbreviation with stops as one word: "b.e.r" is "ber"."""
    if not word.isascii():
        word = folded(unicodedata.normalize("NFKC", word).lower())
    return word.replace(".", "") if "." in word and len(word) > 1 and not word[0].isdigit() else word
