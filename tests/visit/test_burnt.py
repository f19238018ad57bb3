"""What is seen burnt is what is put right: nothing has power before, and no other repair ends the visit."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.visit.plan_tree import tree
from pipeline.words.alarms import alarms
from pipeline.words.burnt import burnt
from pipeline.workshop import Workshop

ELSEWHERE = ("clear lint and air path", "fit drive belt", "close up and switch on", "fit bearing kit")


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    """A workshop without a job: the word lists alone."""
    path: Path = tmp_path_factory.mktemp("burnt") / "workshop.duckdb"
    with Workshop.open(path) as opened:
        yield opened


@pytest.mark.parametrize(
    ("kind", "found"),
    [
        ("t/d", "burnt part=motor or pump"),
        ("t/d", "burnt part=motor"),
        ("t/d", "burnt part=wiring"),
        ("t/d", "burnt part=terminal block"),
        ("t/d", "motor burnt out"),
        ("w/m", "burnt part=motor or pump"),
        ("w/m", "burnt part=element"),
        ("w/m", "burn marks on the board"),
        ("w/m", "scorched wiring"),
        ("d/w", "burnt part=pump"),
        ("microwave", "burnt part=board"),
    ],
)
def test_what_is_seen_burnt_is_put_right_and_nothing_has_power(workshop, kind, found) -> None:
    asked = workshop.causes(kind=kind, complaint="smells of burning", found=[found]).as_json()
    assert any(text.startswith("Do not energise") for text in asked["cautions"])
    for step in asked["steps"]:
        assert step["name"] not in ELSEWHERE
        assert not any(text.startswith("Power is on") for text in step["cautions"])
    assert any("no other repair ends the visit" in str(remark) for remark in asked["remarks"])


@pytest.mark.parametrize(
    ("kind", "found", "first"),
    [
        ("w/m", "burn marks on the board", "fit control board"),
        ("w/m", "control board=burnt", "fit control board"),
        ("t/d", "burnt part=motor", "fit drive motor"),
    ],
)
def test_the_repair_of_what_was_seen_burnt_comes_first_where_there_is_one(workshop, kind, found, first) -> None:
    asked = workshop.causes(kind=kind, complaint="smells of burning", found=[found]).as_json()
    assert asked["steps"][0]["name"] == first


def test_a_burnt_part_is_read_from_any_finding() -> None:
    assert burnt({"burnt part": "none", "wiring": "good", "drum": "free"}) == ()
    assert burnt({"burnt part": "plug", "drive motor": "burnt"}) == ("plug", "drive motor")


@pytest.mark.parametrize(
    ("kind", "complaint"),
    [
        ("w/m", "burning smell from the motor"),
        ("t/d", "burnt smell off the element"),
        ("d/w", "verbrannter Geruch von der Pumpe"),
    ],
)
def test_what_only_smells_is_looked_at_and_not_replaced(workshop, kind, complaint) -> None:
    asked = workshop.causes(kind=kind, complaint=complaint).as_json()
    assert asked["asked"]["found"] == []
    assert asked["steps"][0]["name"] == "look and smell for burnt parts"


def test_no_bearing_kit_goes_into_a_sealed_tub(workshop) -> None:
    asked = workshop.causes(kind="w/m", complaint="noisy", found=["drum=rough", "tub joint=sealed"]).as_json()
    assert "fit bearing kit" not in [step["name"] for step in asked["steps"]]
    assert asked["causes"][0]["cause"] == "worn bearings in a sealed tub"


@pytest.mark.parametrize("text", ["there was a bang", "loud hum then a bang", "it popped and now nothing", "exploded"])
def test_a_bang_is_heard(text) -> None:
    assert alarms([text], "microwave oven") == ("went bang",)


@pytest.mark.parametrize("text", ["loud banging when it spins", "makes a loud bang on spin", "no bang", "code flashes"])
def test_a_noise_of_turning_is_no_bang(text) -> None:
    assert alarms([text], "washing machine") == ()


@pytest.mark.parametrize("kind", ["microwave", "m/o", "mo"])
def test_nothing_has_power_after_a_bang_in_a_microwave(workshop, kind) -> None:
    asked = workshop.causes(kind=kind, complaint="there was a bang and now it doesn't heat").as_json()
    assert asked["cautions"][0].startswith("Bang")
    assert all(text[:14] == "Do not energis" for step in asked["steps"] for text in step["cautions"][:1])


def test_an_unknown_kind_is_asked_for_whatever_danger_is_told(workshop) -> None:
    answer = workshop.causes(kind="zonk", complaint="smells of burning, went bang")
    (step,) = answer.as_json()["steps"]
    assert step["do"] == "ask"
    cautions = " ".join(answer.as_json()["cautions"])
    assert all(
        text in cautions for text in ("Smell of gas", "high-voltage capacitor", "refrigerant", "Shock or tingle, smoke")
    )


def test_the_float_comes_first_where_water_stands_in_the_base(workshop) -> None:
    asked = workshop.causes(
        kind="d/w", code="E15", complaint="water in the base, pump keeps on even when off"
    ).as_json()
    assert asked["steps"][0]["name"] == "look for float tripped"
    assert asked["cautions"][0].startswith("Water in the base")


def test_a_code_does_not_take_the_question_of_danger_away(workshop) -> None:
    asked = workshop.causes(kind="d/w", code="E15", complaint="blah zonk").as_json()
    assert asked["cautions"][0].startswith("Shock or tingle, smoke")


def test_a_repair_that_a_reading_asks_for_stands_on_the_sheet_with_its_price(workshop) -> None:
    def steps(row):
        below = [branch["then"] for branch in row["branches"] if branch["then"]]
        return [*row["steps"], *(step for one in below for step in steps(one))]

    kinds = ["tumble dryer", "electric oven", "dishwasher", "washing machine"]
    visits = [workshop.causes(kind=kind, complaint="not heating").visit for kind in kinds]
    fitted = [step for visit in visits for step in steps(tree(visit)) if step["parts"]]
    assert any("do not energise" in step["caution_names"] for step in fitted)
    assert all(step["money"] > 0 for step in fitted)
