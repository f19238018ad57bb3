"""What was seen, as it is written: findings and their values, what nobody knows, and what to tell of it."""

from __future__ import annotations

import re
from collections import Counter
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

from pipeline.call.alarms_in_call import with_doubt
from pipeline.call.remarks_in_call import told_aside
from pipeline.call.which_part import measured
from pipeline.call.word_account import FINDING, TOLD, pieces_of
from pipeline.words.burnt import burnt, only_smelt
from pipeline.words.customer_remarks import told_in
from pipeline.words.disconnected import may_tell, says_it_holds, says_off
from pipeline.words.vocabulary import plain
from reports.render.wording import Finding, Written, sentence, several, value_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.call.remarks_in_call import Aside
    from pipeline.words import Words
    from reports.render.wording import Sentence


_AND = re.compile(r"\s+(?:and|und)\s+", re.IGNORECASE)


class Looked(NamedTuple):
    """What was seen, of all texts together or of one clause."""

    seen: list[tuple[str, str, str]]
    """Text, finding and value, in turn."""
    strange: list[str]
    """Clauses that say nothing known."""
    remarks: list[Sentence]
    """What to tell: names that no list knows but that are nearly known, what words were read as."""
    complaints: list[str]
    """Complaints that what was seen is: a child lock that is set."""
    notes: frozenset[str]
    cleared: frozenset[str]
    """Causes that it rules out."""

    def tells(self) -> Counter[str]:
        """Findings and notes, whatever the words."""
        seen = (f"{finding}={value}" for _, finding, value in self.seen)
        return Counter(chain(seen, self.notes))


def read_findings(words: Words, found: Sequence[str], kind: str, symptoms: Sequence[str]) -> Looked:
    """Read what was seen, clause by clause: as the check's own finding, else as what a customer tells.

    A note of several clauses tells what they tell alone; what one leaves open stays with its neighbour (`_together`).
    """
    whole = Looked([], [], [], [], frozenset(), frozenset())
    for text in found:
        for clause in _clauses(words, text, kind, symptoms):
            looked = _cleaned(words, whole, clause) or _read(words, clause, kind, [*symptoms, *whole.complaints])
            whole = Looked(
                whole.seen + looked.seen,
                whole.strange + looked.strange,
                whole.remarks + looked.remarks,
                whole.complaints + looked.complaints,
                whole.notes | looked.notes,
                whole.cleared | looked.cleared,
            )
    return whole


def both_said(twice: tuple[str, str, str]) -> Sentence:
    """Say of a finding that two values were told, and which counts."""
    finding, first, last = twice
    told = {"first": value_of(finding, first), "last": value_of(finding, last)}
    return sentence("answer.both_said", finding=Finding(finding), **told)


class _Clause(NamedTuple):
    """A clause as it is read, and where it stands in its note."""

    text: str
    begin: int
    end: int


def _clauses(words: Words, text: str, kind: str, symptoms: Sequence[str]) -> list[str]:
    """Cut a note into clauses that are read one by one, those left together that say more than alone.

    What a mark divides is looked at before what "and" does: "pump - hums and filter - clear".
    """
    clauses, end = list[_Clause](), 0
    for piece in pieces_of(text):
        begin = text.index(piece, end)
        end = begin + len(piece)
        clauses.append(_Clause(piece, begin, end))
    for of_and in (False, True):
        left = clauses[:1]
        for after in clauses[1:]:
            is_and = _AND.fullmatch(text[left[-1].end : after.begin]) is not None
            whole = text[left[-1].begin : after.end]
            way = (
                ""
                if is_and != of_and
                else _together(words, left[-1].text, after.text, whole, kind, symptoms, is_and=is_and)
            )
            left[-1:] = [_Clause(way, left[-1].begin, after.end)] if way else [left[-1], after]
        clauses = left
    return [clause.text for clause in clauses]


