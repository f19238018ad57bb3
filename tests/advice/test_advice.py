"""Advice found by search: planted patterns come back, chance does not, and overlaps are merged."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.advice.adopted import did_it_help
from models.advice.find import COLUMNS, CONDITIONS, find_advice, said
from tests.worlds.shared import times


def lines(*groups: dict[str, Any]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part lines in groups: ``wrong`` of ``of``, what they share, and the findings ("thing=value") known then."""
    rows: list[dict[str, Any]] = []
    seen: list[tuple[int, str, str]] = []
    for group in groups:
        for place in range(group["of"]):
            number = len(rows) + 1
            is_wrong = place < group["wrong"]
            plain = {
                "part_line_id": number * 1000 + 1, "visit_id": number, "part": "drain pump", "kind": "washing machine",
                "make": ["Velsund", "Pellmore"][place % 2], "main_symptom": "does not drain", "fault_code": None,
                "verdict": "not the cause" if is_wrong else "cured",
                "confirmed_cause": "partly blocked sump hose" if is_wrong else "drain pump seized",
                "total_cost": 100.0, "labour_minutes": 30.0, "trip_minutes": 35.0 if is_wrong else 0.0,
                "job_no": f"J{number}", "technician": "T", "visit_date": pd.Timestamp("2026-01-01") + pd.Timedelta(days=number),
            }  # fmt: skip
            known = {name: value for name, value in group.items() if name in plain}
            rows.append(plain | known)
            seen += [(number, *text.split("=")) for text in group.get("findings", ())]
    return pd.DataFrame(rows), pd.DataFrame(seen, columns=["visit_id", "finding", "value"])


def test_a_cause_leads_only_where_it_is_most_and_a_check_only_where_every_kind_has_it() -> None:
    looks = {
        ("washing machine", "worn brushes"): "check brushes",
        ("tumble dryer", "lint blockage"): "inspect lint path",
    }
    board = {"part": "control board", "main_symptom": "does not spin"}
    washer = board | {"confirmed_cause": "worn brushes", "wrong": 7, "of": 9, "technician": "A"}
    dryer = board | {"kind": "tumble dryer", "confirmed_cause": "lint blockage", "wrong": 7, "of": 9, "technician": "B"}
    others = [FILLER | {"technician": name} for name in "AB"]
    (row,) = found(washer, dryer, *others, look_first=looks)
    assert (row["suspects"], row["usually_count"]) == (["lint blockage", "worn brushes"], 7)
    assert row["look_first"] == "look for lint blockage or worn brushes"
    assert (row["count"], row["most_by_one"]) == (14, 7)
    (row,) = found(washer | {"wrong": 14, "of": 18}, *others, look_first=looks)
    assert (row["suspects"], row["look_first"]) == (["worn brushes"], "check brushes")
    assert row["most_by_one"] == 14
    (row,) = found(washer | {"wrong": 14, "of": 18, "technician": "T"}, FILLER)
    assert row["most_by_one"] == 0, "with one person in the workshop it says nothing"


FILLER = {"part": "door seal", "main_symptom": "leaks", "wrong": 4, "of": 200}


def found(*groups: dict[str, Any], **more: Any) -> list[dict[str, Any]]:
    return find_advice(*lines(*groups), **more).to_dict("records")


