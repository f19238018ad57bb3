"""Which unit, make and model a record speaks of, and which visit it is."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING

from pipeline.values.distinct import LONGEST_VALUE, NOT_KNOWN, arrow_text, distinct

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    import pandas as pd
    import pyarrow as pa

_SAYS_NO_SERIAL = (
    "no serial|noserial|no number|no plate|not readable|unreadable|illegible|worn|worn off|rubbed off|missing|"
    "not visible|not found|not available|not applicable|see photo|as before|same|see above|ditto|test|various|pending|"
    "later|to follow|serial|serial no|serial number|s/n|sn|sno|nicht lesbar|unlesbar|fehlt"
)
_NO_SERIAL = {text.strip(" .:-*_/").upper() for text in (*NOT_KNOWN, *_SAYS_NO_SERIAL.split("|"))}
_RUNS = [
    run[at : at + length]
    for run in ("01234567890123456789", "98765432109876543210")
    for length in range(4, 16)
    for at in range(20 - length + 1)
]
_ONE_CHARACTER = f"^(?:|0|X|{'|'.join(letter + '{2,}' for letter in '0123456789ABCDEFGHJKLMNPQRSTUVWXYZ')})$"
_LABEL = r"^(?:SERIAL(?: ?(?:NO|NUMBER|NR))?|S/N|SER(?: ?NO)?|SN[ :.])[ :.#]+"
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
    import pandas as pd
    import pyarrow as pa
    import pyarrow.compute as pc

    as_written = _plain_capitals(arrow_text(written))
    text = _replaced(_replaced(as_written, _LABEL, ""), "[^0-9A-Z]+", "")
    text = pc.replace_substring(pc.replace_substring(text, "O", "0"), "I", "1")
    words = pc.utf8_trim(as_written, " .:-*_/")
    is_placeholder = pc.is_in(words, pa.array(sorted(_NO_SERIAL), type=pa.large_string()))
    is_phrase = pc.and_(pc.match_substring(words, " "), pc.invert(pc.match_substring_regex(words, "[0-9]")))
    names_no_unit = pc.or_(
        pc.or_(is_placeholder, is_phrase),
        pc.or_(
            pc.is_in(text, pa.array(_RUNS, type=pa.large_string())),
            pc.or_(pc.match_substring_regex(text, _ONE_CHARACTER), pc.greater(pc.utf8_length(text), LONGEST_VALUE)),
        ),
    )
    return pd.Series(pc.if_else(names_no_unit, None, text), index=written.index, name="serial", dtype="str")


def _plain_capitals(text: pa.LargeStringArray) -> pa.LargeStringArray:
    import pyarrow.compute as pc

    if not pc.all(pc.string_is_ascii(text)).as_py():
        text = pc.utf8_normalize(text, form="NFKC")
    return pc.utf8_upper(text)


def _replaced(text: pa.LargeStringArray, pattern: str, by: str) -> pa.LargeStringArray:
    """Replace a pattern where any text holds it; looking is quicker than replacing."""
    import pyarrow.compute as pc

    if pc.any(pc.match_substring_regex(text, pattern)).as_py():
        return pc.replace_substring_regex(text, pattern, by)
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


@lru_cache(maxsize=1 << 16)
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