def _together(
    words: Words, one: str, after: str, whole: str, kind: str, symptoms: Sequence[str], *, is_and: bool
) -> str:
    """Give two neighbours as one clause where only together they say what was seen; "" = each says its own.

    So do the name of a finding and its value, what was disconnected and that it holds, a thing and the state behind it
    ("pump filter checked and clear"), several things in one state ("pump and hose clear"), and what customers tell in
    one breath ("light and fan working").
    """
    is_off = (says_off(one) and says_it_holds(after)) or (says_it_holds(one) and says_off(after))
    is_name = plain(one).strip() in words.finding_rules.values
    is_thing, is_state = words.names_only(one), not words.things_in(after, kind)
    if _is_of_cleaning(words, after) or not (is_off or is_name or is_and or (is_thing and is_state)):
        return ""
    ways = [f"{one} {after}"] if is_off else [whole] if is_and else [whole, f"{one} {after}"]
    alone = [_read(words, text, kind, symptoms) for text in (one, after)]
    if is_and and not is_off and alone[0].strange and alone[1].strange:
        return whole
    told = alone[0].tells() | alone[1].tells()
    is_of_one = (is_and or is_name) and bool(alone[1].strange and words.states_in(after))
    for looked, way in ((_read(words, way, kind, symptoms), way) for way in ways):
        is_more = looked.tells() != told
        if looked.strange or not looked.tells() or not (is_more or is_of_one):
            continue
        if is_off or is_name or ((is_thing or is_state) and told <= looked.tells()):
            return way
    return ""


def _cleaned(words: Words, before: Looked, clause: str) -> Looked | None:
    """Read "cleaned it" of what was found blocked right before: it is clear now, and was not all that ailed it."""
    if not before.seen or not _is_of_cleaning(words, clause):
        return None
    text, finding, value = before.seen[-1]
    rules = words.finding_rules
    clear = rules.value_of(finding, ("clear",))
    if clear is None or value not in {rules.value_of(finding, (state,)) for state in ("blocked", "dirty")}:
        return None
    before.seen.pop()
    said = sentence("answer.seen", finding=Finding(finding), value=value_of(finding, clear))
    remark = sentence("answer.read_as", text=Written(f"{text}, {clause}"), said=said)
    return Looked([(text, finding, clear)], [], [remark], [], frozenset(), frozenset())


def _is_of_cleaning(words: Words, clause: str) -> bool:
    forms = [form for cues in words.lists.cues.values() for form in cues.get("note", {}).get("cleaned", ())]
    return any(re.fullmatch(form, plain(clause).strip()) for form in forms)


def _read(words: Words, text: str, kind: str, symptoms: Sequence[str]) -> Looked:
    """Read one clause."""
    read = [pair for pair in words.findings_in(text, kind) if not only_smelt(text, "=".join(pair))]
    part = measured(words, text, kind)
    complaints, remarks = list[str](), list["Sentence"]()
    notes, cleared = frozenset[str](), part.cleared
    is_known = any(_is_known(words, *pair, kind) for pair in read)
    said: Sequence[Sentence | str] = ()
    if is_known:
        read = [pair for pair in read if not _is_told_better(words, pair, read, kind)]
    elif part.good and "=" not in text:
        read, said = [], [f"{part.good} is good"]
    elif "=" not in text:
        aside = _told(words, text, kind, symptoms)
        trips = may_tell(text) and not says_it_holds(text)  # "still trips with the heater off"
        pairs, said = _pairs(aside), [*_in_words(aside), *([] if trips else _denied(words, text, kind))]
        read = pairs if said else read
        complaints, notes, cleared = [*aside.complaints], aside.notes, cleared | aside.cleared
        remarks += aside.remarks
    is_strange = not said and (not read or ("=" in text and any(n not in words.finding_rules.values for n, _ in read)))
    if said:
        remarks.append(sentence("answer.read_as", text=Written(text), said=several(said, ", ")))
    remarks += [one for pair in read for one in _of_finding(words, text, *pair, is_told=bool(said))]
    return Looked([(text, *pair) for pair in read], [text] * is_strange, remarks, complaints, notes, cleared)


def _is_told_better(words: Words, own: tuple[str, str], read: Sequence[tuple[str, str]], kind: str) -> bool:
    """Whether a finding no list knows is of a thing of which the same clause tells a known one: "element 0.2 meg"."""
    rules = words.finding_rules
    known = [pair for pair in read if _is_known(words, *pair, kind)]
    return own not in known and any(own[0] in rules.named_beside(*pair, "") for pair in known)


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
