"""Phrases of stems, looked for in a text whatever languages are set: what can hurt is heard in each of them.

A table of every language (``licensed.csv``, ``alarms.csv``, ``signs.csv``) gives what its phrases say, the kinds of
appliance they say it for (empty = every kind, "not …" = every other) and the phrases. In a phrase ``word*`` is a stem
(``gas**`` one before two letters or more, where what a slip of one letter makes is written out),
``*word`` an ending, ``~`` up to three words between (in *neither* none that begins another clause), ``a/b`` either
word, ``_`` a space within a word. What is read first says nothing more to what is read later, so "gas meter" is
*neither* before "gas" is *gas*.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from pipeline.words.lists import SHIPPED, many, read_table
from pipeline.words.vocabulary import folded, plain

_APOSTROPHES = "'\N{RIGHT SINGLE QUOTATION MARK}\N{LEFT SINGLE QUOTATION MARK}`\N{ACUTE ACCENT}"
_WORD = re.compile(rf"[^\W_]+(?:[{_APOSTROPHES}]+[^\W_]+)*|[,;!?]|\.(?=\s|$)")
BETWEEN = r"(?:\w+ ){0,3}?"
NEITHER = "neither"
_WITHIN = r"(?:(?!(?:and|but|then|und|aber|dann|sondern) )\w+ ){0,3}?"
"""Between words of what only sounds like something: one clause; "spins no more and smells burnt" denies no smell."""

_DENIED_AFTER = re.compile(
    r" (?:haben|hatten|hab|gibt|gab) (?:wir|ich|es|sie) (?:hier )?kein(?:e|en|es|s)? "
    r"| (?:hat|hatte) (?:noch )?(?:keiner|niemand) (?:von uns )?(?:bekommen|gespürt|gekriegt|gehabt|gemerkt|gesehen) "
)
"""What stands behind a word that is denied: "Stromschlag hat keiner bekommen", "Gasherd haben wir keinen"."""


@lru_cache(maxsize=20_000)
def said_in(
    text: str, kind: str, file: str, order: tuple[str, ...], between: str = BETWEEN
) -> tuple[tuple[str, int, int], ...]:
    """Find what a text says.

    Parameters
    ----------
    text
        As `shown` gives it.
    kind
        The kind of appliance as a term.
    file
        Name of the table.
    order
        What its rows say, in the order they are read in.
    between
        Regular expression of what "~" is.

    Returns
    -------
    tuple
        What is said, and the begin and end of the words that say it.
    """
    words = [(folded(plain(word.group())), *word.span()) for word in _WORD.finditer(text)]
    line, at = " ", list[int]()
    for word, _, _ in words:
        at.append(len(line))
        line += f"{word} "
    found: list[tuple[str, int, int]] = []
    for says, pattern in _patterns(kind, file, order, between):
        for met in pattern.finditer(line):
            if says != NEITHER and between == BETWEEN and _DENIED_AFTER.match(line, met.end()):
                continue
            here = [place for place, begin in enumerate(at) if met.start() < begin < met.end()]
            found.append((says, words[here[0]][1], words[here[-1]][2]))
        line = pattern.sub(lambda met: " " + "|" * (len(met.group()) - 1), line)
    return tuple(found)


def shown(text: str) -> str:
    """Give a text in one form of each character, without those that are not seen."""
    return "".join(mark for mark in unicodedata.normalize("NFKC", text) if unicodedata.category(mark) != "Cf")


@lru_cache(maxsize=200)
def _patterns(kind: str, file: str, order: tuple[str, ...], between: str) -> list[tuple[str, re.Pattern[str]]]:
    """Give what is said and its phrases, in the order they are read in, for one kind of appliance."""
    phrases: dict[str, list[str]] = {says: [] for says in order}
    for path in sorted(SHIPPED.glob(f"*/{file}")):
        for row in read_table(path):
            names = many(row["kinds"].removeprefix("not "))
            is_other = row["kinds"].startswith("not ")
            if not names or (kind in names) != is_other:
                within = _WITHIN if row["says"] == NEITHER and between == BETWEEN else between
                phrases[row["says"]] += [_pattern(phrase, within) for phrase in many(row["phrases"])]
    return [(says, re.compile(f" (?:{'|'.join(found)})(?= )")) for says, found in phrases.items() if found]


def _pattern(phrase: str, between: str) -> str:
    pieces = [between if word == "~" else f"{_either(word)} " for word in folded(plain(phrase)).split()]
    return "".join(pieces).rstrip(" ")


def _either(word: str) -> str:
    stems = [
        re.escape(one.replace("_", " ")).replace(r"\*\*", r"\w{2,}").replace(r"\*", r"\w*") for one in word.split("/")
    ]
    return stems[0] if len(stems) == 1 else f"(?:{'|'.join(stems)})"
