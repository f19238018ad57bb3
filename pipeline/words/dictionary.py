"""Is it a word of the language, whatever our lists hold? Such a word is no misspelling of another."""

from __future__ import annotations

from functools import cache

from pipeline.words.vocabulary import folded


@cache
def words_of(language: str) -> frozenset[str]:
    """Words of a language as texts are read, ä as ae; none where the dictionaries lack it."""
    from spellchecker import SpellChecker

    if language not in SpellChecker.languages():
        return frozenset()
    return frozenset(map(folded, SpellChecker(language=language).word_frequency.dictionary))
