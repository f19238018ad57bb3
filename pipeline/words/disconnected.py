"""What holds with a part disconnected: "RCD stays in with the heater off" tells where the earth fault is."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.words.lists import many

if TYPE_CHECKING:
    from pipeline.words.prepared_lists import ReadyLists

_OFF = re.compile(
    r"\b(?:off|out(?! of range)|(?P<before>abgeklemmt\w*|abgezogen\w*|abgesteckt\w*|ausgesteckt\w*|getrennt\w*"
    r"|disconnected|unplugged|unhooked|unwired|isolated|removed|pulled|without|ohne)"
    r"|aus|ab|weg|raus|ausgeschaltet|abgeschaltet|ausgebaut)\b",
    re.IGNORECASE,
)
_HOLDS = re.compile(
    r"\b(?:(?:holds?|holding|held)(?! (?:\w+ )?(?:water|pressure|heat|charge|temperature|temp)\b)"
    r"|sta(?:ys?|yed|ying) (?:in|up|set|put)|(?:it|rcds?|breaker|trip|power|supply|mains|electrics?) stay(?:s|ed) on"
    r"|(?:do(?:es)?n'?t|do(?:es)? not|did ?n[o']?t|won'?t|never|not|without|no longer|no more|stops?|stopped)"
    r" trip(?:s|ping|ped)?"
    r"|no trip(?:s|ping)?|tripping (?:has )?(?:stops|stopped|gone)|runs? (?:fine|ok|okay|without tripping)"
    r"|(?:rcd|breaker|trip|mcb|rcbo) (?:is )?(?:ok|okay|fine|happy)"
    r"|(?:hält|haelt|hielt)(?! (?:\w+ )?(?:wasser|druck|temperatur|wärme)\b)"
    r"|(?:bleibt|blieb) (?:\w+ ){0,2}(?:drin|drinnen|oben)"
    r"|(?:fi|sicherung|ls) bleibt an"
    r"|(?:fliegt|flog|fällt|faellt|fiel|springt|löst|loest) (?:\w+ ){0,2}?(?:nicht|nimmer)|kein auslösen"
    r"|(?:fi|sicherung) (?:ist )?(?:ok|in ordnung))\b",
    re.IGNORECASE,
)
_HOLDS_NOT = re.compile(
    r"\b(?:(?:not|never|won'?t|doesn'?t|don'?t|didn'?t|cannot|can'?t|no longer) (?:hold|stay|run)"
    r"|(?:hält|haelt|hielt|bleibt|blieb) (?:\w+ ){0,2}nicht|trotzdem|auch ohne"
    r"|(?<!no longer )(?<!'t )(?<!not )(?<!never )(?<!no )trips?(?! (?:is|ok|okay|fine|happy|stays|holds))\b)",
    re.IGNORECASE,
)
_SAYS_WHERE = re.compile(r"\b(?:with|when|once|if|as long as|after|mit|wenn|sobald|bei|solange)\b", re.IGNORECASE)
_CLAUSES = re.compile(r"([;\n]|(?<!\d),|,(?!\d)|\.(?!\d))")
_NEAR = 4  # words between what is off and the word that says so, at most
_PLACE = "earth fault at"


def says_off(text: str) -> bool:
    """Whether a text says that something is disconnected or switched off."""
    return _OFF.search(text) is not None


def says_it_holds(text: str) -> bool:
    """Whether a text says that the supply does not trip."""
    return _HOLDS.search(text) is not None and _HOLDS_NOT.search(text) is None


def may_tell(text: str) -> bool:
    """Whether a text says that it holds, or trips, with something disconnected."""
    return says_off(text) and (_HOLDS.search(text) is not None or _HOLDS_NOT.search(text) is not None)


def with_parts_off_judged(words: ReadyLists, text: str, kind: str | None) -> str:
    """Put where the earth fault is in the place of a clause that says it holds with one part disconnected.

    A clause that says it trips all the same keeps no part: nothing was found of that one.
    """
    pieces = _CLAUSES.split(text)
    for position, piece in enumerate(pieces):
        if not may_tell(piece):
            continue
        places = {_place_of(words, thing, kind) for thing in words.things_in(_what_is_off(piece), kind)} - {""}
        if not places:
            continue
        if not says_it_holds(piece):
            pieces[position] = ""
        elif len(places) == 1:
            pieces[position] = places.pop()
    return "".join(pieces)


def _what_is_off(piece: str) -> str:
    """Give the words beside the one that says it is off: "motor runs with the belt off" is of the belt."""
    told = list[str]()
    for off in _OFF.finditer(piece):
        before = _SAYS_WHERE.split(piece[: off.start()])[-1].split()[-_NEAR:]
        after = piece[off.end() :].split()[:_NEAR] if off["before"] else []
        told.append(" ".join([*before, *after]))
    return "; ".join(told)


def _place_of(words: ReadyLists, thing: str, kind: str | None) -> str:
    """Give the finding of a thing to earth: where the fault is, on kinds tested part by part; "" = it has none."""
    rules = words.finding_rules
    for row in words.lists.finding_rules:
        finding, value = row["finding"], row["value"]
        if row["energise"] != "no" or not rules.holds_for(finding, kind) or not _is_earth_of(row["when"], thing):
            continue
        place = finding.removesuffix(" test")
        is_place = place in rules.values[_PLACE] and rules.holds_for(_PLACE, kind)
        return f"{_PLACE}={place}" if is_place else f"{finding}={value}"
    return ""


def _is_earth_of(when: str, thing: str) -> bool:
    rules = (rule.partition("=") for rule in many(when))
    return any(name == thing and "earth" in states.split("/") for name, _, states in rules)
