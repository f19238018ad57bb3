"""Which parts a written parts line names, how many of each, and at what price."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.values import money
from pipeline.values.distinct import NOT_KNOWN, distinct

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

LONGEST_LINE = 2_000  # characters of one cell that are looked at; what is beyond is kept as one part
SHOWN = 60  # characters of what is beyond that name it
CUSTOMERS_OWN = "customer's own part"

_NO_PART = re.compile(
    r"(?:no|nil|zero|without|w/o|0|keine?) ?(?:new |spare )?(?:parts?|spares?|teile?|ersatzteile?)?"
    r"(?: (?:were )?(?:used|fitted|required|needed|req'?d|nötig|benötigt|verbaut))?\.?"
    r"|parts?:? ?(?:none|nil|no|n/?a|0)|not? (?:needed|required|applicable)|nichts|none (?:used|fitted|required|needed)"
)
_BREAKS = re.compile(
    r"\s*(?:[;|\n\r]+|(?<![0-9]),|,(?![0-9])|(?:(?<=\s)|(?<=[a-z0-9)]))\+|\s&(?=\s)|\b(?:and|und)\b)\s*", re.IGNORECASE
)
_ORDER_NO = re.compile(
    r"(?:^|(?<= )|\()(?:p/?n|part ?no\.?|part number|pt ?no\.?|art\.? ?nr\.?|ref\.?)[:. ]*[\w./-]{3,30}\)?",
    re.IGNORECASE,
)
_CODE = re.compile(
    r"\(?\b(?=[A-Za-z0-9./-]*[0-9]{2})"
    r"(?:[A-Za-z]{1,6}[-./]?[0-9][A-Za-z0-9]*(?:[-./][A-Za-z0-9]+)*"
    r"|[0-9]{5,14}(?:[-./][A-Za-z0-9]+)*|[0-9]{2,}(?:[-./][A-Za-z0-9]{2,})+)\b\)?"
)
_PRICE = re.compile(
    r"\s*(?P<sign>@|\bà|\bat\b|=|:|(?=[£€$])|\s(?=[0-9]{1,5}[.,][0-9]{2}$))"
    r"\s*(?P<amount>[^0-9@=]{0,4}[0-9][0-9.,' ]*(?:[.,]-{1,2})?\s?(?:[£€$]|[A-Z]{3}\b)?)"
    r"\s*(?:each|ea\.?|per|pc|pcs|stk\.?|total|net|inc\.? vat|ex\.? vat|\+ ?vat)*\s*\)?$",
    re.IGNORECASE,
)
_LEADING = re.compile(
    r"(?:(?:qty|quantity|menge)[ :.]*([0-9]{1,4})\b[ x×*]*"
    r"|([0-9]{1,4}) ?[x×*](?=[ (]|[A-Za-z]{2})\s*"
    r"|([0-9]{1,3}) ?(?:off|no\.|nr\.|pcs?\.?|pieces?|pair|sets?|stk\.?|stück|ea\.?)(?: of)?\s+"
    r"|([0-9]{1,2})\s+(?=[A-Za-zÀ-ÿ]{3}))",
    re.IGNORECASE,
)
_TRAILING = re.compile(
    r"[ ,]*(?:(?:qty|quantity)[ :.]*([0-9]{1,4})|(?<![A-Za-z])[x×*] ?([0-9]{1,4})|\(([0-9]{1,3})\)"
    r"|\b([0-9]{1,3}) ?(?:off|pcs?\.?|stk\.?|stück))$",
    re.IGNORECASE,
)
_NO_COUNT = re.compile(
    r"(?:way|pin|phase|pole|core|speed|ring|row|inch|hole|amp|watt|volt|lit(?:er|re)|stage|wire)\b[ -]+[a-z]",
    re.IGNORECASE,
)
_OWN = re.compile(
    r"\(?\b(?:customer'?s?|cust'?s?\.?|client'?s?|owner'?s?|kunden?s?)[ -]*"
    r"(?:own|supplied|provided|eigenes?)?[ -]*(?:parts?|teile?|spares?)?\b\)?"
    r"|\(?\b(?:own|supplied by) (?:part|customer)\b\)?",
    re.IGNORECASE,
)
_VERBS = re.compile(
    r"^(?:fitted|replaced?|renewed|new|supplied|supply|fit|used|installed|changed)\b:? "
    r"(?:and fit(?:ted)? )?(?:a |an |the |new )*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class _Part:
    text: str
    quantity: float
    price: str  # as written; "" = none
    is_total: bool
    is_customers: bool
    as_written: str


def split(written: pd.Series[str], decimal_mark: str | None = None) -> pd.DataFrame:
    """Split a column of parts lines into parts.

    Parameters
    ----------
    written
        Lines as written: "1 x PMP-204 drain pump @ 34.50", "elem + seal", "drain pump x1 @ 34.50; door seal",
        "no parts", "customer's own part".
    decimal_mark
        Of the prices: "." or ",", or None to decide over the whole column.

    Returns
    -------
    DataFrame
        One row a part, in the order of the lines. row: position in the input. part_no: position in the line, from 1.
        part_text: the part's words without number, price and order number. quantity: 1 where none is written.
        unit_cost: price of one, NaN = not given; 0 for a customer's own part. as_written: the part as it stood.
        problem: why a price was refused, missing = read or none. currency: as `money.parse` gives it; missing = none.

    Notes
    -----
    A price after "@" is for one; after "=" for the whole quantity. A price with no sign before it is for one when the
    quantity is 1, and otherwise not given, as it may be either. Common practice, no source.

    Examples
    --------
    >>> import pandas as pd
    >>> parts = split(pd.Series(["2 x door seal @ 48.00; elem", "no parts"]))
    >>> parts[["row", "part_text", "quantity"]].values.tolist()
    [[0, 'door seal', 2.0], [0, 'elem', 1.0]]
    """
    import pandas as pd

    column = distinct(written)
    lines = [_parts(value) for value in _verbatim(written, column.codes)]
    parts = [part for line in lines for part in line]
    prices, currencies, problems = money.read_values(
        [part.price for part in parts],
        np.repeat(column.counts, [len(line) for line in lines]),
        decimal_mark,
    )
    row, part_no, at = _places(column.codes, [len(line) for line in lines])
    quantity = np.array([part.quantity for part in parts], dtype=np.float64)
    return pd.DataFrame(
        {
            "row": row,
            "part_no": part_no + 1,
            "part_text": _texts([part.text for part in parts]).take(at),
            "quantity": quantity[at],
            "unit_cost": _unit_costs(parts, quantity, prices)[at],
            "as_written": _texts([part.as_written for part in parts]).take(at),
            "problem": _texts(problems).take(at),
            "currency": _texts(currencies).take(at),
        }
    )


def _texts(values: Sequence[str | None]) -> pd.api.extensions.ExtensionArray:
    import pandas as pd

    return pd.array(np.array(values, dtype=object), dtype="str")


def _places(codes: NDArray[np.intp], parts: Sequence[int]) -> tuple[NDArray[np.int64], ...]:
    """Lay the parts of distinct lines out over all rows.

    Parameters
    ----------
    codes
        One a row: its distinct line, −1 = none.
    parts
        How many parts each distinct line has.

    Returns
    -------
    tuple
        One entry a part of a row: the row, the part's place in its line from 0, and its place among all distinct parts.
    """
    per_line = np.array([*parts, 0], dtype=np.int64)
    starts = np.concatenate([[0], np.cumsum(per_line)])[:-1]
    in_row = per_line[codes]
    row = np.repeat(np.arange(len(codes), dtype=np.int64), in_row)
    part_no = np.arange(len(row)) - np.repeat(np.cumsum(in_row) - in_row, in_row)
    return row, part_no, starts[codes[row]] + part_no


def _unit_costs(parts: Sequence[_Part], quantity: NDArray[np.float64], prices: Sequence[float]) -> NDArray[np.float64]:
    """Price of one of each part; nothing for a customer's own."""
    price = np.array(prices, dtype=np.float64)
    is_total = np.array([part.is_total for part in parts], dtype=bool)
    unit_cost = np.where(is_total & (quantity > 0), price / np.where(quantity > 0, quantity, 1), price)
    unit_cost[np.array([part.is_customers for part in parts], dtype=bool)] = 0.0
    return unit_cost


