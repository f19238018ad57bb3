"""What a complaint says beside the fault: what was once, what is not meant, what was replaced before.

"Used to leak, now won't start" does not complain of a leak, nor "not that it doesn't drain, it just won't spin" of the
draining, nor "bearings replaced last year, now not draining" of a noise, nor "it gurgles as it always has, only the
light is out". Such pieces are taken out before complaints are looked for. The cues stand in each language's
``cues.toml`` under ``aside``.

Records of repairs go on to say what it turned out to be and what was done: "no suction, hose cut and cleaned". What
such a clause names is a fault that was found, and no complaint beside the one before it (`before_the_work`).
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import pyarrow as pa

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

_END = r"(?=[,;.\n]|$"


@lru_cache(maxsize=8)
def _patterns(
    begins: str, ends: str, since: str, now: str, needs: str, works: str, nots: str, always: str, only: str
) -> tuple[tuple[re.Pattern[str], str], ...]:
    stop = rf"{_END}|\b(?:{now})\b)"
    made = []
    if always:
        made.append((rf"(?:(?<=[,;.\n])|^)[^,;.\n]*\b(?:{always})\b[^,;.\n]*[,;.\n](?=\s*(?:{only})\b)", ". "))
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
    cue_words = [word for aside in asides for name in ("begins", "ends", "always") for word in aside[name]]
    first_look = "|".join([*cue_words, *(rf",\s*{word}" for aside in asides for word in aside["works"])])
    may = pc.fill_null(pc.match_substring_regex(texts, f"(?i){first_look}"), False)
    if not pc.any(may).as_py():
        return texts
    names = ("begins", "ends", "since", "now", "needs", "works", "nots", "always", "only")
    patterns = [one for aside in asides for one in _patterns(*("|".join(aside[name]) for name in names))]

    def taken_out(text: str) -> str:
        for pattern, instead in patterns:
            text = pattern.sub(instead, text)
        return text

    mended = pa.array([taken_out(text) for text in texts.filter(may).to_pylist()], pa.large_string())
    return pc.replace_with_mask(texts, may, mended)


def before_the_work(texts: pa.LargeStringArray, cues: Sequence[Mapping[str, Any]]) -> tuple[NDArray[np.int64], Any]:
    """Leave out the clauses that say what was found or done after another clause.

    Returns
    -------
    ndarray
        Positions of the texts that hold such a clause.
    LargeStringArray
        These texts without them.
    """
    import numpy as np
    import pyarrow.compute as pc

    notes = [cue["note"] for cue in cues if "note" in cue]
    forms = [form for note in notes for name in ("found", "looked", "done") for form in note[name]]
    if not forms or not len(texts):
        return np.empty(0, dtype=np.int64), texts[:0]
    may = pc.fill_null(pc.match_substring_regex(texts, rf"(?is)[,;.\n]\s.*\b(?:{'|'.join(forms)})\b"), False)
    at = np.flatnonzero(may.to_numpy(zero_copy_only=False))
    work = _work("|".join(forms))
    return at, pa.array([work.sub(" ", text) for text in texts.take(at).to_pylist()], pa.large_string())


@lru_cache(maxsize=8)
def _work(forms: str) -> re.Pattern[str]:
    return re.compile(rf"(?<=[,;.\n])\s[^,;.\n]*?\b(?:{forms})\b[^,;.\n]*", re.IGNORECASE)
