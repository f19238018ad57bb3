"""What a piece of a text says beside its complaints: the words that no complaint took, told apart by clauses."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pipeline.words.complaint_clause import names_only_functions, words_of_complaints
from pipeline.words.note_clause import WITHOUT_CAUSES, read_note
from pipeline.words.readings import MEASURED, READING
from pipeline.words.vocabulary import BREAKS, WORD, folded, plain

if TYPE_CHECKING:
    from collections.abc import Container

    from pipeline.words.lexicon import Lexicon
    from pipeline.words.words import Words

_UNKNOWN = "\ufffd"


class Beside(NamedTuple):
    """Words that no complaint took."""

    text: str
    tells: bool
    """Whether they say something that must be accounted for: a state, a reading, or a clause of their own."""


def beside_complaints(words: Words, text: str, kind: str, spared: Container[str] = frozenset()) -> list[Beside]:
    """Give what a text says beside its complaints.

    Parameters
    ----------
    words
        Lists in force.
    text
        As written.
    kind
        The kind of appliance as a term.
    spared
        Complaints whose words are left where they stand.
    """
    lexicon = _language(words, text)
    spans = _words(text)
    bases = lexicon.base_words([word for word, _, _ in spans])
    found: list[Beside] = []
    for clause in _clauses([word for word, _, _ in spans], bases):
        spelt = [bases[at] or _UNKNOWN for at in clause]
        taken = words_of_complaints(spelt, kind, lexicon, words.lists.part_functions, spared)
        for run in _between(len(clause), taken):
            begin, end = spans[clause[run[0]]][1], spans[clause[run[-1]]][2]
            left = text[begin:end].strip(" ,;:.-")
            is_when = names_only_functions([spelt[at] for at in run], kind, lexicon, words.lists.part_functions)
            is_told = (not taken and not is_when) or _tells_state(left, kind, lexicon)
            found.append(Beside(left, is_told))
    return found


def tells_state(words: Words, text: str, kind: str) -> bool:
    """Whether a text says in which state a thing is."""
    return _tells_state(text, kind, _language(words, text))


def _language(words: Words, text: str) -> Lexicon:
    import pyarrow as pa

    return words.complaint_reader.by_language(pa.array([text], pa.large_string()))[0][0]


def _tells_state(text: str, kind: str, lexicon: Lexicon) -> bool:
    if READING.search(text) is not None or MEASURED.search(text) is not None:
        return True
    bases = [base for base in lexicon.spelt_bases(text) if base]
    return any(
        seen.things and (seen.states or seen.is_denied) for seen in read_note(bases, kind, lexicon, WITHOUT_CAUSES)
    )


def _words(text: str) -> list[tuple[str, int, int]]:
    """Cut a text into words as phrases are cut, each with where it stands in the text as written."""
    line, at = "", list[int]()
    for place, mark in enumerate(text):
        plainly = folded(plain(mark))
        line += plainly
        at += [place] * len(plainly)
    at.append(len(text))
    found = []
    for met in WORD.finditer(line):
        begin, end = met.span()
        is_hyphen = met.group() == "-" and begin and line[begin - 1].isalnum() and line[end : end + 1].isalnum()
        if not is_hyphen:
            found.append((met.group(), at[begin], at[end - 1] + 1))
    return found


def _clauses(written: list[str], bases: list[str | None]) -> list[list[int]]:
    """Give the places of the words of each clause; fillers are left out."""
    clauses: list[list[int]] = [[]]
    for at, (word, base) in enumerate(zip(written, bases, strict=True)):
        if word in BREAKS or base == "<break>":
            clauses.append([])
        elif base != "":
            clauses[-1].append(at)
    return [clause for clause in clauses if clause]


def _between(length: int, taken: list[tuple[int, int]]) -> list[list[int]]:
    """Give the runs of places that are in none of the spans."""
    runs: list[list[int]] = [[]]
    for place in range(length):
        if any(begin <= place < end for begin, end in taken):
            runs.append([])
        else:
            runs[-1].append(place)
    return [run for run in runs if run]
