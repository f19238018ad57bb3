"""Looks at what a cause of the workshop's own words names, where anyone could see it: a hose crushed behind a dryer."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from models.plan.likelihood import STRENGTH
from pipeline.words.appliance import CheckCard
from reports.render.wording import sentence

if TYPE_CHECKING:
    from pipeline.visit.similar_jobs import KindRecords
    from pipeline.words.appliance import Trade

SEEN = re.compile(
    r"\b(hose|pipe|duct|filter|tap|plug|door|lid|flap|spout|bin|pan|feet|foot|worktop"
    r"|\w*schlauch|\w*filter|\w*hahn|stecker|tür|deckel|\w*klappe|auslauf|arbeitsplatte)\b",
    re.IGNORECASE,
)
INSIDE = re.compile(  # what stands beside such a word where nobody sees it without opening the machine
    r"\b(board|switch|lock|sensor|motor|valve|element|wiring|pump|relay|winding|bearing)\w*\b", re.IGNORECASE
)
LOOK_MINUTES, SHOWN = 2.0, 0.9  # minutes of such a look, and how often it shows the cause (common practice, no source)
SOUND = 3 * STRENGTH  # appliances without it, so to speak: some three in a hundred look so all the same (the same)
CAUTIONS = ("isolate", "weight", "hot parts")


def with_own_looks(trade: Trade, records: KindRecords) -> tuple[Trade, KindRecords]:
    """Add a look for each such cause of the records: its finding is the cause, seen or not."""
    import pandas as pd

    own = sorted(cause for cause in records.cause_jobs if cause not in trade.repairs and is_seen_by_anyone(cause))
    if not own:
        return trade, records
    cautions = tuple(name for name in CAUTIONS if name in trade.kind_cautions) or ("isolate",)
    looks = tuple(
        CheckCard(
            sentence("answer.look_whether", cause=cause),
            cause,
            ("no", "yes"),
            LOOK_MINUTES,
            "",
            cautions,
            power="off",
            is_for_anyone=True,
        )
        for cause in own
    )
    rows = pd.DataFrame([(cause, cause, "yes", SHOWN) for cause in own], columns=trade.expected.columns)
    likelihoods = records.likelihoods
    expected = {**likelihoods.expected, **{(cause, cause): {"yes": SHOWN} for cause in own}}
    jobs = {**likelihoods.jobs, **{("", cause): {"no": SOUND} for cause in own}}
    known = type(likelihoods)(expected, jobs)
    frame = pd.concat([trade.expected, rows], ignore_index=True)
    return replace(trade, checks=(*trade.checks, *looks), expected=frame), replace(records, likelihoods=known)


def is_seen_by_anyone(cause: str) -> bool:
    """Whether a cause names a thing that can be seen without tools, and nothing behind a cover."""
    return bool(SEEN.search(cause)) and not INSIDE.search(cause)