def test_the_designs_own_example_comes_back_with_all_it_needs() -> None:
    (row,) = found(
        {"wrong": 14, "of": 19, "findings": ["water left=no"]},
        {"wrong": 1, "of": 60, "findings": ["water left=yes"]},
        FILLER,
        look_first={("washing machine", "partly blocked sump hose"): "inspect sump hose"},
    )  # fmt: skip
    assert (row["part"], row["finding"], row["count"], row["of"]) == ("drain pump", "water left=no", 14, 19)
    assert [row[name] for name in CONDITIONS if name != "finding"] == [None] * 4, "the most general that explains it"
    assert row["low"] < row["share"] < 14 / 19, "what was picked for standing out is printed smaller than counted"
    assert row["low"] > row["usual"]
    assert row["p_adjusted"] < 0.001
    assert (row["lost"], row["minutes"]) == (1400.0, 14 * 65.0)
    assert 0 < row["money"] < 1400.0
    assert (row["trend"], row["recent_count"], row["recent_of"]) == ("steady", 14, 19)
    assert (row["usually"], row["look_first"]) == ("partly blocked sump hose", "inspect sump hose")
    assert row["jobs"] == [f"J{number}" for number in range(1, 15)]
    assert said(row) == "water left=no: inspect sump hose before fitting drain pump: 14 of 19 were not the cause"


def test_overlapping_patterns_are_merged() -> None:
    rows = found(
        {"wrong": 12, "of": 15, "main_symptom": "does not drain", "fault_code": "K07", "findings": ["water left=no"]},
        {
            "wrong": 11,
            "of": 15,
            "main_symptom": "stops before spin",
            "fault_code": "K07",
            "findings": ["water left=no"],
        },
        {"wrong": 0, "of": 40, "fault_code": "K07", "findings": ["water left=yes"]},
        FILLER,
    )
    assert [(row["finding"], row["count"], row["of"]) for row in rows] == [("water left=no", 23, 30)]


def test_two_different_habits_are_two_rows_most_money_first() -> None:
    rows = found(
        {"wrong": 12, "of": 16, "findings": ["water left=no"], "total_cost": 50.0},
        {"wrong": 0, "of": 30, "findings": ["water left=yes"]},
        {
            "part": "heating element",
            "kind": "tumble dryer",
            "main_symptom": "does not heat",
            "wrong": 11,
            "of": 20,
            "total_cost": 90.0,
        },
        {"part": "heating element", "kind": "washing machine", "main_symptom": "does not heat", "wrong": 0, "of": 60},
        FILLER,
    )
    assert [(row["part"], row["count"]) for row in rows] == [("heating element", 11), ("drain pump", 12)]
    assert rows[0]["kind"] == "tumble dryer"


def test_a_reading_not_taken_is_a_pattern_too() -> None:
    rows = found(
        {"wrong": 12, "of": 20},
        {"wrong": 0, "of": 60, "findings": ["pump winding=open"]},
        FILLER,
    )
    assert [(row["finding"], row["count"], row["of"]) for row in rows] == [("pump winding not recorded", 12, 20)]


def test_nothing_from_fewer_than_five_verdicts() -> None:
    assert found({"wrong": 4, "of": 4, "findings": ["water left=no"]}, {**FILLER, "wrong": 0}) == []
    assert len(found({"wrong": 5, "of": 5, "findings": ["water left=no"]}, {**FILLER, "wrong": 0})) == 1


def test_only_known_verdicts_count() -> None:
    frame, seen = lines({"wrong": 14, "of": 19, "findings": ["water left=no"]}, FILLER)
    open_ = frame.assign(verdict="still open", part_line_id=frame["part_line_id"] + 500)
    with_open = find_advice(pd.concat([frame, open_], ignore_index=True), seen)
    assert with_open.drop(columns="jobs").equals(find_advice(frame, seen).drop(columns="jobs"))


def test_a_workshop_with_many_wrong_parts_everywhere_has_no_pattern() -> None:
    assert found({"wrong": 15, "of": 50}, {**FILLER, "wrong": 60}) == []


def test_no_verdicts_no_findings_no_advice() -> None:
    frame, seen = lines({"wrong": 0, "of": 8})
    assert list(find_advice(frame, seen).columns) == list(COLUMNS)
    assert find_advice(frame, seen).empty
    assert find_advice(frame.iloc[:0]).empty
    assert len(find_advice(lines({"wrong": 9, "of": 12}, FILLER)[0], None)) == 1


