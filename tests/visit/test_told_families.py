"""What is told in other words is read as it was meant; the lists were extended from these lines, which flatters."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline.call.question import Call
from pipeline.call.read_call import read_questions


def many(cell: str) -> set[str]:
    return set(cell.split("|")) - {""}


def test_families_are_read_and_nothing_is_invented(no_jobs):
    with (Path(__file__).parent / "told_families.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    questions = read_questions(
        no_jobs.words, no_jobs.database, [Call(row["kind"], complaint=row["complaint"]) for row in rows]
    )
    for row, question in zip(rows, questions, strict=True):
        found = {f"{name}={value}" for name, value in question.findings.items()}
        told = {term for piece in question.heard for term in piece.terms}
        assert many(row["complaints"]) <= set(question.symptoms), (row, question.symptoms)
        assert many(row["findings"]) <= found, (row, found)
        assert many(row["not"]).isdisjoint({*question.symptoms, *found, *(told - {"where it leaks=below"})}), row


@pytest.mark.parametrize(
    ("complaint", "gone"),
    [
        ("no heat from the bottom, top is fine", "oven element open circuit"),
        ("no heat from the top", "base element open circuit"),
        ("no heat at the back", "base element open circuit"),
    ],
)
def test_the_place_that_stays_cold_rules_the_other_elements_out(no_jobs, complaint, gone):
    assert gone in no_jobs.causes(kind="electric oven", complaint=complaint).question.cleared


@pytest.mark.parametrize(
    ("complaint", "parts"),
    [
        ("We had your man out in March, he put a pump in it, won't empty", "drain pump"),
        ("you were out at Easter, won't drain", "a part not named"),
        ("your lad has already been out, won't drain", "a part not named"),
        ("Ihr Kollege war im März schon da, won't drain", "a part not named"),
    ],
)
def test_an_earlier_visit_said_in_everyday_words_is_asked_about(no_jobs, complaint, parts):
    text = " ".join(no_jobs.causes(kind="washing machine", complaint=complaint).lines())
    assert "s this a callback?" in text
    assert parts in text


@pytest.mark.parametrize(
    "complaint", ["element was replaced in June, not heating", "not heating, new element in March"]
)
def test_a_part_renewed_in_a_month_is_told(no_jobs, complaint):
    text = " ".join(no_jobs.causes(kind="tumble dryer", complaint=complaint).lines())
    assert "renewed before, as told: heating element" in text


def test_an_appliance_that_the_customer_denies_is_asked_about_and_gets_no_plan(no_jobs):
    told = no_jobs.causes(
        kind="tumble dryer", complaint="washer leaking all over the floor, its the washing machine not the dryer"
    )
    assert [step.do for step in told.steps] == ["ask"]
    assert any("The call says tumble dryer" in line and "washing machine" in line for line in told.lines())
    assert not no_jobs.causes(kind="tumble dryer", complaint="noisy, not the element").question.other_kind


def test_a_dryer_of_untold_make_up_is_asked_about_and_not_referred_for_its_refrigerant(no_jobs):
    told = no_jobs.causes(kind="tumble dryer", complaint="takes ages to dry, filter is clear, lint path clear")
    assert "sk which it is, and ask again with it: vented dryer, condenser dryer, heat-pump dryer" in " ".join(
        told.lines()
    )
    assert all("refrigerant" not in step.name for step in told.steps)
    known = no_jobs.causes(kind="tumble dryer", complaint="vented, takes ages to dry")
    assert "ask again with it" not in " ".join(known.lines())


def test_a_make_nearly_written_as_one_on_record_is_offered(workshop):
    text = " ".join(workshop.causes(kind="washing machine", make="Brenick", complaint="won't drain").lines())
    assert "did you mean Brennick?" in text
    assert "did you mean" not in " ".join(
        workshop.causes(kind="washing machine", make="Brennick", complaint="won't drain").lines()
    )


def test_a_fridge_that_lay_on_its_side_was_newly_delivered(no_jobs):
    told = no_jobs.causes(
        kind="fridge-freezer", complaint="arrived yesterday lying on its side and we plugged it straight in, not cold"
    )
    assert told.causes[0].cause == "not left standing after transport"


def test_all_that_was_not_understood_is_told_in_the_line_too(no_jobs):
    told = no_jobs.causes(kind="tumble dryer", complaint="does not tumble, belt is fine qwertz plonk")
    assert any("qwertz" in text for text in told.question.not_understood)


def test_worktops_that_were_fitted_are_no_part_and_other_things_no_rings(no_jobs):
    told = no_jobs.causes(
        kind="induction hob", complaint="dead, other things in kitchen fine, just had worktops fitted last week"
    )
    assert told.question.is_newly_placed
    notes = {term for piece in told.question.heard for term in piece.terms}
    assert "the other rings work" not in notes
    assert "renewed before" not in notes
