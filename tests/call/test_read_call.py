"""What is told in passing is read as told: which glass, which side, what works, whose language."""

from __future__ import annotations

import pytest

from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.words import Words


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en",))


def asked(words: Words, kind: str, complaint: str) -> Question:
    return read_questions(words, None, [Call(kind, complaint=complaint)])[0]


@pytest.mark.parametrize(
    ("kind", "complaint", "symptoms", "findings"),
    [
        (
            "cooker",
            "one ring dead and the oven door glass is shattered",
            ("glass cracked", "ring dead"),
            {"door glass": "broken"},
        ),
        ("cooker", "hob glass cracked right across", ("glass cracked",), {"hob glass test": "cracked"}),
        ("induction hob", "two zones on the left dead", ("zone dead",), {}),
        ("induction hob", "both right rings dead", ("zone dead",), {}),
        ("electric hob", "both left rings dead", ("ring dead",), {}),
        ("electric oven", "not heating, light and fan working", ("does not heat",), {"oven fan": "turns"}),
        ("fridge-freezer", "fridge warm, freezer cold. Frost free", ("warm",), {"compressor": "runs"}),
        ("fridge", "clicks every few minutes, not cold", ("warm",), {"compressor": "clicks"}),
        ("dishwasher", "humming all the time, won't start", ("dead",), {"socket": "live"}),
        ("washing machine", "door light never comes on, door won't lock", ("door does not open or lock",), {}),
        ("washing machine", "stops full of water", ("does not drain",), {"water left": "yes"}),
        ("dishwasher", "stopped mid cycle full of water", ("does not drain",), {}),
        ("washing machine", "no lights come on", ("dead",), {}),
        ("washing machine", "power light doesn't come on", ("dead",), {}),
        ("washing machine", "not emptying (cleaned the filter)", ("does not drain",), {"pump filter": "clear"}),
        ("vacuum cleaner", "no suction, hose not split", ("no suction",), {"hose": "whole"}),
        ("tumble dryer", "runs for ten minutes then stops, filter's clean", ("stops early",), {"lint path": "clear"}),
        ("fridge-freezer", "fridge is 12 degrees, fan can't be heard", ("warm",), {"fan": "silent"}),
        ("electric oven", "takes an hour to get hot", ("slow or uneven",), {}),
        ("washer-dryer", "trips RCD only on the dry cycle", ("trips supply",), {}),
        ("electric hob", "induction: right front zone won't heat, pan fine", ("zone dead",), {"pan": "magnetic"}),
        ("electric oven", "not heating, door glass ok", ("does not heat",), {"door glass": "whole"}),
    ],
)
def test_what_is_told_in_passing_is_read(words: Words, kind: str, complaint: str, symptoms, findings) -> None:
    question = asked(words, kind, complaint)
    assert question.symptoms == symptoms
    assert question.findings == findings


def test_a_microwave_door_that_must_be_slammed_is_a_danger(words: Words) -> None:
    assert asked(words, "microwave oven", "no heat. Door has to be slammed.").symptoms[0] == "door does not shut"


def test_water_near_a_plug_is_no_place_where_it_leaks(words: Words) -> None:
    question = asked(words, "dishwasher", "puddle in front, the water's come near the plug under the sink")
    assert question.symptoms[0] == "water at the mains"
    assert "where it leaks" not in question.findings


def test_a_kind_named_in_a_language_that_is_not_switched_on_is_known_and_the_setting_is_named(words: Words) -> None:
    question = asked(words, "Waschmaschine", "Pumpt nicht ab, es riecht verschmort")
    assert question.kind == "washing machine"
    assert "smells of burning" in question.symptoms
    assert any('locale = "de"' in str(remark) for remark in question.remarks)


def test_a_finding_that_no_list_knows_is_told_as_not_understood(words: Words) -> None:
    (question,) = read_questions(words, None, [Call("washing machine", complaint="leaks", found=["banana=yes"])])
    assert "banana=yes" in question.not_understood
    (question,) = read_questions(words, None, [Call("washing machine", complaint="leaks", found=["belt=good"])])
    assert question.not_understood == ()


def test_a_text_whose_words_are_all_told_is_not_told_once_more(words: Words) -> None:
    assert asked(words, "washing machine", "zzz qqq").not_understood == ("zzz", "qqq")
