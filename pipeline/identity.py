"""Which unit, make and model a record speaks of, and which visit it is."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from pipeline.values.distinct import LONGEST_VALUE, NOT_KNOWN, distinct

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    import pandas as pd

_SAYS_NO_SERIAL = """
    no serial|noserial|no number|no plate|not readable|unreadable|illegible|worn|worn off|rubbed off|missing|
    not visible|not found|not available|not applicable|see photo|as before|same|see above|ditto|test|various|pending|
    later|to follow|serial|serial no|serial number|s/n|sn|sno|nicht lesbar|unlesbar|fehlt
"""
_NO_SERIAL = NOT_KNOWN | {text.strip() for text in _SAYS_NO_SERIAL.split("|")}
_RISING = "01234567890123456789"
_FALLING = _RISING[::-1]
_LIKE_DIGITS = str.maketrans("OI", "01")
_SEPARATORS = re.compile(r"[^0-9A-Z]+")
_LABEL = re.compile(r"^(?:SERIAL(?: ?(?:NO|NUMBER|NR))?|S/N|SN(?=[ :.])|SER(?: ?NO)?)[ :.#]+")
_FAMILY = re.compile(r"[0-9]*[ .-]?[A-Z]+[ .-]?[0-9]+")
_O_AT_DIGIT = re.compile(r"(?<=[0-9])O|O(?=[0-9])")
_I_AT_DIGIT = re.compile(r"(?<=[0-9])I|I(?=[0-9])")


def serial(written: pd.Series[str]) -> pd.Series[str]:
    """Normalise serial numbers so that two spellings of one are equal.

    Parameters
    ----------
    written
        Serials as written.

    Returns
    -------
    Series of str
        Capitals and digits only, O as 0 and I as 1; missing where the text is a placeholder ("n/a", "0000", "unknown",
        "123456", one character repeated) and so names no unit.

    Examples
    --------
    >>> import pandas as pd
    >>> serial(pd.Series(["br-10O45 i", "BR 100 451", "n/a"])).tolist()
    ['BR100451', 'BR100451', nan]
    """
    column = distinct(written)
    return column.texts([_serial(value) for value in column.values]).rename("serial")


def _serial(value: str) -> str | None:
    folded = value.casefold().strip(" .:-*_/")
    if folded in _NO_SERIAL or len(value) > LONGEST_VALUE:
        return None
    text = _SEPARATORS.sub("", _LABEL.sub("", value.upper())).translate(_LIKE_DIGITS)
    if not text or (" " in folded and not any(letter.isdigit() for letter in folded)):
        return None
    if (len(text) > 1 and len(set(text)) == 1) or text in ("0", "X"):
        return None
    if len(text) >= 4 and (text in _RISING or text in _FALLING):
        return None
    return text


def make(written: pd.Series[str], known: Collection[str] = ()) -> pd.Series[str]:
    """Give each make one spelling.

    Parameters
    ----------
    written
        Makes as written; spellings that differ by case, spaces, dots or dashes are one make.
    known
        Spellings already in use, which win; otherwise the most frequent spelling does.

    Returns
    -------
    Series of str
        One spelling a make; missing where the make is not known.

    Examples
    --------
    >>> import pandas as pd
    >>> make(pd.Series(["Ostrel", "OSTREL ", "ostrel", "n/a"])).tolist()
    ['Ostrel', 'Ostrel', 'Ostrel', nan]
    """
    return _one_spelling(written, known, _make_key, _make_spelling).rename("make")


def model(written: pd.Series[str], known: Collection[str] = ()) -> pd.Series[str]:
    """Give each model one spelling: capitals, O beside a digit as 0 and I beside a digit as 1.

    Parameters
    ----------
    written
        Models as written; spellings that differ by case, spaces, dots or dashes are one model.
    known
        Spellings already in use, which win; otherwise the most frequent spelling does.

    Returns
    -------
    Series of str
        One spelling a model; missing where the model is not known.

    Examples
    --------
    >>> import pandas as pd
    >>> model(pd.Series(["WA 12O4", "WA1204", "wa1204"])).tolist()
    ['WA1204', 'WA1204', 'WA1204']
    """
    return _one_spelling(written, known, _model_key, _model_spelling).rename("model")


def model_family(model: pd.Series[str]) -> pd.Series[str]:
    """Leading letters and digits that the variants of a model share.

    Parameters
    ----------
    model
        Models as :func:`model` gives them.

    Returns
    -------
    Series of str
        "WA1204" for "WA1204 XS" and "WA1204/2"; the whole model where it holds no digit; missing where the model is.

    Examples
    --------
    >>> import pandas as pd
    >>> model_family(pd.Series(["WA1204XS", "WA-1204/2", "Compact"])).tolist()
    ['WA1204', 'WA1204', 'COMPACT']
    """
    column = distinct(model)
    return column.texts([_family(value) for value in column.values]).rename("model_family")


def _family(value: str) -> str | None:
    key = _model_key(value)
    if not key:
        return None
    found = _FAMILY.match(_model_spelling(value))
    return _model_key(found[0]) if found else key


def _make_key(value: str) -> str:
    return "".join(letter for letter in value.casefold() if letter.isalnum())


def _make_spelling(value: str) -> str:
    return " ".join(
        word.capitalize() if len(word) > 3 and (word.isupper() or word.islower()) else word for word in value.split()
    )


def _model_spelling(value: str) -> str:
    return _I_AT_DIGIT.sub("1", _O_AT_DIGIT.sub("0", value.upper()))


def _model_key(value: str) -> str:
    return "".join(letter for letter in _model_spelling(value) if letter.isalnum())


def _one_spelling(
    written: pd.Series[str], known: Collection[str], key: Callable[[str], str], spelling: Callable[[str], str]
) -> pd.Series[str]:
    column = distinct(written)
    chosen = {key(value): value for value in sorted(known, reverse=True)}
    weights: dict[str, dict[str, int]] = {}
    keys = ["" if value.casefold() in NOT_KNOWN else key(value) for value in column.values]
    for value, key_of_value, count in zip(column.values, keys, column.counts, strict=True):
        spelt = spelling(value)
        of_key = weights.setdefault(key_of_value, {})
        of_key[spelt] = of_key.get(spelt, 0) + int(count)
    for key_of_value, of_key in weights.items():
        chosen.setdefault(key_of_value, min(of_key, key=lambda spelt: (-of_key[spelt], spelt)))
    return column.texts([chosen[key_of_value] if key_of_value else None for key_of_value in keys])


def visit_key(frame: pd.DataFrame) -> pd.Series[str]:
    """Name each visit so that every version of it has the same name.

    Parameters
    ----------
    frame
        One row a visit. visit_date: datetime64, or text as written. Optional: job_no, serial, customer_ref (hashed),
        appliance_kind (or kind), make, model; text as written.

    Returns
    -------
    Series of str
        Job number and date; where one job holds several units on one day also the unit. Without a job number the unit
        and date: the serial, else customer, kind, make and model. Missing where none of these is known.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_date": ["2024-03-05"] * 2, "job_no": ["J 17", None], "serial": ["A1234", "A1234"]})
    >>> visit_key(rows).tolist()
    ['job:j17|2024-03-05', 'serial:A1234|2024-03-05']
    """
    import pandas as pd

    date = frame["visit_date"]
    if pd.api.types.is_datetime64_any_dtype(date):
        date = date.dt.strftime("%Y-%m-%d")
    day = _plain_key(date).fillna("no date")
    job = _plain_key(_column(frame, "job_no"))
    serials = serial(_column(frame, "serial"))
    kind = _plain_key(_column(frame, "appliance_kind" if "appliance_kind" in frame else "kind"))
    customer = _plain_key(_column(frame, "customer_ref"))
    make_ = _plain_key(_column(frame, "make"))
    machine = kind.fillna("") + "/" + make_.fillna("") + "/" + _plain_key(_column(frame, "model")).fillna("")
    unit = ("serial:" + serials).fillna("unit:" + customer + "/" + machine)
    by_job = "job:" + job + "|" + day
    has_several_units = pd.Series(False, index=frame.index)
    for told_apart_by in (serials, kind, make_):
        has_several_units |= told_apart_by.groupby(by_job).transform("nunique").gt(1)
    in_job = ("serial:" + serials).fillna("unit:" + machine)
    by_job = by_job.mask(has_several_units, by_job + "|" + in_job)
    return by_job.fillna(unit + "|" + day).rename("visit_key")


def _column(frame: pd.DataFrame, name: str) -> pd.Series[str]:
    import pandas as pd

    if name in frame:
        return frame[name]
    return pd.Series(np.nan, index=frame.index, dtype="str")


def _plain_key(written: pd.Series[str]) -> pd.Series[str]:
    """Small letters without spaces and separators of the key; missing where nothing is known."""
    column = distinct(written)
    return column.texts(
        [
            None if value.casefold() in NOT_KNOWN else re.sub(r"[\s|]+", "", value.casefold()) or None
            for value in column.values
        ]
    )
