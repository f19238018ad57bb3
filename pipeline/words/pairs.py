"""A finding and its value as people write them side by side: "water left=no", "water left: no", "water left - no"."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.words.vocabulary import plain

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_BETWEEN = re.compile(r"\s*:\s*|\s+[-\N{EN DASH}\N{EM DASH}]+\s+|\s+(?:is|was|are|were|ist|war)\s+")
_NO = frozenset({"no", "none", "nil", "n", "not", "nope", "nein", "keine", "keins", "kein"})
_YES = frozenset({"yes", "y", "ja", "yep"})


def split_pair(piece: str, values: Mapping[str, Sequence[str]]) -> tuple[str, str, bool] | None:
    """Split one piece of a note into finding and value.

    Parameters
    ----------
    piece
        Text without list separators.
    values
        Values of each known finding.

    Returns
    -------
    tuple, optional
        What is left and right of the sign, and whether the sign makes it a pair whatever it names ("=" does; ":", a
        dash and "is" do only where what is left is read as a finding). None = no sign, and no known name with a value.
    """
    left, is_pair, right = piece.partition("=")
    if is_pair:
        return left, right, True
    sign = _BETWEEN.search(piece)
    if sign is not None and piece[: sign.start()].strip() and piece[sign.end() :].strip():
        return piece[: sign.start()], piece[sign.end() :], False
    text = plain(piece).strip()
    for name in sorted((name for name in values if text.startswith(f"{name} ")), key=len, reverse=True):
        said = text[len(name) :].strip()
        if yes_or_no(said) is not None or said in values[name]:
            return name, said, False
    return None


def yes_or_no(said: str) -> str | None:
    """Give "yes" or "no" for a value that says just that; None = it says more.

    Examples
    --------
    >>> yes_or_no("none"), yes_or_no("ja"), yes_or_no("slow")
    ('no', 'yes', None)
    """
    word = plain(said).strip(" .,;!")
    return "no" if word in _NO else "yes" if word in _YES else None
