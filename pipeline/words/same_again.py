"""Complaints that only say that the fault of the visit before is back.

"Same again", "problem is back", "not fixed": such a text names no fault of its own. A text counts only where nothing
else is said in it; what may stand beside, and what says so, are the cues ``again`` in each language's ``cues.toml``
(regular expressions, all of which are read in time linear in the text).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyarrow as pa

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

LONGEST = 120  # characters; a longer complaint tells a story


def says_again(texts: pa.LargeStringArray, cues: Sequence[Mapping[str, Any]]) -> NDArray[np.bool_]:
    """Tell of each complaint whether it says no more than that the earlier fault is back.

    Parameters
    ----------
    texts
        Complaints.
    cues
        The cues of each language in force.
    """
    import numpy as np
    import pyarrow.compute as pc

    told = np.zeros(len(texts), dtype=bool)
    short = pc.fill_null(pc.less_equal(pc.utf8_length(texts), LONGEST), False).to_numpy(zero_copy_only=False)
    for cue in cues:
        if "again" not in cue:
            continue
        says, beside = "|".join(cue["again"]["says"]), "|".join(cue["again"]["beside"])
        at = np.flatnonzero(short & ~told)
        at = at[_match(texts.take(at), rf"(?i)\b(?:{says})\b")]
        told[at] = _match(texts.take(at), rf"(?i)^(?:\b(?:{says})\b|\b(?:{beside})\b|[^\pL])+$")
    return told


def _match(texts: pa.LargeStringArray, pattern: str) -> NDArray[np.bool_]:
    import pyarrow.compute as pc

    found: NDArray[np.bool_] = pc.fill_null(pc.match_substring_regex(texts, pattern), False).to_numpy(
        zero_copy_only=False
    )
    return found
