"""Which day a written date means; the order of day and month is decided over the whole column, never guessed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from pipeline.errors import LayoutError, shown
from pipeline.values.distinct import LONGEST_VALUE, NOT_KNOWN, distinct

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

FIRST_YEAR, LAST_YEAR = 1950, 2099
SPREADSHEET_DAY_0 = date(1899, 12, 30)  # so that 60 and later agree with the common spreadsheets' 1900 system
STRAY_SHARE = 0.01  # a contrary share this small is typing mistakes, not a second order
REMEDY = (
    'Say which in the layout file: date_format = "%d/%m/%Y" for day first, "%m/%d/%Y" for month first, '
    '"%Y-%m-%d" for year first; then load again.'
)

_ORDER_NAMES = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
ORDERS = {
    "dmy": "dmy", "day first": "dmy", "mdy": "mdy", "month first": "mdy",
    "ymd": "ymd", "year first": "ymd", "iso": "ymd",
}  # fmt: skip

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january jan januar jän jänner janvier",
            "february feb febr februar",
            "march mar mär mrz märz maerz maart mrt",
            "april apr",
            "may mai mei",
            "june jun juni",
            "july jul juli",
            "august aug",
            "september sep sept",
            "october oct oktober okt",
            "november nov",
            "december dec dezember dez",
        ),
        start=1,
    )
    for name in names.split()
}
_WEEKDAYS = (
    "monday mon tuesday tue tues wednesday wed thursday thu thur thurs friday fri saturday sat sunday sun "
    "montag mo dienstag di mittwoch mi donnerstag do freitag fr samstag sa sonnabend sonntag so"
)
_WEEKDAY = re.compile(rf"^(?:{'|'.join(sorted(_WEEKDAYS.split(), key=len, reverse=True))})\b[.,]*\s*", re.IGNORECASE)
_TIME = re.compile(
    r"(?:T|[ ,]+(?:at )?)[0-9]{1,2}(?:[:.][0-9]{2}){1,2}(?:[.,][0-9]{1,9})?"
    r"\s*(?:[ap]\.?m\.?)?\s*(?:Z|UTC|GMT|Uhr|[+-][0-9]{2}:?[0-9]{2})?$",
    re.IGNORECASE,
)
_ISO = re.compile(r"([0-9]{4})([-/. ])([0-9]{1,2})\2([0-9]{1,2})")
_ISO_WEEK = re.compile(r"[0-9]{4}-?W[0-9]{2}-?[1-7]")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_NUMBERS = re.compile(r"([0-9]{1,2})\s?([-/. ])\s?([0-9]{1,2})\s?\2\s?([0-9]{4}|[0-9]{2})")
_SERIAL = re.compile(r"([0-9]{5})(?:[.,][0-9]{1,20})?")
_LETTERS = r"([^\W\d_]{3,9})"
_DAY_NAME_YEAR = re.compile(rf"([0-9]{{1,2}})(?:st|nd|rd|th)?[-/. ]*(?:of )?{_LETTERS}[-/., ']*([0-9]{{4}}|[0-9]{{2}})")
_NAME_DAY_YEAR = re.compile(rf"{_LETTERS}[-/. ]*([0-9]{{1,2}})(?:st|nd|rd|th)?[-/., ']+([0-9]{{4}}|[0-9]{{2}})")
_YEAR_NAME_DAY = re.compile(rf"([0-9]{{4}})[-/., ]*{_LETTERS}[-/. ]*([0-9]{{1,2}})(?:st|nd|rd|th)?")
_ONLY_ORDER = re.compile(r"%([dmyY])([-/. ])%([dmyY])\2%([dmyY])")


@dataclass(frozen=True)
class _Numbers:
    """Three numbers whose order is not stated."""

    first: int
    second: int
    third: int
    is_long_year: bool  # the third has four digits
    has_dashes: bool  # as ISO dates have, whose year stands first

    def day(self, order: str) -> date | None:
        if order == "ymd":
            return None if self.is_long_year else _day(_year(self.first), self.second, self.third)
        year = self.third if self.is_long_year else _year(self.third)
        return _day(year, self.second, self.first) if order == "dmy" else _day(year, self.first, self.second)


def parse(written: pd.Series[str], order: str | None = None) -> pd.DataFrame:
    """Read a column of dates.

    Parameters
    ----------
    written
        Dates as written: ISO (also compact, with a time, or a week date), day first, month first, month names in
        English and German, spreadsheet day numbers.
    order
        "dmy", "mdy", "ymd" (also "day first", "month first", "year first"), a format such as "%d/%m/%y", or None to
        decide over the whole column.

    Returns
    -------
    DataFrame
        Same rows and index. value: datetime64[s] at midnight, NaT = blank or refused. problem: why it was refused,
        missing = read or blank. remedy: what to do about it.

    Raises
    ------
    LayoutError
        The order is not one of the above.

    Notes
    -----
    A date whose day is above 12 shows the order of its column. Where both orders are shown (beyond 1% strays) or
    none, a date that can be read in two ways is refused. Two-digit years: 69 to 99 are 19xx, others 20xx (POSIX).

    Examples
    --------
    >>> import pandas as pd
    >>> parse(pd.Series(["03/04/2025", "25/04/2025"])).value.dt.strftime("%d %b").tolist()
    ['03 Apr', '25 Apr']
    >>> parse(pd.Series(["03/04/2025"])).problem[0]
    'may be 3 April 2025 or 4 March 2025'
    """
    import pandas as pd

    column = distinct(written)
    days, problems, remedies = read_values(column.values, column.counts, order)
    return pd.DataFrame(
        {"value": column.days(days), "problem": column.texts(problems), "remedy": column.texts(remedies)}
    )


def decide_order(written: pd.Series[str]) -> str | None:
    """Say which order a column shows: "dmy", "mdy", "ymd", or None where it shows none or several."""
    column = distinct(written)
    read = [_read_one(value) for value in column.values]
    return _shown_order(read, column.counts)


def read_values(
    values: Sequence[str], counts: Sequence[int] | NDArray[np.int64], order: str | None
) -> tuple[list[np.datetime64], list[str | None], list[str | None]]:
    """Read distinct, cleaned dates that stand in ``counts`` rows each; see :func:`parse`."""
    layout_format, order = _stated(order)
    read = [_read_one(value, layout_format) for value in values]
    known = order or _shown_order(read, counts)
    year_may_lead = _year_may_lead([found for found in read if isinstance(found, _Numbers) and not found.is_long_year])
    days: list[np.datetime64] = []
    problems: list[str | None] = []
    remedies: list[str | None] = []
    for found in read:
        if isinstance(found, _Numbers):
            found = _ordered(found, known, year_may_lead)
        is_day = isinstance(found, date)
        days.append(np.datetime64(found if is_day else "NaT", "s"))
        problem = found if isinstance(found, str) else None
        problems.append(problem)
        if problem is None:
            remedies.append(None)
        else:
            remedies.append(
                REMEDY if problem.startswith("may be") else "Correct the date, or name its format in the layout."
            )
    return days, problems, remedies


def _stated(order: str | None) -> tuple[str | None, str | None]:
    """Give (format, order) for what a layout states."""
    if order is None:
        return None, None
    text = order.strip()
    if text.casefold() in ORDERS:
        return None, ORDERS[text.casefold()]
    numbers_only = _ONLY_ORDER.fullmatch(text)
    if numbers_only:
        letters = "".join(numbers_only.group(1, 3, 4)).casefold()
        if letters in ORDERS:
            return None, letters
    try:
        if datetime.strptime(date(2021, 3, 4).strftime(text), text).date() == date(2021, 3, 4):
            return text, None
    except (ValueError, re.error):
        pass
    raise LayoutError(
        f"{shown(order)} does not say how a date is written.",
        'Use "day first", "month first", "year first", or a format with day, month and year such as "%d/%m/%Y".',
    )


def _year(two_digits: int) -> int:
    return two_digits + (1900 if two_digits >= 69 else 2000)


def _day(year: int, month: int, day: int) -> date | None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _read_one(text: str, layout_format: str | None = None) -> date | _Numbers | str | None:
    """Give the day, the numbers whose order is open, the problem, or None for a blank."""
    if text.casefold() in NOT_KNOWN:
        return None
    if len(text) > LONGEST_VALUE:
        return "is not a date"
    if layout_format is not None:
        try:
            return datetime.strptime(text, layout_format).date()
        except ValueError:
            pass
    text = _TIME.sub("", text.strip("\"'")).strip()
    found = _ISO.fullmatch(text) or _COMPACT.fullmatch(text)
    if found:
        year, month, day = int(found[1]), int(found[found.re.groups - 1]), int(found[found.re.groups])
        return _day(year, month, day) or "is not a date in the calendar"
    numbers = _NUMBERS.fullmatch(text)
    if numbers:
        return _Numbers(int(numbers[1]), int(numbers[3]), int(numbers[4]), len(numbers[4]) == 4, numbers[2] == "-")
    serial = _SERIAL.fullmatch(text)
    if serial:
        day_found = SPREADSHEET_DAY_0 + timedelta(days=int(serial[1]))
        return day_found if FIRST_YEAR <= day_found.year <= LAST_YEAR else "is not a plausible spreadsheet day number"
    if _ISO_WEEK.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            return "is not a date in the calendar"
    return _read_named(_WEEKDAY.sub("", text))


def _read_named(text: str) -> date | _Numbers | str:
    """Read a date with a month name, or a numeric one that stood behind a weekday."""
    numbers = _NUMBERS.fullmatch(text)
    if numbers:
        return _Numbers(int(numbers[1]), int(numbers[3]), int(numbers[4]), len(numbers[4]) == 4, numbers[2] == "-")
    for pattern, (day_at, month_at, year_at) in (
        (_DAY_NAME_YEAR, (1, 2, 3)),
        (_NAME_DAY_YEAR, (2, 1, 3)),
        (_YEAR_NAME_DAY, (3, 2, 1)),
    ):
        found = pattern.fullmatch(text)
        month = MONTHS.get(found[month_at].casefold()) if found else None
        if found and month:
            year = int(found[year_at]) if len(found[year_at]) == 4 else _year(int(found[year_at]))
            return _day(year, month, int(found[day_at])) or "is not a date in the calendar"
    return "is not a date"


def _shown_order(read: Sequence[date | _Numbers | str | None], counts: Sequence[int] | NDArray[np.int64]) -> str | None:
    """Weigh what the dates that can be read in one way only say about the others; None = nothing or both."""
    weights = dict.fromkeys(("dmy", "mdy", "ymd"), 0)
    short = [found for found in read if isinstance(found, _Numbers) and not found.is_long_year]
    year_may_lead = _year_may_lead(short)
    for found, count in zip(read, counts, strict=True):
        if isinstance(found, _Numbers):
            possible = [order for order in weights if found.day(order) is not None]
            if len(possible) > 1 and not year_may_lead:
                possible = [order for order in possible if order != "ymd"]
            if len(possible) == 1:
                weights[possible[0]] += int(count)
    total = sum(weights.values())
    leading = max(weights, key=lambda order: weights[order])
    if not total or total - weights[leading] > STRAY_SHARE * total:
        return None
    return leading


def _year_may_lead(short: Sequence[_Numbers]) -> bool:
    """Say whether two-digit years may stand first: the last number varies as days do, the first as years do."""
    firsts, thirds = {found.first for found in short}, {found.third for found in short}
    may_tie = any(found.has_dashes for found in short)
    return all(found.day("ymd") for found in short) and len(thirds) + may_tie > len(firsts)


def _ordered(found: _Numbers, order: str | None, year_may_lead: bool) -> date | str:
    """Give the day the numbers mean in the order of their column, or why it cannot be told."""
    if order is not None:
        orders = ["dmy", "mdy"] if found.is_long_year and order == "ymd" else [order]
    else:
        orders = ["dmy", "mdy", "ymd"] if year_may_lead else ["dmy", "mdy"]
    days = list(dict.fromkeys(day for one in orders if (day := found.day(one)) is not None))
    if not days and order is None:
        days = [day for day in [found.day("ymd")] if day is not None]
    if len(days) == 1:
        return days[0]
    if days:
        return "may be " + " or ".join(f"{day.day} {day:%B %Y}" for day in days)
    return "is not a date in the calendar" + (f" when written {_ORDER_NAMES[order]}" if order else "")
