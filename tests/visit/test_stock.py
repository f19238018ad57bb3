"""Stock files: which part is which, how many are where, and faults told with their place."""

from __future__ import annotations

import shutil

import pytest

from pipeline import Workshop
from pipeline.call.question import Question
from pipeline.errors import UsageError
from pipeline.visit.stock import Parts, read_stock, unknown_parts
from pipeline.words import Words
from tests.worlds.visit_workshop import folder


@pytest.fixture(scope="module")
def words():
    return Words.load()


def stock(tmp_path, *lines):
    file = tmp_path / "stock.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    return file


def test_lines_are_read_with_their_places(words, tmp_path):
    lines = read_stock(words, stock(tmp_path, "part,kind,make,van,store", "pump,w/m,Tavrik,1,3", "", "drain pump,,,,2"))
    assert [(line.part.label, line.van, line.store) for line in lines] == [
        ("drain pump (washing machine Tavrik)", 1, 3),
        ("drain pump", 0, 2),
    ]


def test_the_closest_part_is_taken_and_one_that_is_of_another_make_is_not(words, tmp_path):
    rows = read_stock(
        words, stock(tmp_path, "part,kind,make,van,store", "pump,w/m,Tavrik,1,0", "pump,w/m,Ostrel,1,0", "pump,,,0,2")
    )
    parts = Parts(rows, {})
    assert parts.of("drain pump", Question("washing machine", make="Tavrik")).make == "Tavrik"
    assert parts.of("drain pump", Question("dishwasher", make="Tavrik")).label == "drain pump"
    assert parts.places("drain pump (washing machine Tavrik)") == (1, 0)
    assert parts.units()["drain pump"] == 2


def test_without_a_stock_parts_differ_by_kind_make_and_family():
    parts = Parts(None, {("fridge", "thermostat", "Tavrik", "TF5"): "THM-20"})
    fridge = parts.of("thermostat", Question("fridge", make="Tavrik", model_family="TF5"))
    oven = parts.of("thermostat", Question("electric oven"))
    assert fridge.label == "thermostat (fridge Tavrik TF5 THM-20)"
    assert oven.label == "thermostat (electric oven)"
    assert parts.units() is None


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (("part,van", "pump,many"), "line 2, column van"),
        (("part,store", "pump,1", "pump,-2"), "line 3, column store"),
        (("part,store", ",4"), "line 2, column part"),
        (("parts,store", "pump,1"), "no column"),
        (("part,shelf", "pump,1"), "line 1"),
        (("part,store", "pump,1,2"), "line 2"),
    ],
)
def test_a_fault_is_told_with_its_place_and_a_remedy(words, tmp_path, lines, told):
    with pytest.raises(UsageError) as fault:
        read_stock(words, stock(tmp_path, *lines))
    assert told in str(fault.value)


def test_one_call_counts_what_is_on_the_van_and_in_the_store(tmp_path):
    shutil.copy(folder() / "workshop.duckdb", tmp_path / "workshop.duckdb")
    with Workshop.open(tmp_path / "workshop.duckdb", read_only=True) as workshop:

        def asked():
            return workshop.causes(kind="washing machine", complaint="not draining")

        free = asked()
        stock(tmp_path, "part,van,store", "drain pump,1,0", "level sensor,0,2")
        told = {row["part"]: (row["on_van"], row["in_store"], row["worth_it"]) for row in asked().as_json()["carry"]}
        assert told["drain pump"] == (1, 0, True)
        assert told["level sensor"][:2] == (0, 2)
        assert all(row["on_van"] is None for row in free.as_json()["carry"])
        stock(tmp_path, "part,van,store", "drain pump,0,0")
        without = asked()
        assert not any(row.worth_it for row in without.visit.carry)
        assert any("drain pump" in remark for remark in without.visit.remarks)
        assert without.visit.visits > free.visit.visits


def test_what_is_nowhere_is_to_be_ordered_and_never_said_to_be_left(tmp_path):
    copy = shutil.copytree(folder(), tmp_path / "w")
    (copy / "stock.csv").write_text("part,van,store\ndrain pump,0,0\n", encoding="utf-8")
    with Workshop.open(copy / "workshop.duckdb", read_only=True) as opened:
        (line,) = [
            one for one in opened.causes(kind="w/m", complaint="not draining").lines() if one.startswith("Carry")
        ]
    carry, order, *left = line.split(". ")
    assert carry == "Carry: nothing of what is there"
    assert order.startswith("Order: drain pump ")
    assert not left


def test_lines_that_fit_one_call_are_pooled(words, tmp_path):
    rows = read_stock(
        words, stock(tmp_path, "part,kind,make,van,store", "pump,w/m,Tavrik,1,0", "pump,w/m,,0,2", "pump,,,0,1")
    )
    tavrik = [Question("washing machine", make="Tavrik") for _ in range(4)]
    other = Question("dishwasher", make="Ostrel")
    parts = Parts(rows, {})
    parts.share_out([(question, {"drain pump": p}) for question, p in zip(tavrik, (0.9, 0.8, 0.7, 0.6), strict=True)])
    given = [parts.of("drain pump", question).label for question in tavrik]
    assert given == ["drain pump (washing machine Tavrik)"] + ["drain pump (washing machine)"] * 2 + ["drain pump"]
    assert parts.of("drain pump", other).label == "drain pump"
    for_sure = Parts(rows, {})
    for_sure.share_out([(question, {"drain pump": 1.0}) for question in (*tavrik, other)])
    assert for_sure.of("drain pump", tavrik[0]).make == "Tavrik"
    assert [row.label for row in for_sure.fitting("drain pump", other)] == ["drain pump"]


def test_a_name_no_word_list_knows_is_told(words, tmp_path):
    rows = read_stock(words, stock(tmp_path, "part,store", "pump,1", "flux compensator,2"))
    assert unknown_parts(words, rows) == ["flux compensator"]
