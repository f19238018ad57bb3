"""An age that a complaint tells, and whether it agrees with the one given."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pipeline.call.question import age
from pipeline.call.word_account import NOTHING, TOLD
from pipeline.values.ages import years_told
from reports.render.wording import Written, sentence

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from pipeline.call.word_account import Heard
    from pipeline.words import Words
    from reports.render.wording import Sentence

_AGE = re.compile(
    r"\b(?:\d{1,2}|an?|one|two|three|four|five|six|seven|eight|nine|ten|eine?|zwei|drei|vier|fünf|sechs|sieben|acht|neun"
    r"|zehn)[ -]?(?:days?|weeks?|wks?|months?|mths?|years?|yrs?|tage?|wochen?|monate?|jahre?)[ -](?:old|alt)\b",
    re.IGNORECASE,
)
FAR_APART = 1.0
"""Years that two ages of one appliance may differ by rounding (common practice, no source)."""


class AgeTold(NamedTuple):
    """Age, given or told (NaN = neither is known), what to tell of it, and the pieces with the age accounted for."""

    years: float
    remarks: tuple[Sentence, ...]
    heard: tuple[Heard, ...]


def age_told(words: Words, heard: Sequence[Heard], kind: str, given: float, day: dt.date) -> AgeTold:
    """Read the age of the appliance where a piece tells it and names no part: "three weeks old" of a belt is none."""
    years, remarks, account = given, list["Sentence"](), list["Heard"]()
    for piece in heard:
        met = _AGE.search(piece.text)
        if met is None or not words.part_names.isdisjoint(words.things_in(piece.text, kind)):
            account.append(piece)
            continue
        told = years_told((met.group().replace("-", " "),), day)[0]
        account.append(replace(piece, how=TOLD, terms=(met.group(),)) if piece.how == NOTHING else piece)
        if np.isnan(given):
            years = told
        elif abs(told - given) >= FAR_APART:
            said = sentence("answer.two_ages", text=Written(met.group()), given=age(given))
            remarks.append(said)
    return AgeTold(years, tuple(dict.fromkeys(remarks)), tuple(account))
