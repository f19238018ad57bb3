"""How old the appliance was at the visit: from an age, a year made or bought, or a date of purchase."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from pipeline.values import dates
from pipeline.values.distinct import LONGEST_VALUE, NOT_KNOWN, distinct

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

OLDEST = 60.0  # years; above it a number is a slip, or no age
DAYS_A_YEAR = 365.25

_SAYS_NO_AGE = """
    out of warranty|oow|o.o.w.|in warranty|under warranty|iw|warranty|warranty expired|out of guarantee|in guarantee|
    under guarantee|guarantee|garantie|außer garantie|ausser garantie|old|very old|quite old|ancient|alt|sehr alt|
    not sure|unsure|no idea|don't know|dont know|cust unsure|customer unsure|customer not sure|few years|a few years|
    some years|several years|years|not new|used|gebraucht|second hand|second-hand|secondhand|2nd hand|reconditioned|
    came with house
"""
_UNKNOWN = NOT_KNOWN | {text.strip() for text in _SAYS_NO_AGE.split("|")}
_NEW = re.compile("(?:brand |nearly |as )?new(?: machine)?|just bought|doa|neu|nagelneu|fast neu|0")
_NUMBER_WORDS = """
    no|a an one ein eine einem einen|two couple zwei|three drei|four vier|five fünf|six sechs|seven sieben|eight acht|
    nine neun|ten zehn|eleven elf|twelve zwölf|thirteen|fourteen|fifteen|sixteen|seventeen|eighteen|nineteen|
    twenty zwanzig
