"""What was seen burnt, and which repairs put that right: whatever burnt it, it stays burnt until it is replaced."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from pipeline.words.appliance import Trade

PART, NONE = "burnt part", "none"
_LEADS = frozenset({"wiring", "wire", "wires", "loom", "harness", "terminal", "terminals", "connector", "connectors"})
_MENDS_LEADS = re.compile(r"^(repair|remake)\b.*\bwiring$")
_SMELT = re.compile(
    r"\b(?:smell\w*|smelt|odou?r|stink\w*|reek\w*|smok\w+|riech\w*|geruch|geroch\w*|rauch\w*|qualm\w*"
    r"|whiff\w*|müffel\w*|gemüffelt)\b",
    re.I,
)
_IS_BURNT = frozenset({"burnt", "burned", "melted", "scorched", "charred"})


def burnt(findings: Mapping[str, str]) -> tuple[str, ...]:
    """Give what was seen burnt, in the words of the findings; damaged wiring counts, as nobody may put it under power.

    Parameters
    ----------
    findings
        Finding → value, those of the workshop's own too: "drive motor" is "burnt".
    """
    seen = [value for finding, value in findings.items() if finding == PART and value != NONE]
    seen += [
        finding
        for finding, value in findings.items()
        if finding != PART and (value in _IS_BURNT or (finding == "wiring" and value == "damaged or wet"))
    ]
    return tuple(seen)


def tells_of_smell(text: str) -> bool:
    """Whether a text speaks of a smell or of smoke."""
    return _SMELT.search(text) is not None


def only_smelt(text: str, seen: str) -> bool:
    """Whether a piece of text tells of a smell, by which nobody has seen what it finds burnt, nor found it good."""
    finding, _, value = seen.partition("=")
    return tells_of_smell(text) and (value == "good" or bool(burnt({finding: value})))


def put_right(trade: Trade, what: str) -> frozenset[str]:
    """Causes whose repair replaces or mends what was seen burnt ("motor or pump"); none where no list says how."""
    if what == "wiring":
        stated = {c for c in trade.repairs if trade.stated.get((c, what), {}).get("damaged or wet", 0.0) >= 0.5}
    else:
        stated = set()
    names = {name.removesuffix(" test").removesuffix(" wiring").strip() for name in what.split(" or ")}
    is_wiring = any(_LEADS.intersection(name.split()) for name in what.split(" or "))
    mended = {
        cause
        for cause, repair in trade.repairs.items()
        if any(part == name or part.endswith(f" {name}") for part in repair.parts for name in names)
        or (is_wiring and _MENDS_LEADS.match(repair.action))
    }
    return frozenset(stated | mended)


def still_burnt(trade: Trade, findings: Mapping[str, str], done: Collection[str]) -> tuple[str, ...]:
    """Give what was seen burnt and is not put right by repairs of these causes: no visit ends as fixed with it."""
    return tuple(what for what in burnt(findings) if put_right(trade, what).isdisjoint(done))
