"""How many minutes a written duration means; bare numbers are judged over the whole column."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.errors import LayoutError, shown
from pipeline.values.distinct import LONGEST_VALUE, NOT_KNOWN, distinct

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

LONGEST = 24 * 60.0  # minutes; nobody works at one appliance for longer without a break
MOST_HOURS = 24.0
LIKELY_HOURS = 12.0  # decimal fractions up to here are hours
LEAST_MINUTES = 10.0  # whole numbers below this alone do not show whether they are minutes or hours
STRAY_SHARE = 0.01

_NUMBER = r"([0-9]{1,5}(?:[.,][0-9]{1,9})?|[.,][0-9]{1,9})"
_HOUR = r"(?:hours?|hrs?\.?|h\.?|stunden?|stdn?\.?|uur)"
_MINUTE = r"(?:minutes?|minuten?|mins?\.?|m\.?|')"
_HOURS_MINUTES = re.compile(
    rf"{_NUMBER} ?{_HOUR}(?:[ ,]*(?:and |und |& )?([0-9]{{1,3}}) ?{_MINUTE}?)?(?:[ ,]*[0-9]{{1,2}} ?s(?:ecs?)?)?"
)
_MINUTES = re.compile(rf"{_NUMBER} ?{_MINUTE}(?:[ ,]*[0-9]{{1,2}} ?s(?:ecs?)?)?")
_DAYS_CLOCK = re.compile(r"(?:([0-9]) days?,? )?([0-9]{1,3}):([0-5]?[0-9])(?::([0-5]?[0-9])(?:[.,][0-9]{1,9})?)?")
_ISO = re.compile(r"pt(?:([0-9.]{1,6})h)?(?:([0-9.]{1,6})m)?(?:([0-9.]{1,6})s)?")
_BARE = re.compile(_NUMBER)
_ABOUT = re.compile(r"^(?:about|approx\.?|approximately|around|ca\.?|c\.|circa|etwa|nearly|just over|just under|~) ?")
_FRACTIONS = {"1/4": 0.25, "1/2": 0.5, "3/4": 0.75, "half": 0.5, "quarter": 0.25}
_MIXED = re.compile(r"(?:([0-9]{1,2})[ -]?(?:and )?(?:a )?)?(1/4|1/2|3/4|half|quarter)(?: (?:of )?an?)?[ -]?(.{0,8})")
_IN_WORDS = {
    "an hour": 60.0, "one hour": 60.0, "half an hour": 30.0, "half hour": 30.0, "quarter of an hour": 15.0,
    "quarter hour": 15.0, "three quarters of an hour": 45.0, "an hour and a half": 90.0, "two hours": 120.0,
    "eine stunde": 60.0, "halbe stunde": 30.0, "eine halbe stunde": 30.0,
    "viertelstunde": 15.0, "anderthalb stunden": 90.0,
}  # fmt: skip

# what a distinct value turned out to be
_Read = tuple[str, float]  # ("minutes" | "bare" | "clock" | "blank" | "not", number)


def parse(written: pd.Series[str], unit: str | None = None) -> pd.DataFrame:
    """Read a column of durations.

    Parameters
    ----------
    written
        Durations as written: "1h15", "75 min", "1:15", "0:45", "1.25 hrs", "1½ hours", "PT1H15M", "75", "1.25".
    unit
        Unit of bare numbers: "minutes", "hours", or None to decide over the whole column.

    Returns
    -------
    DataFrame
        Same rows and index. value: minutes, NaN = blank, not known or refused. problem: why it was refused, missing =
        read or blank.

    Raises
    ------
    LayoutError
        The unit is neither "minutes" nor "hours".

    Notes
    -----
    Bare numbers of a column are minutes when some are above 24, or all are whole and some are 10 or more; hours when
    some have a fraction and all are at most 12; otherwise refused. "45:10" is minutes and seconds only in a column
    where the first number goes above 24.

    Examples
    --------
    >>> import pandas as pd
    >>> parse(pd.Series(["1h15", "75 min", "0:45"])).value.tolist()
    [75.0, 75.0, 45.0]
    >>> parse(pd.Series(["1.25", "0.5"])).value.tolist()
    [75.0, 30.0]
    """
    import pandas as pd

    if unit not in (None, "minutes", "hours"):
        raise LayoutError(f"{shown(unit)} is not a unit of time.", 'Use "minutes" or "hours".')
    column = distinct(written)
    read = [_read_one(value) for value in column.values]
    bare_unit = unit or _unit_of_bare(read, column.counts)
    clock_minutes = 1.0 / 60 if _is_minutes_seconds(read, column.counts) else 1.0
    told = [_minutes(kind, number, bare_unit, clock_minutes) for kind, number in read]
    minutes, problems = [value for value, _ in told], [problem for _, problem in told]
    return pd.DataFrame({"value": column.numbers(minutes), "problem": column.texts(problems)})


def _minutes(kind: str, number: float, bare_unit: str | None, clock_minutes: float) -> tuple[float, str | None]:
    """Minutes of what a value turned out to be, and why it is refused; a clock's number counts `clock_minutes`."""
    value, problem = number, None
    if kind == "bare":
        value, problem = _bare(number, bare_unit)
    elif kind == "clock":
        value = number * clock_minutes
    elif kind == "not":
        problem = "is not a duration"
    if problem is None and value > LONGEST:
        problem = "is longer than a day"
    return (round(value, 4) if problem is None else float("nan")), problem


