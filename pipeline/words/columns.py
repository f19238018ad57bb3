"""Columns of written words in, tidy frames of terms out."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from pipeline.values.distinct import arrow_text
from pipeline.words.asides import before_the_work, without_asides
from pipeline.words.bulk import as_numbered, as_texts
from pipeline.words.cells import own_term
from pipeline.words.codes import FIRST_LOOK, LONGEST, said_in
from pipeline.words.disconnected import may_tell, with_parts_off_judged
from pipeline.words.note_clause import read_note
from pipeline.words.pairs import split_pair, yes_or_no
from pipeline.words.readings import MEASURED, READING, with_readings_judged
from pipeline.words.tokens import GAP, batches
from pipeline.words.vocabulary import plain, split

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from pipeline.words.bulk import ClauseReader
    from pipeline.words.cells import CellList
    from pipeline.words.complaint_clause import Said
    from pipeline.words.lexicon import Lexicon
    from pipeline.words.prepared_lists import ReadyLists
    from pipeline.words.rules import Cause, Finding

    ReadCode = Callable[[str, str | None], list[str]]

_BETWEEN = re.compile(r"[;,\n]")
_SHORTEST_WORD = 3
_DIGITS = np.frombuffer(b"0123456789", dtype=np.uint8)


def _gather(
    words: ReadyLists, reader: ClauseReader[Any], texts: pa.LargeStringArray, kinds: pd.Series[Any] | None
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give the row of everything found, in the order of the texts, and which of ``reader.found`` it is."""
    names, kind_of = as_numbered(kinds, len(texts), words.kind_names)
    found = list(reader.find(texts, names, kind_of))
    none = [np.empty(0, dtype=np.int64)]
    row = np.concatenate([row for row, _which in found] or none)
    which = np.concatenate([which for _row, which in found] or none)
    if len(reader.languages) == 1:
        return row, which
    order = np.argsort(row, kind="stable")
    return row[order], which[order]