@settings(deadline=None, max_examples=times(6))
@given(st.randoms(use_true_random=False))
def test_the_order_of_lines_does_not_matter(chance: Any) -> None:
    frame, seen = lines({"wrong": 14, "of": 19, "findings": ["water left=no"]}, {"wrong": 2, "of": 40}, FILLER)
    order = list(range(len(frame)))
    chance.shuffle(order)
    columns = ["part", *CONDITIONS, "count", "of", "money", "usually"]
    mixed = find_advice(frame.iloc[order], seen)[columns]
    assert mixed.to_dict("records") == find_advice(frame, seen)[columns].to_dict("records")


def test_findings_of_other_visits_alone_change_nothing() -> None:
    frame, seen = lines({"wrong": 14, "of": 19, "findings": ["water left=no"]}, {"wrong": 2, "of": 40}, FILLER)
    elsewhere = seen.assign(visit_id=seen["visit_id"] + 10_000)
    assert find_advice(frame, elsewhere).to_dict("records") == find_advice(frame).to_dict("records")


def chance_only(rng: np.random.Generator, share: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    size = 1000
    frame, _ = lines({"wrong": 0, "of": size})
    frame = frame.assign(
        part=rng.choice(["drain pump", "level sensor", "door seal", "heating element"], size),
        kind=rng.choice(["washing machine", "dishwasher"], size),
        make=rng.choice(["Velsund", "Pellmore", "Tavrik"], size),
        main_symptom=rng.choice(["does not drain", "leaks", "noisy"], size),
        fault_code=rng.choice(np.array(["K07", "K08", None], dtype=object), size),
        verdict=np.where(rng.random(size) < share, "not the cause", "cured"),
        confirmed_cause="other",
    )
    thing = rng.choice(["water left", "filter", "hose", "winding"], size)
    seen = pd.DataFrame({"visit_id": frame["visit_id"], "finding": thing, "value": rng.choice(["yes", "no"], size)})
    return frame, seen


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3])
def test_chance_makes_no_advice(share: float) -> None:
    rng = np.random.default_rng(5)
    worlds = [len(find_advice(*chance_only(rng, share))) > 0 for _ in range(times(10))]
    assert np.mean(worlds) <= 0.05


def test_said_without_conditions() -> None:
    row = dict.fromkeys(CONDITIONS) | {"part": "pump", "look_first": "look for x", "count": 5, "of": 6}
    assert said(row) == "look for x before fitting pump: 5 of 6 were not the cause"


ROW = dict.fromkeys(CONDITIONS) | {"part": "drain pump", "finding": "water left=no"}


def test_what_has_ended_says_so_and_stands_last() -> None:
    def two_years(**group: Any) -> list[dict[str, Any]]:
        old, new = pd.Timestamp("2025-01-10"), pd.Timestamp("2026-06-10")
        ended = {"part": "level sensor", "main_symptom": "leaks", "total_cost": 900.0}
        return [
            {"wrong": 9, "of": 12, "visit_date": old, **group}, {"wrong": 8, "of": 12, "visit_date": new, **group},
            {"wrong": 18, "of": 20, "visit_date": old, **ended}, {"wrong": 0, "of": 20, "visit_date": new, **ended},
            {**FILLER, "visit_date": old}, {**FILLER, "visit_date": new},
        ]  # fmt: skip

    rows = found(*two_years(findings=["water left=no"]))
    assert [(row["part"], row["trend"]) for row in rows] == [("drain pump", "steady"), ("level sensor", "ended")]
    assert rows[1]["money"] == 0


def test_one_weak_technician_with_most_of_a_kind_is_no_pattern() -> None:
    weak = {"technician": "W", "kind": "dishwasher", "wrong": 40, "of": 80}
    same_hand_elsewhere = {"technician": "W", "kind": "tumble dryer", "wrong": 41, "of": 80}
    others = {"technician": "X", "wrong": 20, "of": 300}
    assert found(weak, same_hand_elsewhere, others) == []
    own = found(weak, same_hand_elsewhere | {"wrong": 6}, others)
    assert [row["count"] for row in own] == [40], "wrong more often here than the same hand elsewhere"