def _verbatim(written: pd.Series[str], codes: NDArray[np.intp]) -> list[str]:
    """Distinct values with their line breaks, in the order of their codes."""
    first = np.unique(codes, return_index=True)
    return [str(written.iloc[at]) for code, at in zip(*first, strict=True) if code >= 0]


def _parts(line: str) -> list[_Part]:
    """Split one line; a line that names no part gives none."""
    kept, rest = line[:LONGEST_LINE], line[LONGEST_LINE:]
    parts = [part for piece in _pieces(kept) if (part := _part(" ".join(piece.split()))) is not None]
    if rest.strip():
        parts.append(_Part(f"{rest.strip()[:SHOWN]}…", 1.0, "", False, False, rest))
    return parts


def _pieces(line: str) -> list[str]:
    """Cut a line at its separators, but not inside brackets."""
    pieces, start, end = [], 0, 0
    for found in _BREAKS.finditer(line):
        before = line[start : found.start()]
        if before.count("(") > before.count(")"):
            continue
        pieces.append(before)
        start = end = found.end()
    return [*pieces, line[end:]]


def _part(piece: str) -> _Part | None:
    text = piece.strip(" .-*•")
    folded = text.casefold()
    if not any(letter.isalnum() for letter in text) or folded in NOT_KNOWN or _NO_PART.fullmatch(folded):
        return None
    text, price, sign = _take_price(text)
    text, quantity = _take_quantity(_VERBS.sub("", text))
    is_customers = _OWN.search(text) is not None
    if is_customers:
        text = _OWN.sub(" ", text)
    text = _without_number(_VERBS.sub("", text))
    text = " ".join(text.split()).replace("( )", "").replace("()", "").strip(" .,:-*")
    if is_customers and not text:
        text = CUSTOMERS_OWN
    if price and not sign and quantity != 1:
        price = ""
    return _Part(text or piece, quantity, price, sign == "=", is_customers, piece)


