"""How calls are read: together, column by column, through the very words and values that job records go through."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import chain
from typing import TYPE_CHECKING, Any, Literal

from pipeline.call.age_in_words import age_told
from pipeline.call.alarms_in_call import quiet_call, quiet_piece, with_alarms, with_doubt
from pipeline.call.danger_signs_in_call import may_hurt
from pipeline.call.findings import both_said, read_findings
from pipeline.call.question import NEW_YEARS, Call, Question
from pipeline.call.remarks_in_call import told_aside
from pipeline.call.which_part import settled, with_parts_measured
from pipeline.call.word_account import FINDING, NOTHING, Heard, beside_codes, heard, pieces_of, without_states_of_things
from pipeline.errors import UsageError
from pipeline.store.cache import while_unchanged
from pipeline.values.ages import years_told
from pipeline.words.alarms import alarms, without_alarms
from pipeline.words.appliance import about
from pipeline.words.customer_remarks import NEWLY_PLACED, told_in
from pipeline.words.licensed import FUMES, GAS_SMELL, licensed_work
from pipeline.words.variants import ruled_out, to_ask
from pipeline.words.vocabulary import plain
from pipeline.words.which_kind import other_kind
from reports.render.wording import Written, sentence

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.store.database import Database
    from pipeline.words import Words
    from pipeline.words.customer_remarks import Told
    from pipeline.words.licensed import Work
    from reports.render.wording import Sentence


def read_questions(
    words: Words, database: Database | None, calls: Sequence[Call], *, on: dt.date | None = None
) -> list[Question]:
    """Read several calls at once.

    Parameters
    ----------
    words
        Lists in force.
    database
        The workshop's: its spellings of makes and models win, as in a load; None = none known.
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
    read = _read_columns(words, database, calls, day)
    return [_question(words, read, row, call, day) for row, call in enumerate(calls)]


LOOKED_AT_AGAIN = frozenset({"where it leaks=below"})
"""What customers tell and the technician looks at again: wherever it leaks, water comes out below."""
_OF_GAS, _ELECTRIC = ("gas", GAS_SMELL, FUMES), "electric "
_SAYS_ELECTRIC = re.compile(r"elec|elek|ceram|keram|indu|^e[-/ ]|^elt", re.IGNORECASE)
NEARLY = 0.8  # likeness from which on a make may be a misspelling of another; common practice, no source
_INDUCTION = re.compile(r"\bindu[ck]tion|\bindu[ck]ing|\bzones?\b|\bkochzonen?\b", re.IGNORECASE)


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
    strange_makes
        Of each call, that its make is on no record and which is written nearly so.
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
    strange_makes: list[list[Sentence]]
    models: pd.Series
    families: pd.Series
    years: Sequence[float]
    shown: list[list[Any]]
    tellings: list[tuple[tuple[Told, ...], str]]
    pieces: list[list[str]]
    unknown: list[list[Any]]
    said: list[list[list[Any]]]
    codes: list[list[list[Any]]]


def _read_columns(words: Words, database: Database | None, calls: Sequence[Call], day: dt.date) -> _Columns:
    """Read all calls at once, column by column, as a load does."""
    import pandas as pd

    from pipeline.load import identity

    found = words.match("kind", _text_column([call.kind for call in calls]))
    kinds = [str(kind) for kind in found["term"]]
    tellings = [
        with_doubt(told_in(call.complaint or "", kind, words.denying, words.doubting, words.determiners), kind)
        for call, kind in zip(calls, kinds, strict=True)
    ]
    quiet = [
        quiet_call(replace(call, complaint=left), kind)
        for call, (_, left), kind in zip(calls, tellings, kinds, strict=True)
    ]

    def column(name: str) -> pd.Series:
        return _text_column([getattr(call, name) for call in quiet])

    makes, models = _makes(words, column("make"), database), _models(column("model"), database)
    pieces = [
        [quiet_piece(piece, kind) for piece in pieces_of(left)] for (_, left), kind in zip(tellings, kinds, strict=True)
    ]
    whole = _text_column(
        [
            ", ".join(without_alarms(piece, kind, every=True) for piece in cut)
            for cut, kind in zip(pieces, kinds, strict=True)
        ]
    )
    whose = [*range(len(calls)), *(row for row, cut in enumerate(pieces) for _ in cut)]
    texts = pd.Series(
        [*(call.complaint or None for call in quiet), *chain(*pieces)], dtype="str"
    )  # complaints, then their pieces
    present = words.find_symptoms(texts, found["term"].take(whose).reset_index(drop=True))
    codes = words.said_codes(texts, makes.take(whose).reset_index(drop=True))
    return _Columns(
        quiet,
        kinds,
        [bool(is_known) for is_known in found["is_understood"]],
        makes,
        _nearly_known(makes, database),
        models,
        identity.model_family(models) if models.notna().any() else models,
        years_told(tuple(call.age for call in quiet), day),
        _by_row(words.codes(column("code"), makes), "code", len(calls)),
        tellings,
        pieces,
        _by_row(words.unknown(whole, found["term"]), "word", len(calls)),
        _by_call(_by_row(present, "symptom", len(whose), "is_negated"), pieces),
        _by_call(_by_row(codes, "code", len(whose)), pieces),
    )