def _once(
    reader: ClauseReader[Any], row: NDArray[np.int64], which: NDArray[np.int64], rank: Callable[[Any], int]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Keep of what says the same in a row the first of the lowest rank (below 8), a row's lowest ranks first."""
    import pandas as pd

    items = reader.found
    ranks = np.fromiter(map(rank, items), dtype=np.int64, count=len(items))
    order = np.argsort(row * 8 + ranks[which], kind="stable")
    row, which = row[order], which[order]
    named, _names = pd.factorize(np.array([item[0] for item in items], dtype=object))
    kept = ~pd.Series(row * max(1, len(items)) + named[which]).duplicated().to_numpy()
    return row[kept], which[kept]


def _table(
    reader: ClauseReader[Any], row: NDArray[np.int64], which: NDArray[np.int64], fields: Sequence[str]
) -> pd.DataFrame:
    import pandas as pd

    columns: dict[str, Any] = {"row": row}
    items = reader.found
    for position, field in enumerate(fields):
        values = [item[position] for item in items]
        is_flag = field.startswith("is_")
        columns[field] = np.array(values, dtype=bool)[which] if is_flag else pd.array(values, dtype="str").take(which)
    return pd.DataFrame(columns, copy=False)


def find_symptoms(
    words: ReadyLists, reader: ClauseReader[Said], texts: pd.Series[Any], kinds: pd.Series[Any] | None
) -> pd.DataFrame:
    """See `Words.find_symptoms`."""
    cues = list(words.lists.cues.values())
    told = without_asides(as_texts(texts), cues)
    row, which = _gather(words, reader, told, kinds)
    row, which = _without_faults_found(words, reader, told, kinds, cues, row, which)
    row, which = _once(reader, row, which, lambda said: 2 * said.is_negated + said.is_doubtful)
    return _table(reader, row, which, ("symptom", "is_negated", "is_doubtful"))


def _without_faults_found(
    words: ReadyLists,
    reader: ClauseReader[Said],
    texts: pa.LargeStringArray,
    kinds: pd.Series[Any] | None,
    cues: Sequence[Any],
    row: NDArray[np.int64],
    which: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Leave out faults that only the clauses of work after the complaint name: what is heard, seen or smelt stays.

    Where the clauses before complain of nothing, all stays.
    """
    fault_names = {one["symptom"] for one in words.lists.symptoms if one.get("is_fault")}
    names_fault = np.array([said.symptom in fault_names for said in reader.found], dtype=bool)
    if not names_fault.any():
        return row, which
    at, before = before_the_work(texts, cues)
    row_before, which_before = _gather(words, reader, before, None if kinds is None else kinds.iloc[at])
    many = len(reader.found)
    stays = np.isin(row * many + which, at[row_before] * many + which_before)
    kept = stays | ~np.isin(row, at[row_before]) | ~names_fault[which]
    return row[kept], which[kept]


def find_causes(
    words: ReadyLists, reader: ClauseReader[Cause], texts: pd.Series[Any], kinds: pd.Series[Any] | None
) -> pd.DataFrame:
    """See `Words.find_causes`."""
    row, which = _gather(words, reader, as_texts(texts), kinds)
    row, which = _once(reader, row, which, lambda cause: cause.is_doubtful)
    return _table(reader, row, which, ("cause", "is_doubtful"))


def match_cells(
    words: ReadyLists, name: str, cells: CellList, written: pd.Series[Any], kinds: pd.Series[Any] | None
) -> pd.DataFrame:
    """See `Words.match`."""
    texts, kind_names, which = _distinct_cells(written, kinds if name == "part" else None, words.kind_names)
    silenced = words.lists.silenced
    read = [
        (None, True, False) if not text.strip() or (name, plain(text)) in silenced else cells.read(text, kind)
        for text, kind in zip(texts, kind_names, strict=True)
    ]
    return _aligned(read, texts, which, written)


def _column(kinds: Sequence[str | None]) -> pd.Series[Any]:
    import pandas as pd

    return pd.Series(kinds, dtype="object")


def _distinct_cells(
    written: pd.Series[Any], beside: pd.Series[Any] | None, listed: Container[str] | None = None
) -> tuple[list[str], list[str | None], np.ndarray[Any, Any]]:
    """Give distinct cells with the kind or make beside them, and which pair each row has."""
    import pandas as pd

    cells = as_texts(written).dictionary_encode()
    names, kind_of = as_numbered(beside, len(written), listed)
    which, keys = pd.factorize(cells.indices.to_numpy().astype(np.int64) * len(names) + kind_of)
    texts = cells.dictionary.to_pylist()
    return [texts[key // len(names)] for key in keys], [names[key % len(names)] for key in keys], which


def _aligned(
    read: Sequence[tuple[str | None, bool, bool]],
    texts: Sequence[str],
    which: np.ndarray[Any, Any],
    written: pd.Series[Any],
) -> pd.DataFrame:
    import pandas as pd

    terms = pd.Series([term for term, _understood, _doubtful in read], dtype="str")
    understood = np.array([u and bool(text.strip()) for (_t, u, _d), text in zip(read, texts, strict=True)], dtype=bool)
    doubtful = np.array([d for _t, _u, d in read], dtype=bool)
    return pd.DataFrame(
        {"term": terms.take(which).array, "is_understood": understood[which], "is_doubtful": doubtful[which]},
        index=written.index,
    )


def match_causes(
    words: ReadyLists, reader: ClauseReader[Cause], written: pd.Series[Any], kinds: pd.Series[Any] | None
) -> pd.DataFrame:
    """See `Words.match`: one confirmed before one stated, that before one suspected.

    In a short cell words that no phrase accounts for keep the cause the workshop's own ("grille element open" is not
    joined to "element open", nor "flake under pump flap" to a pump): people who write different words mean different
    causes. Two causes in a cell are the listed cause that holds both, else the workshop's own: never one of them alone.
    """
    texts, kind_names, which = _distinct_cells(written, kinds, words.kind_names)
    row, which_found = _gather(words, reader, pa.array(texts, pa.large_string()), _column(kind_names))
    named: dict[int, list[Cause]] = {}
    items = reader.found
    for at, cause in zip(row.tolist(), map(items.__getitem__, which_found.tolist()), strict=True):
        named.setdefault(at, []).append(cause)
    silenced = words.lists.silenced
    read: list[tuple[str | None, bool, bool]] = []
    for at, text in enumerate(texts):
        if not text.strip() or ("cause", plain(text)) in silenced:
            read.append((None, True, False))
        elif (chosen := _one_cause(words, text, kind_names[at], named.get(at, []))) is not None:
            read.append((chosen.cause, True, chosen.is_doubtful))
        else:
            read.append((own_term(_DOUBT.sub(" ", text)) or own_term(text), False, _sounds_doubtful(text)))
    return _aligned(read, texts, which, written)


def _one_cause(words: ReadyLists, text: str, kind: str | None, named: list[Cause]) -> Cause | None:
    """Choose among the causes a cell names; None = it tells more than one, or another than is listed."""
    if not named:
        return None
    surest = min((cause.is_doubtful, not cause.is_confirmed) for cause in named)
    sure = [cause for cause in named if (cause.is_doubtful, not cause.is_confirmed) == surest]
    if len(text.split()) <= MOST_WORDS_OF_A_NAME and (
        any(cause.is_narrowed for cause in sure) or _begins_narrower(words, text, kind)
    ):
        return None
    names = {cause.cause for cause in sure}
    for cause in sure:
        if names <= {cause.cause} | words.lists.joint_causes.get(cause.cause, frozenset()):
            return cause
    return None


def _begins_narrower(words: ReadyLists, text: str, kind: str | None) -> bool:
    """Tell whether a word of no language begins the text and stands right before its thing."""
    first = split(text)[:1]
    if any(lexicon.base_words(first) != [None] for lexicon in words.lexicons) or not first[0].isalpha():
        return False
    lexicon = max(words.lexicons, key=lambda one: sum(base is not None for base in one.base_words(split(text))))
    return any(seen.is_narrowed for seen in read_note([b for b in lexicon.spelt_bases(text) if b], kind, lexicon)[:1])


MOST_WORDS_OF_A_NAME = 6
"""A longer cell tells a story; a word before a thing narrows nothing there."""
_DOUBT = re.compile(
    r"^\s*\?|\?\s*$|\b(poss|possible|possibly|maybe|perhaps|probably|prob|suspect|suspected"
    r"|vermutlich|eventuell|evtl|vielleicht|möglicherweise)\b",
    re.IGNORECASE,
)


def _sounds_doubtful(text: str) -> bool:
    return _DOUBT.search(text) is not None


def find_findings(
    words: ReadyLists, reader: ClauseReader[Finding], texts: pd.Series[Any], kinds: pd.Series[Any] | None
) -> pd.DataFrame:
    """See `Words.find_findings`."""
    import pandas as pd

    written, kind_names, which = _distinct_cells(texts, kinds, words.kind_names)
    pairs: list[tuple[int, str, str, bool]] = []
    rest: list[str] = []
    known: dict[tuple[str, str | None], tuple[str, str, bool] | None] = {}
    for row, (text, kind) in enumerate(zip(written, kind_names, strict=True)):
        if READING.search(text) is not None or MEASURED.search(text) is not None:
            text = with_readings_judged(words, text, kind)
        if may_tell(text):
            text = with_parts_off_judged(words, text, kind)
        left: list[str] = []
        for piece in _BETWEEN.split(text):
            if (piece, kind) not in known:
                known[piece, kind] = _read_piece(words, piece, kind)
            read = known[piece, kind]
            if read is not None:
                pairs.append((row, *read))
            elif "=" not in piece:
                left.append(piece)
        rest.append(";".join(left))
    found = _gather(words, reader, pa.array(rest, pa.large_string()), _column(kind_names))
    free = _table(reader, *found, ("finding", "value", "is_doubtful"))
    if free.empty and not pairs:
        return free
    named = pd.DataFrame(pairs, columns=["row", "finding", "value", "is_doubtful"]).astype(
        {"row": "int64", "finding": "str", "value": "str", "is_doubtful": "bool"}
    )
    table = pd.concat([free, named], ignore_index=True).sort_values("row", kind="stable")
    table = table.drop_duplicates(["row", "finding"], keep="last")
    return _spread(table, which, len(written))


def _spread(table: pd.DataFrame, which: np.ndarray[Any, Any], distinct: int) -> pd.DataFrame:
    """Repeat what was found in distinct cells for every row that has them."""
    counts = np.bincount(table["row"].to_numpy(), minlength=distinct)
    first = np.concatenate(([0], np.cumsum(counts)))[:-1]
    times = counts[which]
    rows = np.repeat(np.arange(len(which)), times)
    within = np.arange(int(times.sum())) - np.repeat(np.cumsum(times) - times, times)
    spread = table.take(np.repeat(first[which], times) + within).reset_index(drop=True)
    spread["row"] = rows
    return spread


def _read_piece(words: ReadyLists, piece: str, kind: str | None) -> tuple[str, str, bool] | None:
    """Read a finding and its value written side by side; after "=" what no list knows stays the workshop's own."""
    rules = words.finding_rules
    pair = split_pair(piece, rules.values)
    if pair is None:
        return None
    key, value, is_named = pair
    is_doubtful = "?" in piece
    name, said = own_term(key.replace("?", " ")), own_term(value.replace("?", " "))
    if name is None or said is None:
        return None
    answer = yes_or_no(said)
    if name in rules.values:
        if said in rules.values[name]:
            return name, said, is_doubtful
        read = answer if answer in rules.values[name] else _value(words, name, said)
        return (name, read or said, is_doubtful) if read or is_named else None
    note = name if answer == "yes" else f"no {name}" if answer == "no" else f"{name} {said}"
    for finding, read_value, _doubt in words.read_note(note, kind):
        return finding, read_value, is_doubtful
    return (name, said, is_doubtful) if is_named else None


def _value(words: ReadyLists, finding: str, said: str) -> str | None:
    """Give the value of a finding that a text means."""
    values = words.finding_rules.values[finding]
    states = words.states_in(said)
    for value in values:
        if value in states or plain(value) == said:
            return value
    return words.finding_rules.value_of(finding, sorted(states))


@cache
def _no_codes() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame({"row": np.empty(0, dtype=np.int64), "code": pd.array([], dtype="str")})


def find_codes(read: ReadCode, written: pd.Series[Any], makes: pd.Series[Any] | None) -> pd.DataFrame:
    """See `Words.codes`."""
    import pandas as pd

    if written.isna().all():
        return _no_codes()
    texts, make_names, which = _distinct_cells(written, makes)
    pairs = [
        (row, code)
        for row, (text, make) in enumerate(zip(texts, make_names, strict=True))
        if text.strip()
        for code in read(text[:LONGEST], make)
    ]
    table = pd.DataFrame(pairs, columns=["row", "code"]).astype({"row": "int64", "code": "str"})
    return _spread(table, which, len(texts))


def said_codes(read: ReadCode, texts: pd.Series[Any], makes: pd.Series[Any] | None) -> pd.DataFrame:
    """See `Words.said_codes`."""
    import pandas as pd
    import pyarrow.compute as pc

    may_say = pc.match_substring_regex(arrow_text(texts), FIRST_LOOK)
    may_say = np.flatnonzero(pc.fill_null(may_say, False).to_numpy(zero_copy_only=False))
    if not len(may_say):
        return _no_codes()
    said = pd.Series([said_in(text) for text in texts.iloc[may_say]], dtype="str")
    names = None if makes is None else makes.iloc[may_say].reset_index(drop=True)
    found = find_codes(read, said, names)
    return found.assign(row=may_say[found["row"].to_numpy()])


def unknown_words(
    words: ReadyLists, reader: ClauseReader[Said], texts: pd.Series[Any], kinds: pd.Series[Any] | None
) -> pd.DataFrame:
    """See `Words.unknown`."""
    import pandas as pd

    written = as_texts(texts)
    numbered: dict[str, int] = {}
    rows, numbers = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.int64)]
    for start, end in batches(written):
        part = written[start:end]
        for lexicon, places in reader.by_language(part):
            met = lexicon.reader.words(part if places is None else part.take(places))
            at = np.flatnonzero(met.number == GAP)
            at = at[~np.isin(np.frombuffer(met.raw, dtype=np.uint8)[met.begin[at]], _DIGITS)]
            number_of = np.full(len(met.first), -1, dtype=np.int64)
            for which in np.unique(met.which[at]).tolist():
                if _wants_review(lexicon, word := met.spelling(which)):
                    number_of[which] = numbered.setdefault(word, len(numbered))
            number = number_of[met.which[at]]
            at, number = at[number >= 0], number[number >= 0]
            rows.append((np.arange(len(part)) if places is None else places)[met.row[at]] + start)
            numbers.append(number)
    row, number = np.concatenate(rows), np.concatenate(numbers)
    kept = ~pd.Series(row * max(1, len(numbered)) + number).duplicated().to_numpy()
    order = np.argsort(row[kept], kind="stable")
    words_of = pd.array(list(numbered), dtype="str")
    return pd.DataFrame({"row": row[kept][order], "word": words_of.take(number[kept][order])})


def _wants_review(lexicon: Lexicon, word: str) -> bool:
    """Tell whether a word not understood is worth asking about: letters, no number, no common word."""
    return len(word) >= _SHORTEST_WORD and word.isalpha() and not lexicon.vocabulary.is_known(word)
