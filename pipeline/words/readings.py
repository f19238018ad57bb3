"""Resistance readings in notes: "element 25 ohm" is a good element, "pump 20 Mohm" an open one.

A reading to earth is one of insulation: "0.02 megs to earth on the element" is an earth fault of the element, and low
insulation whether the thing measured is known or not.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.words.lists import many

if TYPE_CHECKING:
    from collections.abc import Collection

    from pipeline.words.prepared_lists import ReadyLists

READING = re.compile(
    r"(?<![\w.,])(?:(?P<whole>\d{1,3})(?P<point>[kr])(?P<tenths>\d{1,2})|(?P<value>\d{1,7}(?:[.,]\d{1,4})?|[.,]\d{1,4})\s*-?\s*"
    r"(?:(?P<times>k|kilo|m|meg|megs|mega)?[\s-]*(?:ohms?|Ω|\N{OHM SIGN})|(?P<megs>megs?|megas?)"
    r"|(?P<short>[km])(?=\s+(?:to|down|gegen|zu|nach)\b)|(?P<bare>k|(?<=\d)r)))(?!\w)",
    re.IGNORECASE,
)
"""With the unit, or as meters are read off: "3.8k", "24R", "3k8"."""
TO_EARTH = re.compile(
    r"\b(?:to|and|against) (?:the )?(?:earth|ground|chassis|casing|case|cabinet|frame|body)\b"
    r"|\bto e\b|\b[ln] ?(?:[-/]|to) ?(?:e|pe)\b|\bearth (?:leakage|fault)\b|\binsulation\b|\bir test\b"
    r"|\b(?:gegen|zu|auf|nach|zum|zur) (?:den |das |die )?(?:pe|erde|masse|schutzleiter|gehäuse|gehaeuse|körper)\b"
    r"|\bkörperschluss|\berdschluss|\bisolation|\briso\b",
    re.IGNORECASE,
)
BONDING = re.compile(
    r"\b(?:earth|ground)(?:ing)? (?:continuity|bond(?:ing)?|resistance)\b|\b(?:chassis |case )?bonding\b"
    r"|\bschutzleiter(?:widerstand|messung|verbindung)?\b|\berdungswiderstand\b",
    re.IGNORECASE,
)
MEASURED = re.compile(
    r"\b(?:low|gone|down|short|shorted|shorting|shorts|straight|fault) (?:down )?to (?:earth|ground)\b"
    r"|\bkörperschluss|\bmasseschluss|\berdschluss|\bisolationsfehler",
    re.IGNORECASE,
)
_DENIED = re.compile(r"\b(?:no|not|nothing|never|isnt|ok|okay|good|clear|kein\w*|nicht)\b|\?", re.IGNORECASE)
_CLAUSES = re.compile(r"([;\n]|(?<!\d),|,(?!\d)|\.(?!\d))")
_TIMES = {"": 1.0, "r": 1.0, "k": 1e3, "kilo": 1e3, "m": 1e6, "meg": 1e6, "megs": 1e6, "mega": 1e6}
LEAST_INSULATION = 1e6
"""Ohm that the insulation of an appliance with an earthed casing must have (DIN VDE 0701-0702, from memory)."""
LEAST_OF_HEATERS = 0.3e6
"""Ohm where heating elements are switched on (DIN VDE 0701-0702, from memory)."""
HEATERS = frozenset({"heating element", "oven element", "flow heater", "heater pump", "thermoblock", "defrost heater"})
MOST_OF_EARTH = 1.0
"""Ohm that the protective conductor may have from plug to casing, however long (DIN VDE 0701-0702, from memory)."""
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
            if MEASURED.search(piece) and not _DENIED.search(piece) and not words.things_in(piece, kind):
                pieces[position] = f"{piece}; insulation=low"
            continue
        rest = piece[: match.start()] + " " + piece[match.end() :]
        value = ohms_of(match)
        if BONDING.search(piece):
            pieces[position] = f"earth continuity={'good' if value <= MOST_OF_EARTH else 'open'}"
            continue
        if _is_to_earth(piece, match):
            pieces[position] = _to_earth(words, TO_EARTH.sub(" ", rest), value, kind)
            continue
        for thing in words.things_in(rest, kind):
            if thing in words.lists.readings:
                low, high = words.lists.readings[thing]
                meaning = _meaning(words, value, low, high)
                if meaning is not None:
                    head, tail = piece[: match.start()], piece[match.end() :]
                    is_named_before = thing in words.things_in(head, kind)
                    pieces[position] = f"{head} {meaning}, {tail}" if is_named_before else f"{rest} {meaning}"
                break
    return "".join(pieces)


def ohms_of(match: re.Match[str]) -> float:
    """Give the ohms of a reading; a small m stands for a million too: nobody measures milliohms here."""
    sign = match["point"] or match["times"] or match["short"] or match["bare"] or ""
    times = 1e6 if match["megs"] else _TIMES[sign.lower()]
    return float(match["value"].replace(",", ".") if match["value"] else f"{match['whole']}.{match['tenths']}") * times


def _is_to_earth(text: str, match: re.Match[str]) -> bool:
    """Whether a reading is of insulation: to earth as said, or a part of a "meg", which is said of nothing else."""
    return TO_EARTH.search(text) is not None or (match["megs"] is not None and ohms_of(match) < LEAST_INSULATION)


def is_earth_reading(text: str) -> bool:
    """Whether a text says what was measured to earth, as a number or in words."""
    match = READING.search(text)
    if match is not None and (BONDING.search(text) or _is_to_earth(text, match)):
        return True
    return MEASURED.search(text) is not None and _DENIED.search(text) is None


def _to_earth(words: ReadyLists, rest: str, value: float, kind: str | None) -> str:
    """Say what a reading to earth means: of the thing named, and of the insulation."""
    things = set(words.things_in(rest, kind))
    if value >= (LEAST_OF_HEATERS if HEATERS & things else LEAST_INSULATION):
        return f"{rest}; insulation=good"
    faults = [
        f"{row['finding']}={row['value']}"
        for row in words.lists.finding_rules
        if row["energise"] == "no" and any(_is_earth_of(rule, things) for rule in many(row["when"]))
    ]
    return "; ".join([rest, *faults, "insulation=low"])


def _is_earth_of(rule: str, things: Collection[str]) -> bool:
    """Whether a rule ("mains filter=earth/low") is of one of these things to earth."""
    thing, _, states = rule.partition("=")
    return thing in things and "earth" in states.split("/")


def _meaning(words: ReadyLists, value: float, low: float, high: float) -> str | None:
    cues = next(iter(words.lists.cues.values()))
    if low <= value <= high:
        return str(cues["reading_good"])
    return str(cues["reading_open"]) if value > FAR_ABOVE * high else None
