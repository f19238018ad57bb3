"""How much money a written amount means; the decimal mark is decided over the whole column."""

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

STRAY_SHARE = 0.01  # a contrary share this small is typing mistakes, not a second way of writing
LARGEST = 1e12

NOTHING = frozenset(
    ("nil", "zero", "free", "free of charge", "no charge", "n/c", "nc", "foc", "f.o.c.", "gratis", "kostenlos", "keine")
)
# A symbol that several currencies share is kept as the symbol.
_SYMBOLS = {"£": "GBP", "€": "EUR", "₹": "INR", "₺": "TRY", "₴": "UAH", "₪": "ILS", "zł": "PLN", "kč": "CZK"}
_CODES = re.compile(  # ISO 4217, those a workshop is likely to meet
    "AED|ARS|AUD|BGN|BRL|CAD|CHF|CLP|CNY|COP|CZK|DKK|EGP|EUR|GBP|HKD|HUF|IDR|ILS|INR|ISK|JPY|KES|KRW|MAD|MXN|MYR|NGN|"
    "NOK|NZD|PEN|PHP|PKR|PLN|RON|RSD|SAR|SEK|SGD|THB|TRY|TWD|UAH|USD|VND|ZAR"
)
_AMOUNT = re.compile(
    r"(?P<before>[^0-9.,'()+-]{0,12})(?P<sign>[-+(]?)(?P<before2>[^0-9.,'()+-]{0,12})"
    r"(?P<number>[.,]?[0-9][0-9.,' ]*)"
    r"(?P<after>[^0-9.,'()+-]{0,12})(?P<close>[-)]?)(?P<after2>[^0-9.,'()+-]{0,12})"
)
_NO_DIGITS = re.compile(
    r"[ ,]*[(]?(?:\b(?:incl?|excl?|ex|plus|inkl|zzgl)\b\.?|\+) ?(?:vat|tax|gst|mwst|ust|btw)\b\.?[)]?$"
    r"|/-$|(?<=[0-9])[.,]-{1,2}(?![0-9])",
    re.IGNORECASE,
)
_SCIENTIFIC = re.compile(r"[-+]?[0-9]{1,17}(?:\.[0-9]{0,25})?e[-+]?[0-9]{1,3}", re.IGNORECASE)


def parse(written: pd.Series[str], decimal_mark: str | None = None) -> pd.DataFrame:
    """Read a column of money, or of plain numbers.

    Parameters
    ----------
    written
        Amounts as written: "£1,234.50", "1.234,50 €", "CHF 1'234.50", "34", "(12.00)", "34,-", "no charge".
    decimal_mark
        "." or ",", or None to decide over the whole column.

    Returns
    -------
    DataFrame
        Same rows and index. value: amount, NaN = blank, not known or refused; "no charge" is 0. currency: three-letter
        code where the sign has one meaning, else the sign as written; missing = none written. problem: why the amount
        was refused, missing = read or blank.

    Raises
    ------
    LayoutError
        The decimal mark is neither "." nor ",".

    Notes
    -----
    "1.234" may be 1234 or 1.234. It is read by what the column's other amounts show ("34.50", "1.234,50"), and
    refused where they show nothing or both.

    Examples
    --------
    >>> import pandas as pd
    >>> parse(pd.Series(["1.234", "2.345,50"])).value.tolist()
    [1234.0, 2345.5]
    >>> parse(pd.Series(["£1,234.50"])).currency[0]
    'GBP'
    """
    import pandas as pd

    column = distinct(written)
    amounts, currencies, problems = read_values(column.values, column.counts, decimal_mark)
    return pd.DataFrame(
        {"value": column.numbers(amounts), "currency": column.texts(currencies), "problem": column.texts(problems)}
    )


def decide_mark(written: pd.Series[str]) -> str | None:
    """Say which decimal mark a column shows: ".", ",", or None where it shows none or both."""
    column = distinct(written)
    return _shown_mark([_split(value) for value in column.values], column.counts)


def read_values(
    values: Sequence[str], counts: Sequence[int] | NDArray[np.int64], decimal_mark: str | None = None
) -> tuple[list[float], list[str | None], list[str | None]]:
    """Read distinct, cleaned amounts that stand in ``counts`` rows each; see :func:`parse`."""
    if decimal_mark not in (None, ".", ","):
        raise LayoutError(f"{shown(decimal_mark)} is not a decimal mark.", 'Use decimal_mark = "." or ",".')
    split = [_split(value) for value in values]
    mark = decimal_mark or _shown_mark(split, counts)
    amounts: list[float] = []
    currencies: list[str | None] = []
    problems: list[str | None] = []
    for value, (number, currency, sign) in zip(values, split, strict=True):
        amount, problem = _amount(number, mark) if number else _without_number(value)
        if abs(amount) > LARGEST:
            amount, problem = float("nan"), "is larger than any bill"
        amounts.append(amount * sign if amount else amount)
        currencies.append(currency)
        problems.append(problem)
    return amounts, currencies, problems