DAY = pd.Timestamp("2026-01-01")


def before_and_after(
    before: tuple[int, int],
    after: tuple[int, int],
    *,
    others: tuple[int, int] = (20, 20),
    last: tuple[int, int] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.Timestamp]:
    """A year before the day and one after; of 200 lines of other parts so many wrong before and since."""
    told = {"findings": ["water left=no"]}
    rows = [
        {"wrong": before[0], "of": before[1], "visit_date": pd.Timestamp("2025-04-05"), **told},
        {"wrong": after[0], "of": after[1], "visit_date": pd.Timestamp("2026-06-01"), **told},
        {**FILLER, "wrong": others[0], "visit_date": pd.Timestamp("2025-04-05")},
        {**FILLER, "wrong": others[1], "visit_date": pd.Timestamp("2026-12-30")},
    ]
    if last is not None:
        rows.append({"wrong": last[0], "of": last[1], "visit_date": pd.Timestamp("2025-12-01"), **told})
    return *lines(*rows), DAY


def test_did_it_help_counts_before_and_since_with_newcombes_interval() -> None:
    # Newcombe 1998, Statist. Med. 17, 873-890, Table II, method 10: 56/70 less 48/80 is .0524 to .3339 (from memory)
    frame, seen, day = before_and_after((48, 80), (56, 70))
    answer = did_it_help(frame, ROW, day, seen)
    assert (answer.before, answer.before_of, answer.after, answer.after_of) == (48, 80, 56, 70)
    assert (answer.others_before, answer.others_before_of) == (20, 200)
    assert (answer.change, answer.low, answer.high) == pytest.approx((0.2, 0.0524, 0.3339), abs=5.1e-5)
    assert answer.state == "not followed"


@pytest.mark.parametrize(
    ("before", "after", "others", "last", "state"),
    [
        ((30, 40), (1, 40), (20, 20), None, "helped"),
        ((30, 40), (18, 60), (60, 20), None, "not followed"),
        ((30, 40), (8, 40), (60, 20), None, "no clear change"),
        ((30, 40), (2, 40), (20, 20), (1, 23), "fell before"),
        ((20, 40), (2, 40), (20, 20), (1, 5), "fell before"),
        ((20, 40), (2, 40), (20, 20), (3, 5), "helped"),
        ((30, 40), (7, 7), (20, 20), None, "not followed"),
        ((12, 12), (0, 2), (20, 20), None, "no clear change"),
        ((3, 4), (0, 3), (20, 20), None, "too little before"),
    ],
)
def test_each_case_has_its_own_answer(before, after, others, last, state) -> None:
    frame, seen, day = before_and_after(before, after, others=others, last=last)
    answer = did_it_help(frame, ROW, day, seen)
    assert answer.state == state
    assert answer.expected_anyway < before[0] / before[1] or state == "too little before"


def test_did_it_help_says_when_it_is_too_early() -> None:
    frame, seen, day = before_and_after((14, 19), (0, 3))
    answer = did_it_help(frame, ROW, day, seen, as_of=pd.Timestamp("2026-03-01"))
    assert answer.state == "too early"
    assert answer.said == "too early to say: 0 of 3 were not the cause since; at the pace before in about 5 more months"
    nothing = did_it_help(frame, ROW | {"part": "no such part"}, day, seen)
    assert np.isnan(nothing.change)
    assert np.isnan(nothing.expected_anyway)


def test_a_row_by_a_reading_not_taken_is_followed_too() -> None:
    frame, seen, day = before_and_after((14, 19), (4, 14))
    row = dict.fromkeys(CONDITIONS) | {"part": "door seal", "finding": "water left not recorded"}
    assert did_it_help(frame, row, day, seen).before_of == 200
    with pytest.raises(ValueError, match="findings are needed"):
        did_it_help(frame, row, day)
