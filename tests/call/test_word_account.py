"""Every word of a call is accounted for in the answer."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline.call.question import Call
from pipeline.call.read_call import read_questions
from pipeline.words import Words
from tests.worlds import written_findings


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en",))


def asked(words: Words, complaint: str, *found: str):
    return read_questions(words, None, [Call("washing machine", complaint=complaint, found=found)])[0]


def test_each_piece_says_what_it_was_taken_for(words: Words) -> None:
    question = asked(
        words,
        "customer says not draining, pump tested ok, filter clear; not leaking. compressor clicks, shows K07 please",
    )
    how = {piece.text: (piece.how, piece.terms) for piece in question.heard}
    assert how["customer says not draining"] == ("complaint", ("does not drain",))
    assert how["filter clear"] == ("finding", ("pump filter=clear",))
    assert how["not leaking"] == ("denied", ("leaks",))
    assert how["compressor clicks"] == ("not understood", ())
    assert how["shows K07 please"] == ("code", ("K07",))
    assert question.findings["pump filter"] == "clear"
    assert "compressor clicks" in question.not_understood


def test_filler_is_told_as_saying_nothing(words: Words) -> None:
    assert [piece.how for piece in asked(words, "hello, not draining").heard] == ["says nothing", "complaint"]


def test_a_piece_that_needs_its_neighbour_is_told_with_what_it_brought(words: Words) -> None:
    assert [piece.terms for piece in asked(words, "won't drain, spin").heard] == [
        ("does not drain",),
        ("does not spin",),
    ]


def test_what_is_found_wins_over_what_the_complaint_says(words: Words) -> None:
    assert asked(words, "not draining, filter clear", "pump filter=blocked").findings == {"pump filter": "blocked"}


def test_contradictions_and_names_nearly_known_are_told(words: Words) -> None:
    question = asked(words, "not draining", "water left=yes", "water left: no", "watter left=no", "draim hoze fit=odd")
    assert question.findings["water left"] == "no"
    assert question.remarks[:2] == (
        "water left: both yes and no were said; no counts",
        '"watter left=no" was read as water left no',
    )
    assert "draim hoze fit" in question.remarks[2]


def test_a_mended_word_is_told_and_a_word_spelt_right_is_not_mended(words: Words) -> None:
    question = asked(words, "draim pump hums, tries to empty")
    assert question.remarks == ('"draim" was read as "drain"',)
    assert "trips supply" not in question.symptoms
    for text in ("glasses were sparkling, I wiped them", "floppy hose, smells of frying"):
        assert not [remark for remark in asked(words, text).remarks if "was read as" in remark]


def test_120_ways_to_write_20_findings_are_read_as_a_load_reads_them(words: Words) -> None:
    """Through the calls that ``--found``, a visit step by step (``f …``) and a round make of what they are given."""
    ways = written_findings.written()
    questions = read_questions(words, None, [Call(kind, found=[text]) for kind, text, _, _ in ways])
    wrong = [
        (text, question.findings, question.not_understood)
        for (_, text, f, v), question in zip(ways, questions, strict=True)
        if question.findings != {f: v} or question.not_understood
    ]
    assert wrong == []


def test_findings_told_beside_a_complaint_or_a_code_are_taken() -> None:
    """The lists were extended from these very lines, which flatters."""
    with (Path(__file__).parent / "findings_beside_complaints.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    calls = [Call(row["kind"], complaint=row["complaint"], code=row["code"] or None) for row in rows]
    questions = read_questions(Words.load(("en", "de")), None, calls)
    wrong = [
        (row["complaint"], question.symptoms, question.findings)
        for row, question in zip(rows, questions, strict=True)
        if question.findings != dict(pair.split("=") for pair in row["findings"].split("|"))
        or not set(question.symptoms) <= {one for name in row["complaints"].split("|") for one in name.split("/")}
        or not question.symptoms
    ]
    assert wrong == []


@pytest.mark.parametrize(
    ("complaint", "nothing"),
    [
        ("not draining: gasket seems odd", "gasket seems odd"),
        ("won't spin (carrier bracket bent)", "carrier bracket bent"),
        ("leaks with the air tube magnetic", "with the air tube magnetic"),
    ],
)
def test_what_stands_beside_a_complaint_and_is_no_finding_is_told(words: Words, complaint: str, nothing: str) -> None:
    question = asked(words, complaint)
    assert [(piece.how, piece.text) for piece in question.heard][1:] == [("not understood", nothing)]
    assert any(word in nothing for word in question.not_understood)


def test_a_state_of_a_thing_is_no_second_complaint(words: Words) -> None:
    question = asked(words, "won't drain, pump noisy")
    assert question.symptoms == ("does not drain", "noisy")  # a noise of a pump is no finding that a check asks for
    assert read_questions(words, None, [Call("fridge", complaint="not cold, ice on the evaporator")])[0].symptoms == (
        "warm",
    )
