"""Whether a text speaks of work for licensed people only: gas, or the refrigerant circuit.

``licensed.csv`` of every language is read whatever languages are set: a gas smell is heard in each. A row gives what
its phrases say and the kinds of appliance they say it for (empty = every kind, "not …" = every other). In a phrase
``word*`` is a stem, ``*word`` an ending, ``~`` up to three words between. The rows are read in the order of `SAYS`; a
word once read says nothing more, so "gas meter" is *neither* before "gas" is *gas*.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from pipeline.words.lists import SHIPPED, many, read_table
from pipeline.words.vocabulary import folded, plain

if TYPE_CHECKING:
    from collections.abc import Iterable

Work = Literal["", "gas", "refrigerant"]
SAYS = ("gas smell", "neither", "refrigerant", "gas")
_WORD = re.compile(r"[^\W_]+|[,;!?]|\.(?=\s|$)")
_BETWEEN = r"(?:\w+ ){0,3}?"


def licensed_work(texts: Iterable[str | None], kind: str) -> Work:
    """Give the work that any of the texts speaks of; gas goes before refrigerant.

    Parameters
    ----------
    texts
        Whatever is said of a call, as written, in any language.
    kind
        The kind of appliance as a term; on a fridge "lost its gas" is refrigerant.
    """
    heard = {_heard(text, kind) for text in texts if text}
    return "gas" if "gas" in heard else "refrigerant" if "refrigerant" in heard else ""


@lru_cache(maxsize=20_000)
def _heard(text: str, kind: str) -> Work:
    left, heard = _words(text), set[Work]()
    for says, pattern in _patterns(kind):
        left, met = pattern.subn(" | ", left)
        if met and says != "neither":
            heard.add("refrigerant" if says == "refrigerant" else "gas")
    return "gas" if "gas" in heard else "refrigerant" if heard else ""


def _words(text: str) -> str:
    """Give the words of a text and the marks that part its clauses, a space before, between and after them."""
    seen = "".join(mark for mark in unicodedata.normalize("NFKC", text) if unicodedata.category(mark) != "Cf")
    return f" {' '.join(_WORD.findall(folded(plain(seen))))} "


@lru_cache(maxsize=200)
def _patterns(kind: str) -> list[tuple[str, re.Pattern[str]]]:
    """Give what is said and its phrases, in the order they are read in, for one kind of appliance."""
    phrases: dict[str, list[str]] = {says: [] for says in SAYS}
    for path in sorted(SHIPPED.glob("*/licensed.csv")):
        for row in read_table(path):
            names = many(row["kinds"].removeprefix("not "))
            is_other = row["kinds"].startswith("not ")
            if not names or (kind in names) != is_other:
                phrases[row["work"]] += [_pattern(phrase) for phrase in many(row["phrases"])]
    return [(says, re.compile(f" (?:{'|'.join(found)})(?= )")) for says, found in phrases.items() if found]


def _pattern(phrase: str) -> str:
    pieces = []
    for word in folded(plain(phrase)).split():
        stem = r"\w*".join(re.escape(piece) for piece in word.split("*"))
        pieces.append(_BETWEEN if word == "~" else f"{stem} ")
    return "".join(pieces).rstrip(" ")
