"""Resistance readings in notes: "element 25 ohm" is a good element, "pump 20 Mohm" an open one."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.words.ready import ReadyLists

READING = re.compile(
    r"(\d{1,7}(?:[.,]\d{1,3})?)\s*(k|m|meg|kilo|mega)?\s*(?:ohms?|Ω|\N{OHM SIGN})(?!\w)", re.IGNORECASE
)
_CLAUSES = re.compile(r"([,;\n]|\.(?!\d))")
_TIMES = {"": 1.0, "k": 1e3, "kilo": 1e3, "m": 1e6, "meg": 1e6, "mega": 1e6}
FAR_ABOVE = 10
"""A reading so many times the highest good one is an open circuit."""


def with_readings_judged(words: ReadyLists, text: str, kind: str | None) -> str:
    """Put what a reading means in its place, where the thing measured is named beside it and has a known range.

    Parameters
    ----------
    words
        Words in force; their ``readings`` are the ranges.
    text
        A note.
    kind
        Kind of appliance.
    """
    pieces = _CLAUSES.split(text)
    for position, piece in enumerate(pieces):
        match = READING.search(piece)
        if match is None:
            continue
        rest = piece[: match.start()] + " " + piece[match.end() :]
        value = float(match.group(1).replace(",", ".")) * _TIMES[(match.group(2) or "").lower()]
        for thing in words.things_in(rest, kind):
            if thing in words.lists.readings:
                low, high = words.lists.readings[thing]
                meaning = _meaning(words, value, low, high)
                if meaning is not None:
                    pieces[position] = f"{rest} {meaning}"
                break
    return "".join(pieces)


def _meaning(words: ReadyLists, value: float, low: float, high: float) -> str | None:
    cues = next(iter(words.lists.cues.values()))
    if low <= value <= high:
        return str(cues["reading_good"])
    return str(cues["reading_open"]) if value > FAR_ABOVE * high else None