def _question(words: Words, read: _Columns, row: int, call: Call, day: dt.date) -> Question:
    """Put together what was read of one call."""
    import pandas as pd

    kind, pieces, (tellings, left) = read.kinds[row], read.pieces[row], read.tellings[row]
    (said, *said_of), (codes_said, *codes_of) = read.said[row], read.codes[row]
    symptoms = [symptom for symptom, is_negated in said if not is_negated]
    codes = [*read.shown[row], *codes_said]
    by_piece = heard(words, pieces, kind, said_of, codes_of, symptoms)
    aside = told_aside(words, tellings, kind, symptoms)
    symptoms += aside.complaints
    looked = read_findings(words, read.quiet[row].found, kind, symptoms)
    symptoms += looked.complaints
    told = with_alarms(by_piece, left, kind)
    symptoms = _on_zones(
        f"{call.kind} {call.complaint}", without_states_of_things(words, symptoms, (*told, *aside.heard))
    )
    beside_code = beside_codes(words, read.quiet[row].code or "", kind, read.shown[row])
    told, measured_good = with_parts_measured(words, (*told, *aside.heard, *beside_code), kind)
    years, on_age, told = age_told(words, told, kind, float(read.years[row]), day)
    symptoms = [*about(words, kind).with_brought(alarms(call.texts(), kind)), *symptoms]
    remarks = [*looked.remarks, *on_age]
    remarks += [
        sentence("answer.word_read_as", text=Written(word), word=Written(base))
        for word, base in words.mended(", ".join(pieces))
    ]
    remarks += _in_other_language(words, call.kind)
    other = other_kind(words, call.complaint or "", kind)
    remarks += [] if other else _which_variant(words, kind, call, symptoms)
    remarks += read.strange_makes[row]
    licensed = licensed_work(call.texts(), kind)
    unheard = (
        () if licensed else may_hurt(words, call, kind, zip(pieces, by_piece, strict=True), symptoms, read.unknown[row])
    )
    remarks += _to_ask_first(unheard)
    in_words = _seen_in_words(told)
    of_dangers = [("", *pair) for pair in _seen_in(words, kind, symptoms, call).items()]
    at_last = settled(words, kind, [*of_dangers, *in_words, *looked.seen])
    findings = at_last.findings
    remarks = [*dict.fromkeys(map(both_said, dict.fromkeys(at_last.contradicted))), *dict.fromkeys(remarks)]
    seen = [f"{finding}={value}" for finding, value in findings.items()]
    is_read = [
        (call.kind, read.is_known[row]),
        (call.age, not pd.isna(read.years[row])),
        *((word, False) for word in read.unknown[row]),
        (read.quiet[row].code, bool(read.shown[row] or beside_code)),
        (call.complaint, bool(symptoms or codes or in_words or aside.heard)),
        *(_nothing_of(told, read.unknown[row]) if symptoms or codes or in_words or aside.heard else ()),
        *((text, False) for text in looked.strange),
    ]
    return Question(
        kind=kind,
        make=_told(read.makes, row),
        model=_told(read.models, row),
        model_family=_told(read.families, row),
        age_years=None if pd.isna(years) else years,
        symptoms=tuple(dict.fromkeys(symptoms)),
        codes=tuple(dict.fromkeys(codes)),
        findings=findings,
        complaint=call.complaint or "",
        not_understood=_not_read(is_read, kind),
        heard=told,
        remarks=(*remarks, *aside.remarks),
        job_no=call.job_no or None,
        on=day,
        licensed=licensed,
        may_hurt=unheard,
        is_newly_placed=NEWLY_PLACED in aside.notes | looked.notes or bool(years < NEW_YEARS),
        cleared=aside.cleared
        | looked.cleared
        | measured_good
        | at_last.cleared
        | ruled_out(words.lists.variants, kind, _of_make_up(call), (*symptoms, *seen)),
        other_kind=other,
        called=_called(call.kind, kind, licensed),
    )


def _called(written: str, kind: str, licensed: Work) -> str:
    """Give the kind as written where gas is spoken of and nobody said that it is electric: a hob may burn it."""
    is_open = licensed in _OF_GAS and kind.startswith(_ELECTRIC) and not _SAYS_ELECTRIC.search(written)
    return written.strip() if is_open else ""


def _in_other_language(words: Words, kind: str) -> list[Sentence]:
    """Say which setting has complaints read, where the kind is named in a language that is not switched on."""
    locale = words.lists.foreign_kinds.get(plain(kind).strip())
    return [sentence("answer.other_language", text=Written(kind), locale=locale)] if locale else []


def _of_make_up(call: Call) -> tuple[str | None, ...]:
    """Whatever of a call may name what the appliance is made as."""
    return (call.kind, call.model, *call.texts())


