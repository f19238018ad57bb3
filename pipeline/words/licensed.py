"""Whether a text speaks of work for licensed people only: gas and its fumes, or the refrigerant circuit.

``licensed.csv`` of every language is read whatever languages are set (`pipeline.words.stems`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pipeline.words.stems import NEITHER, said_in, shown

if TYPE_CHECKING:
    from collections.abc import Iterable

Work = Literal["", "refrigerant", "gas", "gas smell", "fumes"]
GRAVER: tuple[Work, ...] = ("", "refrigerant", "gas", "gas smell", "fumes")
FUMES: Work = "fumes"
GAS_SMELL: Work = "gas smell"
ESCAPES = "refrigerant escapes"
SAYS = (FUMES, GAS_SMELL, NEITHER, ESCAPES, "refrigerant", "gas")
_WORK_OF: dict[str, Work] = {
    "fumes": "fumes",
    "gas smell": "gas smell",
    ESCAPES: "refrigerant",
    "refrigerant": "refrigerant",
    "gas": "gas",
}


def licensed_work(texts: Iterable[str | None], kind: str) -> Work:
    """Give the gravest work that any of the texts speaks of: fumes of gas, its smell, gas, refrigerant.

    Parameters
    ----------
    texts
        Whatever is said of a call, as written, in any language.
    kind
        The kind of appliance as a term; on a fridge "lost its gas" is refrigerant.
    """
    return graver(*(_WORK_OF[says] for says in said_of_licensed(texts, kind) if says != NEITHER))


def said_of_licensed(texts: Iterable[str | None], kind: str) -> list[str]:
    """Give which of ``SAYS`` the texts speak of."""
    return [says for text in texts if text for says, _, _ in said_in(shown(text), kind, "licensed.csv", SAYS)]


def harmless_of_licensed(text: str, kind: str) -> list[tuple[int, int]]:
    """Where words stand, in a text as `shown` gives it, that only sound like licensed work: "gas meter"."""
    return [(begin, end) for says, begin, end in said_in(text, kind, "licensed.csv", SAYS) if says == NEITHER]


def graver(*works: Work) -> Work:
    """Give the gravest of several."""
    return max(works, key=GRAVER.index, default="")