"""
_WORDS = {word: float(number) for number, words in enumerate(_NUMBER_WORDS.split("|")) for word in words.split()}
_NUMBER = rf"[0-9]{{1,5}}(?:[.,][0-9]{{1,9}})?|[.,][0-9]{{1,9}}|{'|'.join(sorted(_WORDS, key=len, reverse=True))}"
_YEAR = r"(?:years?|yrs?\.?|yr'?s|y(?:/o|\.o\.)?\.?|jahren?|jahre?|j\.?|jr\.?)"
_MONTH = r"(?:months?|mths?\.?|mnths?\.?|mos?\.?|m\.?|monaten?|monate?|mon\.?)"
_UNITS = {"year": 1.0, "month": 1 / 12, "week": 7 / DAYS_A_YEAR, "day": 1 / DAYS_A_YEAR}
_UNIT = rf"(?:(?P<year>{_YEAR})|(?P<month>{_MONTH})|(?P<week>weeks?|wks?\.?|wochen?)|(?P<day>days?|tagen?|tage?))"
_HALF = r"(?:[ -]?(?:and |und )?(?:a )?(?P<half>1/2|half|1/4|3/4))?"
_HALF_AFTER = _HALF.replace("<half>", "<half2>")
_LOOSE = re.compile(
    r"^(?:(?:aged?|alter|approx(?:imately)?|about|abt|around|roughly|nearly|almost|just over|just under|over|under|"
    r"circa|ca?|etwa|ungefähr|fast|knapp|über|gut|mehr als|less than|more than|at least|up to|maybe|prob(?:ably)?|"
    r"poss(?:ibly)?|est(?:imated)?|say|only|unter|weniger als)\b[.:]? ?|[~<>≈?+] ?)+"
)
_TAIL = re.compile(r"(?: ?(?:old|of age|alt|or so|approx\.?|ish|-ish|plus|\+|\?|ago|of use|in use|oder so))+\.?$")
_UNDER = re.compile(r"^(?:less than|under|unter|weniger als|<) ?")
_SPAN = re.compile(rf"(?:a )?(?P<number>{_NUMBER}){_HALF}(?:\+| plus)? ?(?:of )?{_UNIT}?{_HALF_AFTER}")
_TWO_UNITS = re.compile(rf"(?P<years>{_NUMBER}) ?{_YEAR}[ ,;+&-]*(?:and |und )?(?P<months>{_NUMBER}) ?(?:{_MONTH})?")
_RANGE = re.compile(rf"(?P<low>{_NUMBER}) ?(?:{_YEAR})? ?(?:-|to|or|bis|/|oder) ?(?P<high>{_NUMBER}) ?{_UNIT}?")
_MADE = re.compile(
    r"^(?:(?:made|bought|purchased|purchase date|manufactured|built|mfd|mfg|mfr|new|installed|fitted|from|since|dop|"
    r"date of purchase|date of manufacture|date|year|yr|model|gekauft|baujahr|bj|kaufdatum|kauf|seit|von)\b[.:]? ?"
    r"(?:in |on |im |am )?)+"
)
_SPREADSHEET_DAY = re.compile("[2-6][0-9]{4}")
_YEAR_ONLY = re.compile(r"'?((?:19|20)[0-9]{2})(?: model)?|'([0-9]{2})")
_MONTH_YEAR = re.compile(r"(?:([0-9]{1,2})[-/. ])((?:19|20)[0-9]{2})|((?:19|20)[0-9]{2})[-/. ]([0-9]{1,2})")
_NAME_YEAR = re.compile(r"([^\W\d_]{3,9})[-/., ']*((?:19|20)[0-9]{2}|[0-9]{2})")


def parse(written: pd.Series[str], on_date: pd.Series[pd.Timestamp]) -> pd.DataFrame:
    """Read a column of ages.

    Parameters
    ----------
    written
        Ages as written: "3", "3yrs", "36 months", "2y10m", "nearly 3 years", "about 10", "new", "2021" (year made or
        bought), a date of purchase, "out of warranty".
    on_date
        Day of the visit, same rows; NaT = not known.

    Returns
    -------
    DataFrame
        Same rows and index. value: years at the visit, NaN = not known or refused. problem: why it was refused,
        missing = read, blank, or a form that says no age ("out of warranty").

    Notes
    -----
    "nearly 3" and "about 3" are 3; "under a year" is half a year; "5 to 6" is 5.5. A year stands for its middle, and
    in the visit's own year for the middle of what has passed of it; a month likewise. The order of day and month of
    purchase dates is decided over the whole column, see ``dates.parse``. Common practice, no source.

    Examples
    --------
    >>> import pandas as pd
    >>> visit = pd.to_datetime(pd.Series(["2024-07-01"] * 3))
    >>> parse(pd.Series(["2y6m", "2021", "2023-07-02"]), visit).value.round(1).tolist()
    [2.5, 3.0, 1.0]
    """
    import pandas as pd

    column = distinct(written)
    read = [_read_one(value) for value in column.values]
    bought, problems = _dates_bought(column.values, read, column.counts)
    years = column.numbers([number if kind == "age" else np.nan for kind, number, _ in read])
    first, last = bought
    since = _years_since(
        column.days(first), column.days(last), pd.to_datetime(pd.Series(on_date.array, index=column.index))
    )
    age = years.where(years.notna(), since)
    problem = column.texts(problems)
    too_early = age < 0
    too_old = age > OLDEST
    problem = problem.mask(too_early, "is after the visit").mask(too_old, f"is older than {OLDEST:g} years")
    return pd.DataFrame({"value": age.mask(too_early | too_old), "problem": problem})


@lru_cache(maxsize=4096)
def years_told(written: tuple[str | None, ...], day: dt.date) -> tuple[float, ...]:
    """Ages told of one day's calls, as `parse` reads their column; kept, for many calls say the same."""
    import pandas as pd

    ages = pd.Series([text or None for text in written], dtype="str")
    return tuple(parse(ages, pd.Series([pd.Timestamp(day)] * len(written)))["value"])


def _years_since(
    first: pd.Series[pd.Timestamp], last: pd.Series[pd.Timestamp], visit: pd.Series[pd.Timestamp]
) -> pd.Series[float]:
    """Years from the middle of a span of days, cut at the visit, to the visit; negative = the span begins later."""
    until = last.where(last <= visit, visit.where(visit >= first, last))
    middle = first + (until - first) / 2
    return (visit - middle).dt.days / DAYS_A_YEAR


