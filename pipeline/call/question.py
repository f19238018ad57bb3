"""One call: as it is told, as a question in the tool's own terms, and as a line for people."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pipeline.call.unit_history import UnitHistory
from pipeline.call.word_account import Heard
from pipeline.train.phrases import Phrase
from pipeline.words.burnt import burnt
from pipeline.words.licensed import Work
from reports.render.wording import Finding, Sentence, Several, Written, sentence, several, value_of

SPEAKS_OF: dict[Work, str] = {
    "": "answer.no_complaint",
    "gas": "answer.speaks_of_gas",
    "gas smell": "answer.speaks_of_gas",
    "fumes": "answer.speaks_of_fumes",
    "refrigerant": "answer.speaks_of_refrigerant",
}
NEW_YEARS = 0.12
"""Younger than six weeks, an appliance is as good as just set up (common practice, no source)."""


@dataclass(frozen=True)
class Call:
    """One call as it is told, in the words of a job sheet; "" or None = not given.

    Attributes
    ----------
    kind, make, model, age, complaint, code
        As a technician writes them: "w/m", "nearly 3 yrs", "lamps 1+4".
    found
        What was seen, one thing a text: "water left=no".
    job_no
        Job number of the call.
    serial, customer
        Which unit it is: its past visits are looked up; the customer is hashed for it and not kept.
    notes
        Whatever else is said of it; read for what can hurt only.
    """

    kind: str
    make: str | None = None
    model: str | None = None
    age: str | None = None
    complaint: str | None = None
    code: str | None = None
    found: Sequence[str] = ()
    job_no: str | None = None
    serial: str | None = None
    customer: str | None = None
    notes: Sequence[str] = ()

    def texts(self) -> list[str | None]:
        """Everything that is said of the call."""
        return [self.kind, self.make, self.model, self.complaint, self.code, *self.found, *self.notes]


@dataclass(frozen=True)
class Question:
    """One appliance and what is known of its fault, in the tool's own terms.

    Attributes
    ----------
    kind, make, model, model_family, age_years
        The appliance; None = not known.
    symptoms
        Complaint terms said to be present, in order of the text.
    codes
        Fault codes as the make's rule writes them.
    findings
        Finding → value.
    complaint
        The text as asked, for the record line.
    not_understood
        Pieces of the question no list knows.
    heard
        What became of every piece of the complaint.
    remarks
        What the technician should know of how the question was read: contradictions, names nearly known.
    phrases
        What past jobs say of phrases of the complaint.
    unit
        What is on record of this very unit.
    job_no
        Job number of the call; None = none given.
    on
        Day of the visit; None = not known.
    licensed
        Work for licensed people only that the call speaks of, wherever it is said: see `pipeline.words.licensed`.
    may_hurt
        Words of the call that may tell of a danger, where none was heard: see `pipeline.words.danger_signs`.
    is_newly_placed
        Whether it was just set up or moved: told, or younger than `NEW_YEARS`.
    other_kind
        The kind that the complaint names in place of the call's; "" = none.
    cleared
        Causes that what the customer told rules out.
    called
        The kind as written, where it speaks of gas and the list takes it for an electric one; "" = as the list has it.
    """

    kind: str
    make: str | None = None
    model: str | None = None
    model_family: str | None = None
    age_years: float | None = None
    symptoms: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    findings: Mapping[str, str] = field(default_factory=dict)
    complaint: str = ""
    not_understood: tuple[str, ...] = ()
    heard: tuple[Heard, ...] = ()
    remarks: tuple[str, ...] = ()
    phrases: tuple[Phrase, ...] = ()
    unit: UnitHistory = field(default_factory=UnitHistory)
    job_no: str | None = None
    on: dt.date | None = None
    licensed: Work = ""
    may_hurt: tuple[str, ...] = ()
    is_newly_placed: bool = False
    cleared: frozenset[str] = frozenset()
    other_kind: str = ""
    called: str = ""

    def is_unsafe(self, unsafe: Collection[tuple[str, str]]) -> bool:
        """Whether anything said or seen forbids to energise the appliance; see `pipeline.words.appliance.Trade`."""
        told = [*self.findings.items(), *(("complaint", symptom) for symptom in self.symptoms)]
        return bool(burnt(self.findings)) or any(one in unsafe for one in told)

    @property
    def is_unheard(self) -> bool:
        """Whether nothing of the complaint was understood, whatever code stands beside: it may tell of a danger."""
        return bool(self.complaint) and not self.symptoms and not self.findings

    def complains_of(self, finding: str, value: str) -> bool:
        """Whether a complaint says the very words of a finding: "flex or plug damaged" that flex and plug are."""
        return _bare(f"{finding} {value}") in [_bare(symptom) for symptom in self.symptoms]

    def as_json(self) -> dict[str, Any]:
        """What was asked, normalised."""
        return {
            "kind": self.kind,
            "make": self.make,
            "model": self.model,
            "model_family": self.model_family,
            "age_years": self.age_years,
            "complaint": list(self.symptoms),
            "code": list(self.codes),
            "found": [f"{finding}={value}" for finding, value in self.findings.items()],
        }


def said(question: Question) -> Several:
    """The question in one line, for people."""
    kind = Written(question.called) if question.called else question.kind
    appliance = [kind, *(Written(name) for name in (question.make, question.model) if name)]
    seen = [
        sentence("answer.seen", finding=Finding(finding), value=value_of(finding, value))
        for finding, value in question.findings.items()
        if not question.complains_of(finding, value)
    ]
    fault = [*question.symptoms, *map(Written, question.codes)] or [sentence(SPEAKS_OF[question.licensed])]
    pieces = [several(appliance, " "), age(question.age_years), several(fault, ", ")]
    return several([*pieces, *([several(seen, ", ")] if seen else [])])


def _bare(term: str) -> set[str]:
    """Words of a term by which it is one with another."""
    return {*term.split()} - {"and", "or"}


def age(years: float | None) -> Sentence:
    """An age in words: weeks of an appliance as good as new, months of the first year, then years."""
    if years is None:
        return sentence("answer.age_unknown")
    if years < NEW_YEARS:
        weeks = round(52 * years)
        return sentence("answer.weeks", n=weeks) if weeks else sentence("answer.as_new")
    if years < 1:
        return sentence("answer.months", n=round(12 * years))
    return sentence("answer.years", n=round(years))
