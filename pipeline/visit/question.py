"""The question of one visit, read through the very words and values that job records go through."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import TYPE_CHECKING, Any, Literal

from pipeline.errors import UsageError
from pipeline.train.phrases import Phrase
from pipeline.visit.heard import COMPLAINT, FINDING, NOTHING, Heard, heard, pieces_of
from pipeline.visit.told_aside import told_aside
from pipeline.visit.unit_history import UnitHistory
from pipeline.words.alarms import alarms, is_taken, without_alarms
from pipeline.words.appliance import about
from pipeline.words.licensed import Work, licensed_work
from pipeline.words.told import NEWLY_PLACED, told_in
from pipeline.words.vocabulary import plain
from reports.render.wording import Finding, Sentence, Several, Written, sentence, several, value_of

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.words import Words
    from pipeline.words.told import Told


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
    is_newly_placed
        Whether it was just set up or moved: told, or younger than `NEW_YEARS`.
    cleared
        Causes that what the customer told rules out.
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
    is_newly_placed: bool = False
    cleared: frozenset[str] = frozenset()

    def is_unsafe(self, unsafe: Collection[tuple[str, str]]) -> bool:
        """Whether anything said or seen forbids to energise the appliance; see `pipeline.words.appliance.Trade`."""
        told = [*self.findings.items(), *(("complaint", symptom) for symptom in self.symptoms)]
        return any(one in unsafe for one in told)

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


def read_questions(
    words: Words, connection: duckdb.DuckDBPyConnection | None, calls: Sequence[Call], *, on: dt.date | None = None
) -> list[Question]:
    """Read several calls at once.

    Parameters
    ----------
    words
        Lists in force.
    connection
        The workshop database: its spellings of makes and models win, as in a load; None = none known.
    calls
        As a technician writes them.
    on
        Day of the visits, for ages given as a year and the season; today when left out.

    Raises
    ------
    UsageError
        A call gives no kind of appliance.
    """
    import pandas as pd

    from pipeline.load import identity
    from pipeline.values import ages

    if not all(call.kind.strip() for call in calls):
        raise UsageError("No kind of appliance was given.", 'Say it as you would write it: --kind "washing machine"')

    def column(name: str) -> pd.Series:
        return pd.Series([getattr(call, name) or None for call in calls], dtype="str")

    kinds = words.match("kind", column("kind"))
    tellings = [
        _with_doubt(told_in(call.complaint or "", str(kind), words.denying, words.doubting), str(kind))
        for call, kind in zip(calls, kinds["term"], strict=True)
    ]
    whole, calls = (
        calls,
        [
            _quiet(replace(call, complaint=left), str(kind))
            for call, (_, left), kind in zip(calls, tellings, kinds["term"], strict=True)
        ],
    )
    makes = _makes(words, column("make"), _known(connection, "make") if column("make").notna().any() else [])
    models = _models(column("model"), connection)
    families = identity.model_family(models)
    day = on or dt.date.today()
    days = pd.Series([pd.Timestamp(day)] * len(calls))
    years = ages.parse(column("age"), days)["value"]
    shown = _by_row(words.codes(column("code"), makes), "code", len(calls))
    cut = [
        [_quiet_piece(piece, str(kind)) for piece in pieces_of(left)]
        for (_, left), kind in zip(tellings, kinds["term"], strict=True)
    ]
    quiet = pd.Series([", ".join(pieces) or None for pieces in cut], dtype="str")
    unknown = _by_row(words.unknown(quiet, kinds["term"]), "word", len(calls))
    whose = [*range(len(calls)), *(row for row, texts_of in enumerate(cut) for _ in texts_of)]
    texts = pd.Series([*column("complaint"), *chain(*cut)], dtype="str")  # complaints, then their pieces
    present = words.find_symptoms(texts, kinds["term"].take(whose).reset_index(drop=True))
    said = _by_row(present, "symptom", len(whose), "is_negated")
    said_codes = _by_row(words.said_codes(texts, makes.take(whose).reset_index(drop=True)), "code", len(whose))
    first = len(calls)
    questions = []
    for row, (call, told_as) in enumerate(zip(calls, whole, strict=True)):
        kind = str(kinds["term"].iloc[row])
        raised = about(words, kind).with_brought(alarms(told_as.texts(), kind))
        symptoms = [symptom for symptom, is_negated in said[row] if not is_negated]
        codes = [*shown[row], *said_codes[row]]
        own = slice(first, first + len(cut[row]))
        first = own.stop
        aside = told_aside(words, tellings[row][0], kind, symptoms)
        symptoms += aside.complaints
        told = _with_alarms(heard(words, cut[row], kind, said[own], said_codes[own], symptoms), tellings[row][1], kind)
        told = (*told, *aside.heard)
        symptoms = [*raised, *symptoms]
        findings, strange, remarks = read_findings(words, call.found, kind)
        remarks += [
            sentence("answer.word_read_as", text=Written(word), word=Written(base))
            for word, base in words.mended(", ".join(cut[row]))
        ]
        remarks += aside.remarks
        said_findings = [term for piece in told if piece.how == FINDING for term in piece.terms]
        findings = {**dict(term.split("=", 1) for term in said_findings), **findings}
        known = about(words, kind).hazards
        seen = [known[name].seen for name in symptoms if name in known]
        findings = {**dict(one for one in seen if one), **findings}
        beside = {text for one in tellings[row][0] for text in one.beside}
        nothing = [piece.text for piece in told if piece.how == NOTHING and piece.text not in beside]
        pieces = [
            (call.kind, bool(kinds["is_understood"].iloc[row])),
            (call.age, not pd.isna(years.iloc[row])),
            *((word, False) for word in unknown[row]),
            (call.code, bool(shown[row])),
            (told_as.complaint, bool(symptoms or codes or said_findings or aside.heard)),
            *((text, any(word in text.lower() for word in unknown[row])) for text in nothing if symptoms or codes),
            *((text, False) for text in strange),
        ]
        questions.append(
            Question(
                kind=kind,
                make=_told(makes, row),
                model=_told(models, row),
                model_family=_told(families, row),
                age_years=None if pd.isna(years.iloc[row]) else float(years.iloc[row]),
                symptoms=tuple(dict.fromkeys(symptoms)),
                codes=tuple(dict.fromkeys(codes)),
                findings=findings,
                complaint=told_as.complaint or "",
                not_understood=tuple(
                    dict.fromkeys(
                        t
                        for t, is_read in pieces
                        if t and not is_read and not licensed_work([t], kind) and not alarms([t], kind)
                    )
                ),
                heard=told,
                remarks=tuple(remarks),
                job_no=call.job_no or None,
                on=day,
                licensed=licensed_work(told_as.texts(), kind),
                is_newly_placed=NEWLY_PLACED in aside.notes or bool(years.iloc[row] < NEW_YEARS),
                cleared=aside.cleared,
            )
        )
    return questions


def _quiet(call: Call, kind: str) -> Call:
    """Return a call without the words that raise an alarm; what they say is a complaint of its own."""
    complaint, code = (text and without_alarms(text, kind) for text in (call.complaint, call.code))
    found = [_quiet_finding(text, kind) for text in call.found]
    return replace(call, complaint=complaint, code=code, found=[text for text in found if text.strip(" ,")])


def _quiet_finding(text: str, kind: str) -> str:
    if not is_taken(text, kind):
        return text
    return ", ".join(_quiet_piece(piece, kind) for piece in pieces_of(text))


def _quiet_piece(piece: str, kind: str) -> str:
    """Give what was seen in a piece of a text: nothing where it raises an alarm ("off the hose" is no loose hose)."""
    return "" if is_taken(piece, kind) else without_alarms(piece, kind)


def _with_doubt(telling: tuple[tuple[Told, ...], str], kind: str) -> tuple[tuple[Told, ...], str]:
    """Believe nothing good told in one breath with a danger: of "the house goes off when it heats" no good element."""
    told, left = telling
    breaths = [f"{one.beside[0]} {one.text} {one.beside[1]}" for one in told]
    whole = zip(told, breaths, strict=True)
    return tuple(one._replace(is_doubtful=one.is_doubtful or bool(alarms([text], kind))) for one, text in whole), left


def _with_alarms(told: Sequence[Heard], complaint: str, kind: str) -> tuple[Heard, ...]:
    """Account for the pieces as they were told, with the alarms that they raise."""
    pieces, place, whole, before = pieces_of(complaint), -1, list[Heard](), None
    for one in told:
        place += before is None or one.how != FINDING or before.how != COMPLAINT or one.text != before.text
        raised = alarms([pieces[place]], kind) if one.how != FINDING else ()
        terms = (*raised, *(one.terms if one.how == COMPLAINT else ()))
        whole.append(Heard(pieces[place], COMPLAINT, terms) if raised else replace(one, text=pieces[place]))
        before = one
    return tuple(whole)


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
        if read.empty:
            strange.append(text)
        for finding, value in zip(read["finding"], read["value"], strict=True):
            if findings.get(finding, value) != value:
                first, last = value_of(finding, findings[finding]), value_of(finding, value)
                remarks.append(sentence("answer.both_said", finding=Finding(finding), first=first, last=last))
            if finding not in known:
                near = _nearest(finding, known)
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


def _makes(words: Words, written: pd.Series, known: list[str]) -> pd.Series:
    from pipeline.load import identity

    if not written.notna().any():
        return written
    found = words.match("make", written)
    return found["term"].where(found["is_understood"], identity.make(written, known))


def _models(written: pd.Series, connection: duckdb.DuckDBPyConnection | None) -> pd.Series:
    from pipeline.load import identity

    return identity.model(written, _known(connection, "model")) if written.notna().any() else written


def _by_row(found: pd.DataFrame, name: str, rows: int, beside: str | None = None) -> list[list[Any]]:
    """Values of a column of what was found, one list a row of the texts; with a second column, pairs of both."""
    lists: list[list[Any]] = [[] for _ in range(rows)]
    values = found[name].tolist() if beside is None else zip(found[name], found[beside].tolist(), strict=True)
    for row, value in zip(found["row"].tolist(), values, strict=True):
        lists[row].append(value)
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


def said(question: Question) -> Several:
    """The question in one line, for people."""
    appliance = [question.kind, *(Written(name) for name in (question.make, question.model) if name)]
    seen = [
        sentence("answer.seen", finding=Finding(finding), value=value_of(finding, value))
        for finding, value in question.findings.items()
    ]
    fault = [*question.symptoms, *map(Written, question.codes)] or [sentence("answer.no_complaint")]
    pieces = [several(appliance, " "), age(question.age_years), several(fault, ", ")]
    return several([*pieces, *([several(seen, ", ")] if seen else [])])


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
