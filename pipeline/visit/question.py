"""The question of one visit, read through the very words and values that job records go through."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

from pipeline.errors import UsageError
from pipeline.words.licensed import Work, licensed_work

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
    licensed
        Work for licensed people only that the call speaks of, wherever it is said: "gas" or "refrigerant".
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
    licensed: Work = ""

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
    if not (kind or "").strip():
        raise UsageError("No kind of appliance was given.", 'Say it as you would write it: --kind "washing machine"')
    asked = {
        "kind": kind,
        "make": make,
        "model": model,
        "age": age,
        "complaint": complaint,
        "code": code,
        "job_no": job_no,
    }
    (question,) = read_questions(words, connection, [{**asked, "found": found}], on=on)
    return question


def read_questions(
    words: Words,
    connection: duckdb.DuckDBPyConnection | None,
    asked: Sequence[Mapping[str, Any]],
    *,
    on: dt.date | None = None,
) -> list[Question]:
    """Read several questions at once, each with the arguments of `read_question`; every one names its kind.

    Whatever else is said of a call may stand under ``notes``: it is read for gas and refrigerant only.
    """
    import pandas as pd

    from pipeline.load import identity
    from pipeline.values import ages

    def column(name: str) -> pd.Series:
        return pd.Series([one[name] or None for one in asked], dtype="str")

    kinds = words.match("kind", column("kind"))
    makes = _makes(words, column("make"), _known(connection, "make") if column("make").notna().any() else [])
    written_models = column("model")
    models = identity.model(written_models, _known(connection, "model") if written_models.notna().any() else [])
    families = identity.model_family(models)
    days = pd.Series([pd.Timestamp(on or dt.date.today())] * len(asked))
    years = ages.parse(column("age"), days)["value"]
    heard = words.find_symptoms(column("complaint"), kinds["term"])
    symptoms = _by_row(heard.loc[~heard["is_negated"].astype(bool)], "symptom", len(asked))
    unknown = _by_row(words.unknown(column("complaint"), kinds["term"]), "word", len(asked))
    shown = _by_row(words.codes(column("code"), makes), "code", len(asked))
    said_codes = _by_row(words.said_codes(column("complaint"), makes), "code", len(asked))
    questions = []
    for row, one in enumerate(asked):
        kind = str(kinds["term"].iloc[row])
        codes = [*shown[row], *said_codes[row]]
        findings, strange = read_findings(words, one["found"], kind)
        pieces = [
            (one["kind"], bool(kinds["is_understood"].iloc[row])),
            (one["age"], not pd.isna(years.iloc[row])),
            *((word, False) for word in unknown[row]),
            (one["code"], bool(shown[row])),
            (one["complaint"], bool(symptoms[row] or codes)),
            *((text, False) for text in strange),
        ]
        questions.append(
            Question(
                kind=kind,
                make=_told(makes, row),
                model=_told(models, row),
                model_family=_told(families, row),
                age_years=None if pd.isna(years.iloc[row]) else float(years.iloc[row]),
                symptoms=tuple(dict.fromkeys(symptoms[row])),
                codes=tuple(dict.fromkeys(codes)),
                findings=findings,
                complaint=one["complaint"] or "",
                not_understood=tuple(dict.fromkeys(text for text, is_read in pieces if text and not is_read)),
                job_no=one["job_no"] or None,
                licensed=licensed_work(_said(one), kind),
            )
        )
    return questions


def _said(one: Mapping[str, Any]) -> list[str | None]:
    """Everything that is said of a call."""
    return [
        *(one[name] for name in ("kind", "make", "model", "complaint", "code")),
        *one["found"],
        *one.get("notes", ()),
    ]


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


def _makes(words: Words, written: pd.Series, known: list[str]) -> pd.Series:
    from pipeline.load import identity

    found = words.match("make", written)
    return found["term"].where(found["is_understood"], identity.make(written, known))


def _by_row(found: pd.DataFrame, name: str, rows: int) -> list[list[str]]:
    """Values of a column of what was found, one list a row of the texts."""
    lists: list[list[str]] = [[] for _ in range(rows)]
    for row, value in zip(found["row"], found[name], strict=True):
        lists[row].append(str(value))
    return lists


def _told(values: pd.Series, row: int) -> str | None:
    value = values.iloc[row]
    return value if isinstance(value, str) else None


def _known(connection: duckdb.DuckDBPyConnection | None, column: Literal["make", "model"]) -> list[str]:
    if connection is None:
        return []
    query = f"select distinct {column} from visit where {column} is not null order by 1"
    return [value for (value,) in connection.execute(query).fetchall()]


def _column(value: str | None) -> pd.Series:
    import pandas as pd

    return pd.Series([value], dtype="str")


def said(question: Question) -> str:
    """The question in one line, for people."""
    unit = " ".join(part for part in (question.make, question.model) if part)
    age = f"{question.age_years:.0f} years" if question.age_years is not None else "age not known"
    seen = ", ".join(f"{finding} {value}" for finding, value in question.findings.items())
    fault = ", ".join([*question.symptoms, *question.codes]) or "no complaint understood"
    return "; ".join(part for part in (f"{question.kind} {unit}".strip(), age, fault, seen) if part)
