"""What was seen, as it is written: findings and their values, what nobody knows, and what to tell of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pipeline.call.alarms_in_call import with_doubt
from pipeline.call.remarks_in_call import told_aside
from pipeline.call.which_part import measured, settled
from pipeline.call.word_account import FINDING, TOLD
from pipeline.words.burnt import burnt, only_smelt
from pipeline.words.customer_remarks import told_in
from pipeline.words.vocabulary import plain
from reports.render.wording import Finding, Written, sentence, several, value_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.call.remarks_in_call import Aside
    from pipeline.words import Words
    from reports.render.wording import Sentence


class Looked(NamedTuple):
    """What was seen, of all texts together."""

    seen: list[tuple[str, str, str]]
    """Text, finding and value, in turn."""
    strange: list[str]
    """Texts that say nothing known."""
    remarks: list[Sentence]
    """What to tell: contradictions, names that no list knows but that are nearly known, what words were read as."""
    complaints: list[str]
    """Complaints that what was seen is: a child lock that is set."""
    notes: frozenset[str]
    cleared: frozenset[str]
    """Causes that it rules out."""


def read_findings(words: Words, found: Sequence[str], kind: str, symptoms: Sequence[str]) -> Looked:
    """Read what was seen, beside these complaints: as the check's own finding, else as what a customer tells."""
    seen = list[tuple[str, str, str]]()
    strange, complaints = list[str](), list[str]()
    remarks = list["Sentence"]()
    notes, cleared = set[str](), set[str]()
    for text in found:
        read = [pair for pair in words.findings_in(text, kind) if not only_smelt(text, "=".join(pair))]
        part = measured(words, text, kind)
        cleared |= part.cleared
        if any(_is_known(words, *pair, kind) for pair in read) or "=" in text:
            said: Sequence[Sentence | str] = ()
        elif part.good:
            read, said = [], [f"{part.good} is good"]
        else:
            aside = _told(words, text, kind, [*symptoms, *complaints])
            pairs, said = _pairs(aside), [*_in_words(aside), *_denied(words, text, kind)]
            read = pairs if said else read
            complaints += aside.complaints
            notes |= aside.notes
            cleared |= aside.cleared
            remarks += aside.remarks
        if said:
            remarks.append(sentence("answer.read_as", text=Written(text), said=several(said, ", ")))
        elif ("=" in text and any(name not in words.finding_rules.values for name, _ in read)) or not read:
            strange.append(text)
        seen += [(text, *pair) for pair in read]
        remarks += [one for pair in read for one in _of_finding(words, text, *pair, is_told=bool(said))]
    twice = settled(words, kind, seen).contradicted
    return Looked(seen, strange, [*map(_both_said, twice), *remarks], complaints, frozenset(notes), frozenset(cleared))


def _is_known(words: Words, finding: str, value: str, kind: str) -> bool:
    return words.finding_rules.is_listed(finding, value, kind) or bool(burnt({finding: value}))


def _told(words: Words, text: str, kind: str, symptoms: Sequence[str]) -> Aside:
    """What a customer would tell with these words: "hose clips tight", "lamp goes out when the door shuts"."""
    told, _ = with_doubt(told_in(text, kind, words.denying, words.doubting, words.determiners), kind)
    return told_aside(words, told, kind, symptoms)


def _pairs(aside: Aside) -> list[tuple[str, str]]:
    terms = [term for one in aside.heard if one.how == FINDING for term in one.terms]
    return [(name, value) for name, _, value in (term.partition("=") for term in terms)]


def _in_words(aside: Aside) -> list[Sentence | str]:
    seen: list[Sentence | str] = [
        sentence("answer.seen", finding=Finding(name), value=value_of(name, value)) for name, value in _pairs(aside)
    ]
    notes = [term for one in aside.heard if one.how == TOLD for term in one.terms if "=" not in term]
    return [*seen, *aside.complaints, *notes]


def _denied(words: Words, text: str, kind: str) -> list[Sentence]:
    """Complaints that were looked for and are not there: "no water on the floor"."""
    import pandas as pd

    read = words.find_symptoms(pd.Series([text], dtype="str"), pd.Series([kind], dtype="str"))
    if not read["is_negated"].all():
        return []
    return [sentence("answer.denied", complaint=str(term)) for term in read["symptom"]]


def _both_said(twice: tuple[str, str, str]) -> Sentence:
    finding, first, last = twice
    told = {"first": value_of(finding, first), "last": value_of(finding, last)}
    return sentence("answer.both_said", finding=Finding(finding), **told)


def _of_finding(words: Words, text: str, finding: str, value: str, *, is_told: bool) -> list[Sentence]:
    """What to tell of one finding: that no list knows it, or what it was read as."""
    if finding not in words.finding_rules.values:
        near = _nearest(finding, list(words.finding_rules.values))
        return [sentence("answer.own_finding", finding=Written(finding), near=near)]
    if finding in plain(text) or is_told:
        return []
    seen = sentence("answer.seen", finding=Finding(finding), value=value_of(finding, value))
    return [sentence("answer.read_as", text=Written(text), said=seen)]


def _nearest(name: str, known: Sequence[str]) -> Sentence | str:
    from rapidfuzz.process import extractOne

    near = extractOne(name, known, score_cutoff=75)
    return sentence("answer.did_you_mean", finding=Finding(near[0])) if near else ""