def _take_price(text: str) -> tuple[str, str, str]:
    """Give (text without the price, price as written, sign before it)."""
    found = _PRICE.search(text[-60:])
    if found is None:
        return text, "", ""
    kept = text[: max(len(text) - 60, 0) + found.start()].rstrip(" (")
    sign = found["sign"]
    if not kept or (sign == ":" and not any(mark in found["amount"] for mark in "£€$.,")):
        return text, "", ""
    return kept, found["amount"].strip(), "=" if sign == "=" else "@" if sign.strip() and sign != ":" else ""


def _take_quantity(text: str) -> tuple[str, float]:
    """Give (text without the quantity, quantity)."""
    leading, trailing = _LEADING.match(text), _TRAILING.search(text[-60:])
    if leading and (kept := text[leading.end() :].strip()) and not (leading[4] and _NO_COUNT.match(kept)):
        return kept, _first_number(leading)
    if trailing and (kept := text[: max(len(text) - 60, 0) + trailing.start()].strip()):
        return kept, _first_number(trailing)
    return text, 1.0


def _first_number(found: re.Match[str]) -> float:
    return float(next(group for group in found.groups() if group is not None))


def _without_number(text: str) -> str:
    """Drop order numbers where words remain."""
    for pattern in (_ORDER_NO, _CODE):
        kept = pattern.sub(" ", text)
        if sum(letter.isalpha() for letter in kept) >= 3:
            text = kept
    return text
