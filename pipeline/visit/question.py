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
from pipeline.words.burnt import burnt
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
        return bool(burnt(self.findings)) or any(one in unsafe for one in told)

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
    if not all(call.kind.strip() for call in calls):
        raise UsageError("No kind of appliance was given.", 'Say it as you would write it: --kind "washing machine"')
    day = on or dt.date.today()
    read = _read_columns(words, connection, calls, day)
    return [_question(words, read, row, call, day) for row, call in enumerate(calls)]


@dataclass(frozen=True)
class _Columns:
    """What a load would read of the calls, one entry a call.

    Attributes
    ----------
    quiet
        The calls without the words that raise an alarm.
    kinds, is_known
        The appliance; whether a list knows it.
    makes, models, families, years
        As in `Question`; missing = not known.
    shown
        Codes given as such.
    tellings
        What was told aside of complaints, and what is left of the complaint.
    pieces
        The complaint cut, without what raises an alarm; ``unknown``: words of it that no list knows.
    said, codes
        Of the complaint first, then of each of its pieces: complaints with whether they are denied, and codes.
    """

    quiet: list[Call]
    kinds: list[str]
    is_known: list[bool]
    makes: pd.Series
    models: pd.Series
    families: pd.Series
    years: pd.Series
    shown: list[list[Any]]
    tellings: list[tuple[tuple[Told, ...], str]]
    pieces: list[list[str]]
    unknown: list[list[Any]]
    said: list[list[list[Any]]]
    codes: list[list[list[Any]]]


def _read_columns(
    words: Words, connection: duckdb.DuckDBPyConnection | None, calls: Sequence[Call], day: dt.date
) -> _Columns:
    """Read all calls at once, column by column, as a load does."""
    import pandas as pd

    from pipeline.load import identity
    from pipeline.values import ages

    found = words.match("kind", _text_column([call.kind for call in calls]))
    kinds = [str(kind) for kind in found["term"]]
    tellings = [
        _with_doubt(told_in(call.complaint or "", kind, words.denying, words.doubting), kind)
        for call, kind in zip(calls, kinds, strict=True)
    ]
    quiet = [
        _quiet(replace(call, complaint=left), kind)
        for call, (_, left), kind in zip(calls, tellings, kinds, strict=True)
    ]

    def column(name: str) -> pd.Series:
        return _text_column([getattr(call, name) for call in quiet])

    makes = _makes(words, column("make"), _known(connection, "make") if column("make").notna().any() else [])
    models = _models(column("model"), connection)
    pieces = [
        [_quiet_piece(piece, kind) for piece in pieces_of(left)]
        for (_, left), kind in zip(tellings, kinds, strict=True)
    ]
    whole = _text_column([", ".join(cut) for cut in pieces])
    whose = [*range(len(calls)), *(row for row, cut in enumerate(pieces) for _ in cut)]
    texts = pd.Series([*column("complaint"), *chain(*pieces)], dtype="str")  # complaints, then their pieces
    present = words.find_symptoms(texts, found["term"].take(whose).reset_index(drop=True))
    codes = words.said_codes(texts, makes.take(whose).reset_index(drop=True))
    return _Columns(
        quiet,
        kinds,
        [bool(is_known) for is_known in found["is_understood"]],
        makes,
        models,
        identity.model_family(models),
        ages.parse(column("age"), pd.Series([pd.Timestamp(day)] * len(calls)))["value"],
        _by_row(words.codes(column("code"), makes), "code", len(calls)),
        tellings,
        pieces,
        _by_row(words.unknown(whole, found["term"]), "word", len(calls)),
        _by_call(_by_row(present, "symptom", len(whose), "is_negated"), pieces),
        _by_call(_by_row(codes, "code", len(whose)), pieces),
    )


def _text_column(texts: Sequence[str | None]) -> pd.Series:
    import pandas as pd

    return pd.Series([text or None for text in texts], dtype="str")