def decide_unit(written: pd.Series[str]) -> str | None:
    """Say what the bare numbers of a column are: "minutes", "hours", or None where they do not show it."""
    column = distinct(written)
    return _unit_of_bare([_read_one(value) for value in column.values], column.counts)


def _bare(number: float, unit: str | None) -> tuple[float, str | None]:
    if unit is None and number:
        return float("nan"), f"may be {number:g} minutes or {number:g} hours"
    return number * (60.0 if unit == "hours" else 1.0), None


def _unit_of_bare(read: Sequence[_Read], counts: Sequence[int] | NDArray[np.int64]) -> str | None:
    """Decide what bare numbers of a column are; None = they do not show it."""
    bare = [
        (number, int(count)) for (kind, number), count in zip(read, counts, strict=True) if kind == "bare" and number
    ]
    rows = sum(count for _, count in bare)
    stray = STRAY_SHARE * rows
    if sum(count for number, count in bare if number > MOST_HOURS) > stray:
        return "minutes"
    fractions = sum(count for number, count in bare if number % 1)
    if fractions > stray:
        return "hours" if sum(count for number, count in bare if number > LIKELY_HOURS) <= stray else None
    return "minutes" if sum(count for number, count in bare if number >= LEAST_MINUTES) > stray else None


def _is_minutes_seconds(read: Sequence[_Read], counts: Sequence[int] | NDArray[np.int64]) -> bool:
    clocks = [(number, int(count)) for (kind, number), count in zip(read, counts, strict=True) if kind == "clock"]
    return sum(count for number, count in clocks if number > LONGEST) > STRAY_SHARE * sum(count for _, count in clocks)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _read_one(value: str) -> _Read:
    text = value.casefold().strip("\"' ") if len(value) <= LONGEST_VALUE else "too long"
    if text in NOT_KNOWN:
        return "blank", float("nan")
    text = _ABOUT.sub("", text)
    if text in _IN_WORDS:
        return "minutes", _IN_WORDS[text]
    found = _BARE.fullmatch(text)
    if found:
        return "bare", _number(found[1])
    found = _HOURS_MINUTES.fullmatch(text)
    if found:
        return "minutes", _number(found[1]) * 60 + int(found[2] or 0)
    found = _MINUTES.fullmatch(text)
    if found:
        return "minutes", _number(found[1])
    found = _DAYS_CLOCK.fullmatch(text)
    if found:
        days, hours, minutes = int(found[1] or 0), int(found[2]), int(found[3])
        total = days * 1440 + hours * 60 + minutes + int(found[4] or 0) / 60
        return ("clock" if found[4] is None and not days else "minutes"), total
    return _read_fraction(text)


def _read_fraction(text: str) -> _Read:
    """Read "1 1/2 hours", "1½ h" and ISO 8601 periods."""
    found = _ISO.fullmatch(text)
    if found and any(found.groups()):
        try:
            hours, minutes, seconds = (float(part or 0) for part in found.groups())
        except ValueError:
            return "not", float("nan")
        return "minutes", hours * 60 + minutes + seconds / 60
    mixed = _MIXED.fullmatch(text)
    if mixed and (mixed[3] == "" or re.fullmatch(_HOUR, mixed[3])):
        part = _FRACTIONS[mixed[2]]
        return "minutes", (int(mixed[1] or 0) + part) * 60
    return "not", float("nan")
