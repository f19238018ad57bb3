"""Every chart read as its specification: finding, labels, fields, words beside colour, and frames of no row and one."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
import pytest

from reports.charts import (
    callback_curve,
    causes,
    finished_chart,
    fix_by_month,
    next_fault,
    parts_missing,
    rates_apart,
    technicians,
    wrong_swaps,
)
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

WORDING = Wording("en", "GBP")

MONTHS = pd.DataFrame(
    {
        "month": pd.to_datetime(["2026-07-01", "2026-08-01", "2026-09-01", "2026-10-01"]),
        "fixed": [70, 50, 3, 5],
        "known": [100, 100, 5, 20],
        "not_yet_known": [0, 0, 0, 60],
        "rate": [0.7, 0.5, np.nan, 0.65],
        "low": [0.6, 0.4, np.nan, 0.5],
        "high": [0.78, 0.6, np.nan, 0.78],
        "is_provisional": [False, False, False, True],
        "usual": 0.6,
        "against": "same",
    }
)
CURVE = pd.concat(
    [
        pd.DataFrame({"period": period, "day": range(91), "incidence": np.linspace(0, end, 91)}).assign(
            low=lambda rows: rows["incidence"] * 0.8, high=lambda rows: rows["incidence"] * 1.2
        )
        for period, end in (("this", 0.09), ("last", 0.12))
    ],
    ignore_index=True,
).assign(against="less", late=3)
SWAPS = pd.DataFrame(
    {
        "part": ["drain pump", "level sensor", "drain pump"],
        "instead_of": ["partly blocked sump hose", "air tube or chamber blocked", None],
        "count": [14, 6, 1],
        "of": [19, 9, 19],
        "money": [1240.5, 460.0, 88.0],
        "is_ahead": [True, False, False],
        "minutes": [900.0, 300.0, 40.0],
    }
)
CAUSES = pd.DataFrame(
    {
        "kind": "washing machine",
        "complaint": ["does not drain", "does not drain", "leaks"],
        "cause": ["blocked pump filter", None, "torn door seal"],
        "count": [30, 10, 4],
        "of": [40, 40, 4],
        "is_ahead": [True, False, False],
        "share": [0.75, 0.25, 1.0],
        "low": [0.6, 0.14, 0.5],
        "high": [0.86, 0.4, 1.0],
    }
)
AGES = pd.DataFrame(
    {
        "value": ["under 2", "2 to 4", None],
        "fixed": [90, 30, 4],
        "known": [100, 60, 6],
        "rate": [0.9, 0.5, 0.67],
        "low": [0.83, 0.38, 0.3],
        "high": [0.94, 0.62, 0.9],
    }
)
MAKES = AGES.assign(
    value=["asterby", "brindle", "corvane"], words=["inside", "below", "few"], expected=[88.0, 42.0, 4.0]
)
PEOPLE = pd.DataFrame(
    {
        "technician": ["Zed", "Ann", "Mo"],
        "known": [120, 80, 4],
        "fixed": [90, 30, 3],
        "expected": [88.0, 56.2, 2.9],
        "adjusted": [0.74, 0.4, np.nan],
        "crude": [0.75, 0.375, 0.75],
        "low_998": [0.58, 0.5, 0.0],
        "low_95": [0.64, 0.6, 0.3],
        "high_95": [0.82, 0.8, 1.0],
        "high_998": [0.88, 0.86, 1.0],
        "words": ["inside", "below", "few"],
    }
)
TOGETHER = {"units": 3, "compared": 2, "unnamed": 5, "p_joint": 0.0004, "widened": 1.4}
PARTS = pd.DataFrame(
    {"part": ["drain pump", "door seal"], "fitted": [40, 12], "cured": [30, 11], "missing": [3, 7]}
).assign(is_ahead=False, days_waited=[9, 30], trip_money=[66.0, 154.0])
REPAIRS = pd.DataFrame(
    {
        "kind": ["washing machine"] * 3 + ["dishwasher"] * 2,
        "age": [1.0, 2.0, 3.0, 1.0, 2.0],
        "repairs": [0.1, 0.4, 0.9, 0.1, 0.3],
        "low": [0.05, 0.3, 0.7, 0.04, 0.2],
        "high": [0.2, 0.5, 1.1, 0.2, 0.45],
        "units": [200, 200, 200, 90, 90],
    }
)
AGAIN = pd.DataFrame(
    {"kind": ["washing machine", "dishwasher"], "chance": [0.21, np.nan], "low": [0.17, np.nan], "high": [0.25, np.nan]}
)

DRAWERS: dict[str, tuple[Callable[[pd.DataFrame], Picture], pd.DataFrame]] = {
    "fix_by_month": (lambda frame: fix_by_month.picture(frame, WORDING), MONTHS),
    "callback_curve": (lambda frame: callback_curve.picture(frame, WORDING, 30), CURVE),
    "wrong_swaps": (lambda frame: wrong_swaps.picture(frame, WORDING), SWAPS),
    "causes": (lambda frame: causes.picture(frame, WORDING, "washing machine", 1), CAUSES),
    "ages": (lambda frame: rates_apart.picture(frame, TOGETHER, WORDING, "age"), AGES),
    "makes": (lambda frame: rates_apart.picture(frame, TOGETHER, WORDING, "make"), MAKES),
    "technicians": (lambda frame: technicians.picture(frame, TOGETHER, WORDING), PEOPLE),
    "parts": (lambda frame: parts_missing.picture(frame, WORDING), PARTS),
    "next_fault": (lambda frame: next_fault.picture(frame, AGAIN, WORDING), REPAIRS),
}


def units(spec: dict[str, Any]) -> Iterator[tuple[dict[str, Any], str]]:
    """Give every drawn layer with the name of its data."""
    for layer in spec["layer"]:
        yield layer, layer.get("data", spec.get("data", {})).get("name", "")


def fields(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        if "field" in value:
            yield value
        for part in value.values():
            yield from fields(part)
    elif isinstance(value, list):
        for part in value:
            yield from fields(part)


@pytest.mark.parametrize("name", DRAWERS)
@pytest.mark.parametrize("rows", ["all", "one", "none"])
def test_spec_is_valid_titled_and_fed(name: str, rows: str) -> None:
    draw, frame = DRAWERS[name]
    shown = {"all": frame, "one": frame.head(1), "none": frame.head(0)}[rows]
    before = shown.copy(deep=True)
    picture = draw(shown)
    pd.testing.assert_frame_equal(shown, before)
    spec = picture.spec
    alt.Chart.from_dict(spec).to_dict(validate=True)
    assert spec["title"] == picture.title and not picture.title[0].islower()
    assert spec["description"] == picture.alt and len(picture.alt) > 20
    for layer, data in units(spec):
        records = spec["datasets"][data]
        for part in fields(layer["encoding"]):
            if records:
                assert part["field"] in records[0], (part, sorted(records[0]))
            assert part.get("type") in ("quantitative", "nominal", "ordinal", "temporal", None)
    json.dumps(spec, allow_nan=False)
    assert len(picture.table) == (
        len(shown) if name != "callback_curve" else len(shown[shown["day"].isin([7, 14, 30, 60, 90])])
    )


@pytest.mark.parametrize("name", DRAWERS)
def test_values_have_axes_with_words(name: str) -> None:
    draw, frame = DRAWERS[name]
    titles = {
        channel: [
            layer["encoding"][channel]["axis"]["title"]
            for layer, _ in units(draw(frame).spec)
            if layer["encoding"].get(channel, {}).get("axis")
        ]
        for channel in ("x", "y")
    }
    assert any(title for title in titles["x"] + titles["y"]), titles
    assert all(isinstance(title, str) or title is None for title in titles["x"] + titles["y"])


@pytest.mark.parametrize("name", DRAWERS)
def test_no_meaning_by_colour_alone(name: str) -> None:
    draw, frame = DRAWERS[name]
    spec = draw(frame).spec
    marks = [layer["mark"] for layer, _ in units(spec)]
    for layer, _ in units(spec):
        for channel in ("color", "fill", "stroke"):
            assert "scale" not in layer["encoding"].get(channel, {}), "colour encodes a field without words"
    assert any(mark["type"] == "text" for mark in marks), "no direct label"
    assert not any("legend" in part for layer, _ in units(spec) for part in fields(layer["encoding"]))
    palette = set(theme.LIGHT.values())
    used = {value for mark in marks for key in ("color", "fill", "stroke") if isinstance(value := mark.get(key), str)}
    assert used <= palette


@pytest.mark.parametrize("name", DRAWERS)
def test_every_mark_that_can_be_reached_says_its_sentence(name: str) -> None:
    draw, frame = DRAWERS[name]
    spec = draw(frame).spec
    speaking = [(layer, data) for layer, data in units(spec) if layer["mark"].get("aria") is not False]
    assert speaking
    for layer, data in speaking:
        assert layer["encoding"]["description"]["field"] == "said"
        assert all(record["said"] for record in spec["datasets"][data])


def test_fix_title_names_the_last_month_and_judges_only_beyond_chance() -> None:
    title = fix_by_month.picture(MONTHS, WORDING).title
    assert title == "Fixed at the first visit: 65% in October 2026, no clear change from the usual 60%"
    fallen = MONTHS.head(2).assign(rate=[0.7, 0.5], low=[0.6, 0.4], high=[0.78, 0.6], usual=0.7, against="down")
    assert "below the 70% that was usual" in fix_by_month.picture(fallen, WORDING).title


def test_provisional_months_are_hollow_and_dashed_and_said() -> None:
    spec = fix_by_month.picture(MONTHS, WORDING).spec
    points = next(layer for layer, _ in units(spec) if layer["mark"]["type"] == "point")
    assert points["encoding"]["fill"]["condition"] == {"test": "datum.is_provisional", "value": theme.LIGHT["paper"]}
    lines = [layer["mark"] for layer, _ in units(spec) if layer["mark"]["type"] == "line"]
    assert [mark.get("strokeDash") for mark in lines] == [None, [3, 4]]
    (records,) = spec["datasets"].values()
    assert "provisional" in records[-1]["said"] and records[-1]["settled"] is None


def test_month_under_ten_faults_is_in_the_table_alone() -> None:
    picture = fix_by_month.picture(MONTHS, WORDING)
    (records,) = picture.spec["datasets"].values()
    assert len(records) == 3
    assert picture.table.iloc[2].tolist()[1:5] == ["3", "5", "0", "too few for a rate"]


def test_swaps_name_the_pair_and_show_the_dearest_first() -> None:
    picture = wrong_swaps.picture(SWAPS.sample(frac=1, random_state=3), WORDING)
    assert picture.title == "The dearest wrong swap: drain pump, when it was partly blocked sump hose, 14 times"
    (records,) = picture.spec["datasets"].values()
    assert [record["words"] for record in records] == [
        "drain pump → partly blocked sump hose",
        "level sensor → air tube or chamber blocked",
        "drain pump → cause not yet named",
    ]
    assert records[0]["label"] == "£1,240 · 14 of 19"


def test_technicians_are_never_ranked_and_few_are_not_drawn() -> None:
    picture = technicians.picture(PEOPLE, TOGETHER, WORDING)
    assert picture.table.iloc[:, 0].tolist() == ["Ann", "Mo", "Zed"]
    assert picture.table.iloc[1].tolist()[-2:] == ["too few for a rate", "too few to say"]
    assert picture.title.startswith("One of 2 technicians lies outside what chance allows")
    assert picture.table.iloc[2].tolist()[-1] == "inside the spread of all", (
        "the limits are wider than chance draws them"
    )
    assert picture.title.endswith("(p under 0.001)")
    (records,) = picture.spec["datasets"].values()
    assert [record["words"] for record in records] == ["Ann", "Zed"]
    assert [record["low"] for record in records] == [0.6, 0.64], "the limits drawn are those of the test"
    said = technicians.notes(list(PEOPLE["words"]), TOGETHER, WORDING)
    assert "1.4 times as wide" in said[0]
    assert said[1:] == [
        "One technician has fewer than ten faults and is not drawn.",
        "5 faults have no technician recorded and are not compared.",
    ]


@pytest.mark.parametrize(
    ("words", "together", "title"),
    [
        ([], {"units": 0, "compared": 0}, "No technician is recorded, so nobody is compared"),
        (["inside"], {"units": 1, "compared": 1}, "All faults with a name are one technician's: there is nobody to compare with"),
        (["inside"] + ["few"] * 6, {"units": 7, "compared": 1}, "Too few faults to compare technicians: fewer than two of 7 have ten"),
        (
            ["inside"] * 2 + ["few"] * 5,
            {"units": 7, "compared": 2, "p_joint": 0.4},
            "All 2 technicians compared lie inside what chance allows. All together they differ no more than chance allows (p 0.40)",
        ),
        (
            ["inside"] * 57 + ["edge_low"] * 3,
            {"units": 60, "compared": 60, "p_joint": 0.03},
            "3 of 60 technicians lie at the edge of what chance allows, where 3.0 would by chance alone. "
            "All together they differ by more than chance (p 0.030)",
        ),
        (
            ["inside"] * 7,
            {"units": 7, "compared": 7, "p_joint": 0.012},
            "Technicians differ by more than chance (p 0.012), though none of 7 stands out from the rest",
        ),
    ],
)  # fmt: skip
def test_each_workshop_has_its_own_true_title(words: list[str], together: dict[str, float], title: str) -> None:
    assert technicians.title_of(words, together, WORDING) == title


def test_groups_under_ten_show_the_count_alone() -> None:
    picture = rates_apart.picture(AGES, TOGETHER, WORDING, "age")
    (records,) = picture.spec["datasets"].values()
    assert records[2]["label"] == "4 of 6" and records[2]["value"] is None
    assert picture.title.endswith("(p under 0.001): from 50% (2 to 4) to 90% (under 2)")
    alike = rates_apart.picture(AGES, TOGETHER | {"p_joint": 0.2}, WORDING, "age")
    assert alike.title == "By age the share fixed at the first visit differs no more than chance allows (p 0.20)"


def test_labels_are_kept_apart_in_order() -> None:
    places = finished_chart.spread_apart([0.5, 0.51, 0.9, 0.505, 0.1], 0.05)
    ordered = sorted(places)
    assert all(later - earlier >= 0.05 - 1e-9 for earlier, later in pairwise(ordered))
    assert [places[i] for i in (4, 0, 3, 1, 2)] == ordered


def test_page_colours_are_variables_and_data_is_left_alone() -> None:
    spec = {"mark": {"color": theme.LIGHT["main"]}, "datasets": {"d": [{"text": theme.LIGHT["main"]}]}}
    made = theme.for_page(spec)
    assert made["mark"]["color"] == "var(--main)"
    assert made["datasets"]["d"][0]["text"] == theme.LIGHT["main"]
    assert spec["mark"]["color"] == theme.LIGHT["main"]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2, success criterion 1.4.3."""

    def light(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    lighter, darker = sorted((light(one), light(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("palette", [theme.LIGHT, theme.DARK], ids=["light", "dark"])
def test_text_colours_stand_out_from_their_ground(palette: dict[str, str]) -> None:
    for text in ("ink", "soft", "main", "other", "third"):
        for ground in ("paper", "panel"):
            assert contrast(palette[text], palette[ground]) >= 4.5, (text, ground)
    assert contrast(palette["main"], palette["main-pale"]) >= 3
