"""Which kept advice rows hold for a call."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.advice.kept import NOT_RECORDED, AdviceRow

if TYPE_CHECKING:
    from pipeline.call.question import Question


def for_parts(rows: Sequence[AdviceRow], question: Question, parts: Sequence[str]) -> tuple[AdviceRow, ...]:
    """Rows about these parts that hold for the question, the first of each part."""
    held: dict[str, AdviceRow] = {}
    for row in rows:
        if row.part in parts and holds_for(row, question):
            held.setdefault(row.part, row)
    return tuple(held[part] for part in parts if part in held)


def holds_for(row: AdviceRow, question: Question) -> bool:
    """Whether a question meets every condition of a row as far as it is known."""
    return (
        question.kind in row.kinds
        and row.make in (None, question.make)
        and (row.complaint is None or row.complaint in question.symptoms)
        and (row.code is None or row.code in question.codes)
        and _finding_holds(row, question)
    )


def _finding_holds(row: AdviceRow, question: Question) -> bool:
    if row.finding is None:
        return True
    if row.finding.endswith(NOT_RECORDED):
        return row.finding.removesuffix(NOT_RECORDED) not in question.findings
    finding, _, value = row.finding.partition("=")
    return question.findings.get(finding) == value
