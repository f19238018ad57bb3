"""What was seen, as it is written: findings and their values, what nobody knows, and what to tell of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.words.burnt import only_smelt
from pipeline.words.vocabulary import plain
from reports.render.wording import Finding, Written, sentence, value_of

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.words import Words


def read_findings(words: Words, found: Sequence[str], kind: str) -> tuple[dict[str, str], list[str], list[str]]:
    """Read what was seen.

    Returns
    -------
    tuple
        finding → value, the last where two contradict each other; the pieces that say nothing known; and what to tell:
        contradictions, and names that no list knows but that are nearly known.
    """
    findings: dict[str, str] = {}
    strange: list[str] = []
    remarks: list[str] = []
    known = list(words.finding_rules.values)
    for text in found:
        read = words.find_findings(_column(text), _column(kind))
        is_smelt = [
            only_smelt(text, f"{name}={value}") for name, value in zip(read["finding"], read["value"], strict=True)
        ]
        read = read.loc[[not one for one in is_smelt]]
        if read.empty:
            strange.append(text)
        for finding, value in zip(read["finding"], read["value"], strict=True):
            if findings.get(finding, value) != value:
                first, last = value_of(finding, findings[finding]), value_of(finding, value)
                remarks.append(sentence("answer.both_said", finding=Finding(finding), first=first, last=last))
            if finding not in known:
                near = _nearest(finding, known)
                strange.append(text)
                remarks.append(sentence("answer.own_finding", finding=Written(finding), near=near))
            elif finding not in plain(text):
                said = sentence("answer.seen", finding=Finding(finding), value=value_of(finding, value))
                remarks.append(sentence("answer.read_as", text=Written(text), said=said))
            findings[finding] = value
    return findings, strange, remarks


def _nearest(name: str, known: Sequence[str]) -> str:
    from rapidfuzz.process import extractOne

    near = extractOne(name, known, score_cutoff=75)
    return sentence("answer.did_you_mean", finding=Finding(near[0])) if near else ""


def _column(value: str | None) -> pd.Series:
    import pandas as pd

    return pd.Series([value], dtype="str")