def _by_call(rows: list[Any], pieces: Sequence[Sequence[str]]) -> list[list[Any]]:
    """Rows of all complaints, then of all their pieces, put together call by call."""
    place, whole = len(pieces), []
    for row, cut in enumerate(pieces):
        whole.append([rows[row], *rows[place : place + len(cut)]])
        place += len(cut)
    return whole


def _question(words: Words, read: _Columns, row: int, call: Call, day: dt.date) -> Question:
    """Put together what was read of one call."""
    import pandas as pd

    kind, pieces, (tellings, left) = read.kinds[row], read.pieces[row], read.tellings[row]
    (said, *said_of), (codes_said, *codes_of) = read.said[row], read.codes[row]
    symptoms = [symptom for symptom, is_negated in said if not is_negated]
    codes = [*read.shown[row], *codes_said]
    aside = told_aside(words, tellings, kind, symptoms)
    symptoms += aside.complaints
    told = _with_alarms(heard(words, pieces, kind, said_of, codes_of, symptoms), left, kind)
    told = (*told, *aside.heard)
    symptoms = [*about(words, kind).with_brought(alarms(call.texts(), kind)), *symptoms]
    given, strange, remarks = read_findings(words, read.quiet[row].found, kind)
    remarks += [
        sentence("answer.word_read_as", text=Written(word), word=Written(base))
        for word, base in words.mended(", ".join(pieces))
    ]
    in_words = dict(term.split("=", 1) for piece in told if piece.how == FINDING for term in piece.terms)
    years = read.years.iloc[row]
    is_read = [
        (call.kind, read.is_known[row]),
        (call.age, not pd.isna(years)),
        *((word, False) for word in read.unknown[row]),
        (read.quiet[row].code, bool(read.shown[row])),
        (call.complaint, bool(symptoms or codes or in_words or aside.heard)),
        *(_nothing_of(told, tellings, read.unknown[row]) if symptoms or codes else ()),
        *((text, False) for text in strange),
    ]
    return Question(
        kind=kind,
        make=_told(read.makes, row),
        model=_told(read.models, row),
        model_family=_told(read.families, row),
        age_years=None if pd.isna(years) else float(years),
        symptoms=tuple(dict.fromkeys(symptoms)),
        codes=tuple(dict.fromkeys(codes)),
        findings={**_seen_in(words, kind, symptoms), **in_words, **given},
        complaint=call.complaint or "",
        not_understood=_not_read(is_read, kind),
        heard=told,
        remarks=(*remarks, *aside.remarks),
        job_no=call.job_no or None,
        on=day,
        licensed=licensed_work(call.texts(), kind),
        is_newly_placed=NEWLY_PLACED in aside.notes or bool(years < NEW_YEARS),
        cleared=aside.cleared,
    )


def _seen_in(words: Words, kind: str, symptoms: Sequence[str]) -> dict[str, str]:
    """Findings that a danger told says by itself: of a damaged lead nobody need look whether it is damaged."""
    known = about(words, kind).hazards
    return dict(seen for name in symptoms if name in known and (seen := known[name].seen))


def _nothing_of(
    told: Sequence[Heard], tellings: Sequence[Told], unknown: Sequence[str]
) -> list[tuple[str | None, bool]]:
    """Pieces that were taken for nothing, and whether a word of them is named already."""
    beside = {text for one in tellings for text in one.beside}
    nothing = [piece.text for piece in told if piece.how == NOTHING and piece.text not in beside]
    return [(text, any(word in text.lower() for word in unknown)) for text in nothing]


def _not_read(texts: Sequence[tuple[str | None, bool]], kind: str) -> tuple[str, ...]:
    """Texts that were not read and say nothing of danger or of licensed work, each once."""
    left = [text for text, is_read in texts if text and not is_read]
    return tuple(dict.fromkeys(t for t in left if not licensed_work([t], kind) and not alarms([t], kind)))


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
