"""What an appliance of its make-up cannot have is neither suspected nor offered as an answer."""

from __future__ import annotations

import pytest

from pipeline.words.appliance import about
from pipeline.words.variants import is_ruled_out, ruled_out


@pytest.mark.parametrize(
    ("kind", "said", "gone", "stays"),
    [
        ("induction hob", "two zones dead, E9", "ceramic ring open circuit", "power module failed"),
        ("t/d", "takes forever to dry, the hose is straight", "heat-pump sealed system fault", "lint blockage in air path"),
        ("Abluft t/d", "takes forever to dry", "heat-pump sealed system fault", "lint blockage in air path"),
        ("fridge", "keeps running all the time", "start relay failed", "condenser dirty"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_not_suspected(no_jobs, kind, said, gone, stays):
    odds = no_jobs.causes(kind=kind.removeprefix("Abluft "), make=None, complaint=f"{said} {kind}").odds.causes
    assert odds.get(gone, 0.0) < 0.01 < odds[stays]


def test_words_that_speak_of_both_rule_nothing_out(no_jobs):
    rows = no_jobs.words.lists.variants
    assert ruled_out(rows, "tumble dryer", ["condenser dryer, drain hose"], ()) >= {"vent hose"}
    assert "tank not seated" not in ruled_out(rows, "tumble dryer", ["water in the tank, drain hose"], ())
    assert ruled_out(rows, "washing machine", ["hose leaks"], ()) == frozenset()


def test_causes_of_own_words_are_ruled_out_by_words():
    assert is_ruled_out("cold garage holds compressor off", {"compressor off"}, ())
    assert not is_ruled_out("compressor hot", {"compressor off"}, ())
    assert not is_ruled_out("oven lamp blown", {"lamp blown"}, {"oven lamp blown"})


@pytest.mark.parametrize(
    ("kind", "finding", "values"),
    [
        ("electric oven", "burnt part", ("none", "wiring", "board", "motor")),
        ("washing machine", "burnt part", ("none", "wiring", "board", "motor", "pump")),
        ("electric oven", "earth fault at", ("none", "element", "wiring")),
        ("washing machine", "earth fault at", ("none", "element", "motor", "pump", "mains filter", "wiring")),
    ],
)
def test_only_parts_that_a_kind_has_are_answers(no_jobs, kind, finding, values):
    assert next(card.values for card in about(no_jobs.words, kind).checks if card.finding == finding) == values


@pytest.mark.parametrize(("kind", "is_taken"), [("cooker", False), ("fridge-freezer", False), ("microwave oven", True)])
def test_what_is_built_in_or_too_heavy_is_not_taken_to_the_workshop(no_jobs, kind, is_taken):
    assert about(no_jobs.words, kind).goes_to_workshop is is_taken
