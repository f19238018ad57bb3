"""A note of several clauses tells what its clauses tell alone; an earth fault measured is overruled by nothing said."""

from __future__ import annotations

from collections import Counter
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import Workshop
from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.words import Words
from tests.worlds import written_findings

WASHER = "washing machine"
GERMAN = Words.load(("en", "de"))
NONSENSE = ("the banana is ginger", "zxqv", "my aunt likes cheese", "das Meerschweinchen singt", "blah blubb")
JOINS = (", ", "; ", " and ", " - ")
CLAUSES: dict[str, list[str]] = {}
for _kind, _text, _, _ in written_findings.written():
    CLAUSES.setdefault(_kind, []).append(_text)


def read(*found: str, kind: str = WASHER, complaint: str = "") -> Question:
    return read_questions(GERMAN, None, [Call(kind, complaint=complaint, found=found)])[0]


def told(question: Question) -> tuple[object, ...]:
    """What was told, up to order; clauses that say nothing stay as one where only "and" stands between them."""
    strange = Counter(clause for text in question.not_understood for clause in text.split(" and "))
    return question.findings, set(question.symptoms), question.cleared, question.is_newly_placed, set(strange)


@given(st.data())
def test_a_joined_note_tells_what_its_clauses_tell_alone(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(CLAUSES)))
    clause = st.one_of(st.sampled_from(CLAUSES[kind]), st.sampled_from(NONSENSE))
    clauses = data.draw(st.lists(clause, min_size=2, max_size=4, unique=True))
    joins = [data.draw(st.sampled_from(JOINS)) for _ in clauses[1:]]
    note = clauses[0] + "".join(join + text for join, text in zip(joins, clauses[1:], strict=True))
    assert told(read(note, kind=kind)) == told(read(*clauses, kind=kind))


@pytest.mark.parametrize("nonsense", NONSENSE)
@pytest.mark.parametrize("join", JOINS)
def test_nothing_of_a_note_is_lost_in_silence(nonsense: str, join: str) -> None:
    for note in (f"pump hums{join}{nonsense}", f"{nonsense}{join}pump hums"):
        question = read(note)
        assert question.findings == {"pump sound": "hums"}
        assert question.not_understood == (nonsense,)


@pytest.mark.parametrize(
    ("note", "findings", "strange"),
    [
        ("pump filter checked and clear", {"pump filter": "clear"}, ()),
        ("pump filter and sump hose clear", {"pump filter": "clear", "sump hose": "clear"}, ()),
        ("water left - no, pump - hums", {"water left": "no", "pump sound": "hums"}, ()),
        ("Flusensieb und Ablaufschlauch frei", {"pump filter": "clear", "drain hose": "clear"}, ()),
        ("filter was full of coins, cleaned it", {"pump filter": "clear"}, ()),
        ("filter was full of coins and I've cleaned it out", {"pump filter": "clear"}, ()),
        ("Flusensieb war voll, habe es gereinigt", {"pump filter": "clear"}, ()),
        ("filter blocked, not cleaned yet", {"pump filter": "blocked"}, ("not cleaned yet",)),
    ],
)
def test_clauses_that_say_more_together_stay_together(
    note: str, findings: dict[str, str], strange: tuple[str, ...]
) -> None:
    question = read(note)
    assert (question.findings, question.not_understood) == (findings, strange)


EARTH = "heater 0.2 meg to earth"


@pytest.mark.parametrize(
    "beside",
    ["heater good", "heater 25 ohms", "insulation good", "earth fault at=none", "holds with the heater off",
     "door lock ok", "element=good", "insulation=good", "Heizung ok", "Heizstab 25 Ohm"],
)  # fmt: skip
@pytest.mark.parametrize("join", [None, ", ", "; ", " and ", " - "])
def test_an_earth_fault_is_overruled_by_nothing_said_beside_it(beside: str, join: str | None) -> None:
    for pair in permutations((EARTH, beside)):
        question = read(*(pair if join is None else [join.join(pair)]), complaint="trips the breaker")
        assert question.findings["element"] == "to earth"
        assert question.findings["insulation"] == "low"
        assert question.findings.get("earth fault at") in (None, "element")
        assert not question.not_understood
    for question in (read(beside, complaint=f"trips the breaker, {EARTH}"), read(EARTH, complaint=f"trips, {beside}")):
        assert question.findings["element"] == "to earth"


def test_the_element_measured_to_earth_stays_likeliest_whatever_is_said(no_jobs: Workshop) -> None:
    for found in permutations((EARTH, "door lock ok", "holds with the heater off", "heater good")):
        answer = no_jobs.causes(kind=WASHER, complaint="trips the breaker", found=found)
        assert answer.causes[0].cause == "heating element to earth"
        assert answer.is_unsafe
        assert any("to earth counts" in line for line in answer.lines())


@pytest.mark.parametrize(
    ("kind", "note", "where"),
    [
        (WASHER, "RCD holds with the heater unplugged", "element"),
        (WASHER, "stays in with the element disconnected", "element"),
        (WASHER, "doesn't trip with the motor unplugged", "motor"),
        (WASHER, "no longer trips with the pump disconnected", "pump"),
        (WASHER, "unplugged the heater and it holds", "element"),
        (WASHER, "with the heater off, it holds", "element"),
        (WASHER, "without the heater it holds", "element"),
        (WASHER, "heater disconnected - breaker stays in", "element"),
        (WASHER, "ohne Heizung hält der FI", "element"),
        (WASHER, "FI bleibt drin mit abgeklemmter Heizung", "element"),
        (WASHER, "Heizung abgeklemmt, FI hält", "element"),
        (WASHER, "fliegt nicht raus wenn die Pumpe abgezogen ist", "pump"),
        ("dishwasher", "holds with the circulation pump unplugged", "motor"),
        ("electric oven", "doesn't trip with the fan element disconnected", "element"),
    ],
)
def test_what_holds_with_a_part_off_says_where_the_earth_fault_is(kind: str, note: str, where: str) -> None:
    assert read(note, kind=kind, complaint="trips the breaker").findings == {"earth fault at": where}


@pytest.mark.parametrize(
    "note",
    ["still trips with the heater off", "won't hold with the heater unplugged", "trips even with the heater off",
     "fliegt auch ohne Heizung"],
)  # fmt: skip
def test_what_trips_all_the_same_says_nothing_of_the_part_that_is_off(note: str) -> None:
    question = read(note, EARTH, complaint="trips the breaker")
    assert question.findings == {"element": "to earth", "insulation": "low"}
    assert note in question.not_understood


@pytest.mark.parametrize("note", ["motor runs fine with the belt off", "pump holds water with the hose off"])
def test_a_part_that_runs_with_another_off_has_no_earth_fault(note: str) -> None:
    assert "earth fault at" not in read(note, complaint="noisy").findings