def _dates_bought(
    values: Sequence[str], read: Sequence[tuple[str, float, str]], counts: NDArray[np.int64]
) -> tuple[tuple[list[np.datetime64], list[np.datetime64]], list[str | None]]:
    """First and last possible day of purchase of each distinct value, and the problems of all."""
    never: np.datetime64 = np.datetime64("NaT", "s")
    first, last = [never] * len(values), [never] * len(values)
    problems: list[str | None] = [None] * len(values)
    open_at = [position for position, (kind, _, _) in enumerate(read) if kind == "date"]
    days, date_problems, _ = dates.read_values(
        [read[position][2] for position in open_at], [int(counts[position]) for position in open_at], None
    )
    for position, day, problem in zip(open_at, days, date_problems, strict=True):
        first[position] = last[position] = day
        problems[position] = "is not an age" if problem == "is not a date" else problem
    for position, (kind, number, _) in enumerate(read):
        if kind == "year":
            year = int(number)
            first[position], last[position] = np.datetime64(f"{year}-01-01", "s"), np.datetime64(f"{year}-12-31", "s")
        elif kind == "month":
            month = np.datetime64(int(number), "M")
            first[position] = month.astype("datetime64[s]")
            last[position] = (month + 1).astype("datetime64[s]") - np.timedelta64(1, "D")
        elif kind == "not":
            problems[position] = "is not an age"
    return (first, last), problems


def _number(text: str) -> float:
    return _WORDS[text] if text in _WORDS else float(text.replace(",", "."))


def _part(text: str | None) -> float:
    return {"1/2": 0.5, "half": 0.5, "1/4": 0.25, "3/4": 0.75}.get(text or "", 0.0)


def _read_one(value: str) -> tuple[str, float, str]:
    """Give (kind, number, text): kind is age, year, month (number as months since 1970), date, blank or not."""
    text = value.casefold().strip('" .') if len(value) <= LONGEST_VALUE else "too long"
    if text in _UNKNOWN:
        return "blank", np.nan, ""
    if _NEW.fullmatch(text):
        return "age", 0.0, ""
    is_under = _UNDER.match(text) is not None
    loose = _TAIL.sub("", _LOOSE.sub("", text)).strip()
    if loose in _UNKNOWN:
        return "blank", np.nan, ""
    made = _read_made(loose)
    if made is not None:
        return made
    if _SPREADSHEET_DAY.fullmatch(loose):
        return "date", np.nan, loose
    years = _read_span(loose)
    if years is None:
        without = _MADE.sub("", loose)
        return _read_made(without) or ("date", np.nan, without)
    if is_under and years <= 1:
        years /= 2
    return "age", years, ""


def _read_made(text: str) -> tuple[str, float, str] | None:
    """Read a year, or a month of a year, made or bought."""
    found = _YEAR_ONLY.fullmatch(text)
    if found:
        year = int(found[1]) if found[1] else int(found[2]) + (1900 if int(found[2]) >= 69 else 2000)
        return "year", float(year), ""
    found = _MONTH_YEAR.fullmatch(text)
    if found:
        return _month(int(found[2] or found[3]), int(found[1] or found[4]))
    found = _NAME_YEAR.fullmatch(text)
    if found and found[1] in dates.MONTHS:
        year = int(found[2]) if len(found[2]) == 4 else int(found[2]) + (1900 if int(found[2]) >= 69 else 2000)
        return _month(year, dates.MONTHS[found[1]])
    return None


def _month(year: int, month: int) -> tuple[str, float, str]:
    return ("month", float((year - 1970) * 12 + month - 1), "") if 1 <= month <= 12 else ("not", np.nan, "")


def _read_span(text: str) -> float | None:
    """Read a length of time in years; None = it is none."""
    if text in ("half a year", "half year", "halbes jahr", "ein halbes jahr", "1/2 year", "1/2 yr"):
        return 0.5
    found = _SPAN.fullmatch(text)
    if found:
        number = _number(found["number"]) + _part(found["half"]) + _part(found["half2"])
        unit = next((unit for unit in _UNITS if found[unit]), "year")
        return number * _UNITS[unit] if found["number"] not in ("a", "an") or any(found[u] for u in _UNITS) else None
    found = _TWO_UNITS.fullmatch(text)
    if found:
        return _number(found["years"]) + _number(found["months"]) / 12
    found = _RANGE.fullmatch(text)
    if found:
        low, high = _number(found["low"]), _number(found["high"])
        unit = next((unit for unit in _UNITS if found[unit]), "year")
        return (low + high) / 2 * _UNITS[unit] if low <= high <= OLDEST else None
    return None