def _which_variant(words: Words, kind: str, call: Call, symptoms: Sequence[str]) -> list[Sentence]:
    """Ask for the make-up where the complaint depends on it and nobody told it."""
    may_be = to_ask(words.lists.variants, kind, _of_make_up(call), symptoms)
    return [sentence("answer.which_variant", variants=may_be)] if may_be else []


def _to_ask_first(unheard: Sequence[str]) -> list[Sentence]:
    """Ask about words that may tell of a danger before all else."""
    texts = [sentence("answer.quoted", text=Written(word)) for word in unheard]
    return [sentence("answer.may_hurt", texts=texts)] if texts else []


def _on_zones(told: str, symptoms: Sequence[str]) -> list[str]:
    """An induction hob has zones and no rings."""
    is_induction = _INDUCTION.search(told) is not None
    return ["zone dead" if is_induction and symptom == "ring dead" else symptom for symptom in symptoms]


def _seen_in(words: Words, kind: str, symptoms: Sequence[str], call: Call) -> dict[str, str]:
    """Findings that a danger told says by itself: of a damaged lead nobody need look whether it is damaged.

    Where several may be meant it is the one that is named ("oven door glass").
    """
    known, seen = about(words, kind).hazards, dict[str, str]()
    for may in (known[name].seen for name in symptoms if name in known):
        if len(may) > 1:
            named = words.things_in(" ; ".join(filter(None, call.texts())), kind)
            may = tuple(one for one in may if one[0] in named)
        seen |= dict(may if len(may) == 1 else ())
    return seen


def _seen_in_words(told: Sequence[Heard]) -> list[tuple[str, str, str]]:
    """Give the findings that pieces tell: text, finding, value."""
    terms = [(piece.text, term) for piece in told if piece.how == FINDING for term in piece.terms]
    pairs = [(text, term.partition("=")) for text, term in terms if term not in LOOKED_AT_AGAIN]
    return [(text, name, value) for text, (name, _, value) in pairs]


def _nothing_of(told: Sequence[Heard], unknown: Sequence[str]) -> list[tuple[str | None, bool]]:
    """Pieces that were taken for nothing, and whether a word of them is named already."""
    nothing = [piece.text for piece in told if piece.how == NOTHING]
    return [(text, any(word in text.lower() for word in unknown)) for text in nothing]


def _not_read(texts: Sequence[tuple[str | None, bool]], kind: str) -> tuple[str, ...]:
    """Texts not read that say nothing of danger or licensed work: each once, none whose words are all told."""
    left = [text for text, is_read in texts if text and not is_read]
    left = [text for text in left if " " not in text or not set(text.lower().split()) <= {*map(str.lower, left)}]
    return tuple(dict.fromkeys(t for t in left if not licensed_work([t], kind) and not alarms([t], kind)))


def _makes(words: Words, written: pd.Series, database: Database | None) -> pd.Series:
    from pipeline.load import identity

    if not written.notna().any():
        return written
    found = words.match("make", written)
    return found["term"].where(found["is_understood"], identity.make(written, _known(database, "make")))


def _nearly_known(makes: pd.Series, database: Database | None) -> list[list[Sentence]]:
    """Say of each make that is on no record which one on record is written nearly so."""
    known = _known(database, "make") if makes.notna().any() else []
    near = [
        get_close_matches(make, known, 1, NEARLY) if isinstance(make, str) and make not in known else []
        for make in makes
    ]
    return [
        [sentence("answer.make_nearly_known", make=Written(make), known=Written(name)) for name in names]
        for make, names in zip(makes, near, strict=True)
    ]


def _models(written: pd.Series, database: Database | None) -> pd.Series:
    from pipeline.load import identity

    return identity.model(written, _known(database, "model")) if written.notna().any() else written


def _known(database: Database | None, column: Literal["make", "model"]) -> list[str]:
    """Spellings of makes or models on record; those of a database that is only read are kept."""
    if database is None:
        return []
    query = f"select distinct {column} from visit where {column} is not null order by 1"
    rows = while_unchanged(database, ("spellings", column), lambda: database.connection.execute(query).fetchall())
    return [value for (value,) in rows]


def _text_column(texts: Sequence[str | None]) -> pd.Series:
    import pandas as pd

    return pd.Series([text or None for text in texts], dtype="str")


def _by_row(found: pd.DataFrame, name: str, rows: int, beside: str | None = None) -> list[list[Any]]:
    """Values of a column of what was found, one list a row of the texts; with a second column, pairs of both."""
    lists: list[list[Any]] = [[] for _ in range(rows)]
    values = found[name].tolist() if beside is None else zip(found[name], found[beside].tolist(), strict=True)
    for row, value in zip(found["row"].tolist(), values, strict=True):
        lists[row].append(value)
    return lists


def _by_call(rows: list[Any], pieces: Sequence[Sequence[str]]) -> list[list[Any]]:
    """Rows of all complaints, then of all their pieces, put together call by call."""
    place, whole = len(pieces), []
    for row, cut in enumerate(pieces):
        whole.append([rows[row], *rows[place : place + len(cut)]])
        place += len(cut)
    return whole


def _told(values: pd.Series, row: int) -> str | None:
    value = values.iloc[row]
    return value if isinstance(value, str) else None
