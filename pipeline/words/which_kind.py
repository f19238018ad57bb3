"""Whether a complaint denies the appliance of its call.

"It's the washing machine, not the dryer": then somebody must ask which, before anything is planned.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.words import Words

_ARTICLE = r"(?:(?:the|my|a|an|our|der|die|das|ein|eine|den)\s+)?"
_NAME = r"(?P<name>[^\W\d_][\w-]*(?:\s+[^\W\d_][\w-]*)?)"
_DENIED = re.compile(rf"\b(?:not|isn'?t|wasn'?t|nicht)\s+{_ARTICLE}{_NAME}", re.IGNORECASE)
_MEANT = re.compile(rf"\b(?:it'?s|is|was|meant?|sondern|ist|war)\s+{_ARTICLE}{_NAME}", re.IGNORECASE)


def other_kind(words: Words, complaint: str, kind: str) -> str:
    """Give the kind that a complaint names in place of the call's, which it denies; "" = it denies none.

    Parameters
    ----------
    words
        Lists in force.
    complaint
        As told.
    kind
        The kind of the call as a term.
    """
    if kind not in _kinds(words, _DENIED, complaint):
        return ""
    return next((other for other in _kinds(words, _MEANT, complaint) if other != kind), "")


def _kinds(words: Words, pattern: re.Pattern[str], text: str) -> list[str]:
    """Kinds that a text names where a pattern meets it."""
    import pandas as pd

    named = [name for met in pattern.finditer(text) for name in _names(met["name"])]
    if not named:
        return []
    found = words.match("kind", pd.Series(named, dtype="str"))
    return [str(term) for term, is_known in zip(found["term"], found["is_understood"], strict=True) if is_known]


def _names(written: str) -> Iterator[str]:
    """Two words, then the first of them: "dryer please" names a dryer."""
    yield written
    if " " in written:
        yield written.split()[0]