def _without_number(value: str) -> tuple[float, str | None]:
    folded = value.casefold()
    if folded in NOT_KNOWN:
        return float("nan"), None
    if folded in NOTHING:
        return 0.0, None
    return float("nan"), "is not an amount"


def _split(value: str) -> tuple[str, str | None, int]:
    """Give (digits with their marks, currency, sign); no digits = not an amount in figures."""
    nothing = ("", None, 1)
    if len(value) > LONGEST_VALUE or value.casefold() in NOT_KNOWN:
        return nothing
    if _SCIENTIFIC.fullmatch(value):
        return (value.lstrip("+-"), None, -1 if value.startswith("-") else 1)
    found = _AMOUNT.fullmatch(_NO_DIGITS.sub("", value.strip("\"'")))
    if found is None:
        return nothing
    words = "".join(found[name] for name in ("before", "before2", "after", "after2")).strip()
    opened, closed = found["sign"], found["close"]
    if (opened == "(") != (closed == ")") or (opened in "+-" and opened and closed):
        return nothing
    credit = words.casefold() == "cr" or words.casefold().endswith(" cr")
    currency, is_currency = _currency(words[:-2].strip() if credit else words)
    if not is_currency:
        return nothing
    return found["number"].strip(), currency, -1 if opened in ("-", "(") or closed == "-" or credit else 1


def _currency(words: str) -> tuple[str | None, bool]:
    """Give (currency, whether the words are one)."""
    if not words:
        return None, True
    folded = words.casefold().rstrip(".")
    named = {"pounds": "GBP", "pound": "GBP", "quid": "GBP", "euro": "EUR", "euros": "EUR", "stg": "GBP", "fr": "CHF"}
    if folded in _SYMBOLS or folded in named:
        return _SYMBOLS.get(folded) or named[folded], True
    if _CODES.fullmatch(folded.upper()):
        return folded.upper(), True
    if words in ("$", "¥", "kr", "kr.", "Kr", "US$", "A$", "C$", "NZ$", "R", "Rs", "Rs.", "Ft", "lei"):
        return {"US$": "USD", "A$": "AUD", "C$": "CAD", "NZ$": "NZD"}.get(words, words.rstrip(".")), True
    code, _, sign = folded.partition(" ")
    if sign in _SYMBOLS and _SYMBOLS[sign] == code.upper():
        return code.upper(), True
    return None, False


def _readings(number: str) -> dict[str, float]:
    """Give the amount under each decimal mark that the digits allow."""
    readings: dict[str, float] = {}
    for mark, grouping in ((".", ","), (",", ".")):
        whole, _, decimals = number.partition(mark)
        if decimals and not decimals.isdecimal():
            continue
        signs = {sign for sign in (grouping, "'", " ") if sign in whole}
        if len(signs) > 1:
            continue
        sign = next(iter(signs), "")
        groups = whole.split(sign) if sign else [whole]
        if sign and not (0 < len(groups[0]) <= 3 and all(len(group) in (2, 3) for group in groups[1:-1])):
            continue
        if sign and (len(groups[-1]) != 3 or groups[0].startswith("0")):
            continue
        digits = "".join(groups)
        if (digits or decimals) and (not digits or digits.isdecimal()) and len(digits) < 25:
            readings[mark] = float(f"{digits or '0'}.{decimals or '0'}")
    return readings


def _shown_mark(split: Sequence[tuple[str, str | None, int]], counts: Sequence[int] | NDArray[np.int64]) -> str | None:
    """Weigh the amounts that can be read under one decimal mark only."""
    weights = {".": 0, ",": 0}
    for (number, _, _), count in zip(split, counts, strict=True):
        if ("." in number or "," in number) and "e" not in number.casefold():
            readings = _readings(number)
            if len(readings) == 1:
                weights[next(iter(readings))] += int(count)
    total = sum(weights.values())
    leading = max(weights, key=lambda mark: weights[mark])
    if not total or total - weights[leading] > STRAY_SHARE * total:
        return None
    return leading


def _amount(number: str, mark: str | None) -> tuple[float, str | None]:
    if "e" in number.casefold():
        return float(number), None
    readings = _readings(number)
    if mark is not None:
        if mark in readings:
            return readings[mark], None
        return float("nan"), f"is not an amount in a column whose decimal mark is {mark!r}"
    amounts = set(readings.values())
    if len(amounts) == 1:
        return amounts.pop(), None
    if amounts:
        low, high = min(amounts), max(amounts)
        return float("nan"), f'may be {low:g} or {high:.0f}: say decimal_mark = "." or "," in the layout file'
    return float("nan"), "is not an amount"
