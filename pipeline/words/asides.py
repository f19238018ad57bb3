"""What a complaint says beside the fault: what was once, what is not meant, what was replaced before.

"Used to leak, now won't start" does not complain of a leak, nor "not that it doesn't drain, it just won't spin" of the
draining, nor "bearings replaced last year, now not draining" of a noise. Such pieces are taken out before complaints
are looked for. The cues stand in each language's ``cues.toml`` under ``aside``.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import pyarrow as pa

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_END = r"(?=[,;.\n]|$"


@lru_cache(maxsize=8)
def _patterns(
    begins: str, ends: str, since: str, now: str, needs: str, works: str, nots: str
) -> tuple[tuple[re.Pattern[str], str], ...]:
    stop = rf"{_END}|\b(?:{now})\b)"
    made = []
    if begins:
        made.append((rf"\b(?:{begins})\b[^,;.\n]*?{stop}", " "))
    if ends:
        wants = rf"(?![^,;.\n]*\b(?:{needs})\b)" if needs else ""
        made.append((rf"\b(?:{since})\s+(?:[\w'-]+\s+){{1,4}}?(?:{ends})\b[^,;.\n]*?{stop}", " "))
        made.append((rf"(?:(?<=[,;.\n])|^)\s*{wants}(?:[\w'-]+\s+){{1,4}}?(?:{ends})\b[^,;.\n]*?{stop}", " "))
    if works:
        made.append((rf",\s*(?=(?:{works})\b(?!\s*(?:{nots})\b))", ". "))
    return tuple((re.compile(pattern, re.IGNORECASE), instead) for pattern, instead in made)


def without_asides(texts: pa.LargeStringArray, cues: Sequence[Mapping[str, Any]]) -> pa.LargeStringArray:
    """Take the pieces out of complaints that speak of the past, of what is not meant, or of what works.

    Parameters
    ----------
    texts
        Complaints.
    cues
        The cues of each language in force; one without ``aside`` takes nothing out.

    Returns
    -------
    LargeStringArray
        As ``texts``.
    """
    import pyarrow.compute as pc

    asides = [cue["aside"] for cue in cues if "aside" in cue]
    if not asides or not len(texts):
        return texts
    cue_words = [word for aside in asides for name in ("begins", "ends") for word in aside[name]]
    first_look = "|".join([*cue_words, *(rf",\s*{word}" for aside in asides for word in aside["works"])])
    may = pc.fill_null(pc.match_substring_regex(texts, f"(?i){first_look}"), False)
    if not pc.any(may).as_py():
        return texts
    names = ("begins", "ends", "since", "now", "needs", "works", "nots")
    patterns = [one for aside in asides for one in _patterns(*("|".join(aside[name]) for name in names))]

    def taken_out(text: str) -> str:
        for pattern, instead in patterns:
            text = pattern.sub(instead, text)
        return text

    mended = pa.array([taken_out(text) for text in texts.filter(may).to_pylist()], pa.large_string())
    return pc.replace_with_mask(texts, may, mended)
