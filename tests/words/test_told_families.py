"""Families of complaints and causes that were read as something else: parts that do not start, wetness, two causes."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.words import Words

WASHER, DISH, DRYER, FRIDGE, OVEN = "washing machine", "dishwasher", "tumble dryer", "fridge-freezer", "electric oven"


def said(kind: str, *texts: str) -> list[set[str]]:
    """Complaints of each text that are there."""
    column = pd.Series(texts, dtype="str")
    found = Words.load(("en", "de")).find_symptoms(column, pd.Series([kind] * len(texts)))
    found = found[~found["is_negated"]]
    return [set(found.loc[found["row"] == row, "symptom"]) for row in range(len(texts))]


def causes(kind: str, *texts: str) -> list[tuple[str, bool]]:
    table = Words.load().match("cause", pd.Series(texts, dtype="str"), pd.Series([kind] * len(texts)))
    return [(str(term), bool(is_listed)) for term, is_listed, _doubt in table.itertuples(index=False)]


@pytest.mark.parametrize("fails", ["never comes on", "won't start", "doesn't turn on", "dead", "did not even come on"])
@pytest.mark.parametrize(
    ("kind", "part", "complaint"),
    [
        (WASHER, "pump", "does not drain"),
        (WASHER, "heater", "does not heat"),
        (WASHER, "motor", "does not spin"),
        (DRYER, "motor", "drum does not turn"),
        (DRYER, "heater", "does not heat"),
        (FRIDGE, "compressor", "warm"),
        (DISH, "wash pump", "does not clean"),
    ],
)
def test_a_part_that_does_not_start_is_what_does_not_work(kind: str, part: str, complaint: str, fails: str) -> None:
    assert said(kind, f"{part} {fails}", f"the {part} {fails}") == [{complaint}] * 2


def test_an_appliance_that_does_not_start_is_dead_whatever_part_was_named_before() -> None:
    texts = ("won't start", "filter clean, won't start", "pump ok but it won't start", "fuse dead", "socket dead")
    assert said(WASHER, *texts) == [{"dead"}] * len(texts)
    assert said(WASHER, "Pumpe läuft nicht an") == [{"does not drain"}]
    assert said(DRYER, "fan never comes on") == [{"does not work"}], "no listed complaint hangs on it"


def test_wet_laundry_was_not_spun_and_a_wet_floor_leaks() -> None:
    laundry = (
        "laundry dripping wet when finished",
        "clothes sodden at the end",
        "washing sopping wet",
        "Wäsche klitschnass",
    )
    floor = (
        "water all over kitchen floor", "soggy floor under the soap drawer", "carpet soaked", "wet patch on the lino",
        "dripping underneath", "Wasser in der ganzen Küche",
    )  # fmt: skip
    assert said(WASHER, *laundry) == [{"does not spin"}] * len(laundry)
    assert said(WASHER, *floor) == [{"leaks"}] * len(floor)


@pytest.mark.parametrize("water", ["mucky", "dirty", "filthy", "smelly", "murky"])
def test_water_that_stands_inside_was_not_drained_and_water_outside_leaks(water: str) -> None:
    inside = (
        f"pool of {water} water at bottom",
        f"{water} water sitting in the tub",
        f"puddle of {water} water inside",
    )
    outside = (
        f"{water} water on the floor",
        f"pool of {water} water underneath",
        f"puddle of {water} water on the floor",
    )
    assert said(DISH, *inside) == [{"does not drain"}] * 3
    assert said(DISH, *outside) == [{"leaks"}] * 3


def test_barely_warm_does_not_heat() -> None:
    assert said(OVEN, "barely lukewarm", "tepid") == [{"does not heat"}] * 2


@pytest.mark.parametrize(
    "text",
    [
        "lint path blocked, cut-out tripped",
        "thermal cut-out tripped, poor airflow",
        "fluff everywhere, stat tripped",
        "blocked lint filter; toc gone",
        "cut-out tripped and filter full of lint",
    ],
)
def test_two_causes_are_the_listed_cause_that_holds_both(text: str) -> None:
    assert causes(DRYER, text) == [("thermal cut-out tripped by poor airflow", True)]


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (DRYER, "belt broken and roller worn"),
        (WASHER, "brushes worn and belt loose"),
        (WASHER, "pump seized, filter blocked"),
        (WASHER, "filter blocked, pump"),
        (WASHER, "seal torn, door catch broken"),
        (WASHER, "found pump seized and also carbon brushes worn right down"),
    ],
)
def test_two_causes_that_no_list_joins_stay_the_workshops_own(kind: str, text: str) -> None:
    assert causes(kind, text) == [(text, False)]


@pytest.mark.parametrize(
    ("kind", "text", "listed"),
    [
        (WASHER, "inlet hose leaking at tap", None),
        (DRYER, "vent hose crushed", None),
        (DRYER, "duct kinked", None),
        (WASHER, "drain hose kinked behind machine", "blocked drain hose or standpipe"),
        (WASHER, "hose loose at tap", "loose hose or clip"),
        (WASHER, "pump filter blocked, coins", "blocked pump filter"),
        (WASHER, "low pressure at tap", "tap closed or low pressure"),
        (DRYER, "condenser blocked with fluff", "lint blockage in air path"),
    ],
)
def test_where_something_is_names_no_cause(kind: str, text: str, listed: str | None) -> None:
    assert causes(kind, text) == [(listed or text, listed is not None)]
