"""The question of one visit, read through the very words and values that job records go through."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal, cast

from pipeline.errors import UsageError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.words import Words


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
    job_no
        Job number of the call; None = none given.
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
    job_no: str | None = None

    def with_finding(self, finding: str, value: str) -> Question:
        """Return the question with one more thing seen."""
        return replace(self, findings={**self.findings, finding: value})

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


def read_question(
    words: Words,
    connection: duckdb.DuckDBPyConnection | None = None,
    *,
    kind: str,
    make: str | None = None,
    model: str | None = None,
    age: str | None = None,
    complaint: str | None = None,
    code: str | None = None,
    found: Sequence[str] = (),
    job_no: str | None = None,
    on: dt.date | None = None,
) -> Question:
    """Read one question as `load` reads one record.

    Parameters
    ----------
    words
        Lists in force.
    connection
        The workshop database: its spellings of makes and models win, as in a load; None = none known.
    kind, make, model, age, complaint, code, found
        As a technician writes them.
    on
        Day of the visit, for ages given as a year; today when left out.

    Raises
    ------
    UsageError
        No kind of appliance was given.
    """
    import pandas as pd

    from pipeline import identity
    from pipeline.values import ages

    if not (kind or "").strip():
        raise UsageError("No kind of appliance was given.", 'Say it as you would write it: --kind "washing machine"')
    not_understood: list[str] = []
    kinds = words.match("kind", _column(kind))
    kind_term = str(kinds["term"].iloc[0])
    if not bool(kinds["is_understood"].iloc[0]):
        not_understood.append(kind)
    kind_column = _column(kind_term)
    make_term = _make(words, make, _known(connection, "make")) if make else None
    model_term = _first(identity.model(_column(model), _known(connection, "model"))) if model else None
    family = _first(identity.model_family(_column(model_term))) if model_term else None
    age_years = None
    if age:
        day = pd.Series([pd.Timestamp(on or dt.date.today())])
        read = ages.parse(_column(age), day)
        age_years = _first(read["value"])
        if age_years is None:
            not_understood.append(age)
    symptoms: list[str] = []
    if complaint:
        present = words.find_symptoms(_column(complaint), kind_column)
        symptoms = list(dict.fromkeys(present.loc[~present["is_negated"].astype(bool), "symptom"]))
        not_understood += [str(word) for word in words.unknown(_column(complaint), kind_column)["word"]]
    codes: list[str] = []
    if code:
        codes = list(words.codes(_column(code), _column(make_term))["code"])
        if not codes:
            not_understood.append(code)
    if complaint:
        codes += list(words.said_codes(_column(complaint), _column(make_term))["code"])
        if not symptoms and not codes:
            not_understood.append(complaint)
    findings, strange = read_findings(words, found, kind_term)
    return Question(
        kind=kind_term,
        make=make_term,
        model=model_term,
        model_family=family,
        age_years=None if age_years is None else float(age_years),
        symptoms=tuple(symptoms),
        codes=tuple(dict.fromkeys(codes)),
        findings=findings,
        complaint=complaint or "",
        not_understood=tuple(dict.fromkeys([*not_understood, *strange])),
        job_no=job_no or None,
    )


def read_findings(words: Words, found: Sequence[str], kind: str) -> tuple[dict[str, str], list[str]]:
    """Read what was seen: finding → value, and the pieces that say nothing known."""
    findings: dict[str, str] = {}
    strange: list[str] = []
    for text in found:
        read = words.find_findings(_column(text), _column(kind))
        if read.empty:
            strange.append(text)
        findings.update(zip(read["finding"], read["value"], strict=True))
    return findings, strange


def _make(words: Words, make: str, known: list[str]) -> str | None:
    from pipeline import identity

    found = words.match("make", _column(make))
    is_understood = bool(found["is_understood"].iloc[0])
    return cast("str | None", _first(found["term"] if is_understood else identity.make(_column(make), known)))


def _known(connection: duckdb.DuckDBPyConnection | None, column: Literal["make", "model"]) -> list[str]:
    if connection is None:
        return []
    query = f"select distinct {column} from visit where {column} is not null order by 1"
    return [value for (value,) in connection.execute(query).fetchall()]


def _column(value: str | None) -> pd.Series:
    import pandas as pd

    return pd.Series([value], dtype="str")


def _first(values: pd.Series) -> Any:
    import pandas as pd

    value = values.iloc[0]
    return None if pd.isna(value) else value


def said(question: Question) -> str:
    """The question in one line, for people."""
    unit = " ".join(part for part in (question.make, question.model) if part)
    age = f"{question.age_years:.0f} years" if question.age_years is not None else "age not known"
    seen = ", ".join(f"{finding} {value}" for finding, value in question.findings.items())
    fault = ", ".join([*question.symptoms, *question.codes]) or "no complaint understood"
    return "; ".join(part for part in (f"{question.kind} {unit}".strip(), age, fault, seen) if part)
