"""Verdict on every part fitted, its evidence and its cost; the training examples."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import duckdb
import pytest

from pipeline.upkeep.review import cures_to_decide
from tests.worlds.small_workshop import broken, column, separate, visit, workshop

DRAIN, LEAK = ["does not drain"], ["leaks"]
PUMP, SENSOR = "drain pump seized", "level sensor fault"


def evidence(connection: duckdb.DuckDBPyConnection) -> list[str]:
    return column(connection, "select evidence from part_verdict order by part_line_id")


FIX = visit(0, symptoms=DRAIN, cause=PUMP, parts=["drain pump"])
NAMED = FIX | {"job_no": "J1"}
WRONG = [
    visit(0, symptoms=DRAIN, parts=["drain pump"]),
    visit(9, symptoms=DRAIN, cause=SENSOR, parts=["level sensor"]),
]
SWITCHES = visit(0, kind="microwave oven", cause="fuse blown by door switches", parts=["door switch set", "fuse"])
GIVEN_UP = visit(9, "beyond economic repair", symptoms=DRAIN, cause=SENSOR)
JUDGED: dict[str, list[tuple[list[dict[str, Any]], list[str]]]] = {
    "fitted again is not a wrong swap": [
        ([FIX, visit(5, symptoms=DRAIN, cause=PUMP, parts=["drain pump"])], ["fitted again", "cured"]),
    ],
    "several parts at the cure share the credit unless the cause needs them all": [
        ([visit(0, cause=PUMP, parts=["drain pump", "level sensor"])], ["shared credit"] * 2),
        ([SWITCHES], ["cured"] * 2),
        ([visit(0, cause=PUMP, parts=["drain pump", "drain pump"])], ["cured"] * 2),  # one part on two lines
        ([visit(0, cause="own words", parts=["drain pump", "fuse"])], ["shared credit"] * 2),
    ],
    "a different fault on the unit says nothing about the part": [
        ([FIX, visit(9, symptoms=LEAK, cause="loose hose")], ["cured"]),
    ],
    "a return caused by the repair does not blame the part": [  # the first complaint is gone: a hose was left loose
        ([NAMED, visit(3, symptoms=LEAK, cause="loose hose", callback_of="J1")], ["cured"]),
    ],
    "a return that tells nothing counts as the same complaint": [
        ([NAMED, visit(3, cause="blocked filter", callback_of="J1")], ["not the cause"]),
    ],
    "what was only diagnosed blames no part": [  # no cure has proved it
        ([WRONG[0], GIVEN_UP], ["still open"]),
    ],
    "a cut-out beside the lint that may have tripped it stays open": [
        ([visit(0, kind="tumble dryer", cause="lint blockage", parts=["cut-out kit"])], ["still open"]),
        ([visit(0, kind="tumble dryer", cause="lint blockage", parts=["fuse"])], ["not the cause"]),
    ],
    "the cure list of another kind says nothing": [
        ([visit(0, kind="dishwasher", cause=PUMP, parts=["drain pump"])], ["still open"]),
    ],
}


def verdicts(histories: list[list[dict[str, Any]]], **more: Any) -> list[list[str]]:
    """Verdicts on the parts of each history, all judged in one workshop."""
    connection = workshop(*separate(histories), **more)
    assert broken(connection) == {}
    rest = iter(column(connection, "select verdict from part_verdict order by part_line_id"))
    return [[next(rest) for one in history for _ in one.get("parts", [])] for history in histories]


@pytest.fixture(scope="module")
def found() -> dict[str, list[list[str]]]:
    """Verdicts of all histories of ``JUDGED``."""
    made = iter(verdicts([history for rows in JUDGED.values() for history, _ in rows]))
    return {rule: [next(made) for _ in rows] for rule, rows in JUDGED.items()}


@pytest.mark.parametrize("rule", JUDGED)
def test_which_verdict_a_part_gets(found: dict[str, list[list[str]]], rule: str) -> None:
    assert found[rule] == [wanted for _, wanted in JUDGED[rule]]


def test_cured_and_not_the_cause_only_when_follow_up_is_over() -> None:
    histories = [[FIX], WRONG]
    assert verdicts(histories, until=39) == [["cured"], ["not the cause", "cured"]]
    assert verdicts(histories, until=38) == [["cured"], ["still open", "still open"]]
    assert verdicts([[FIX]], until=30) == [["cured"]]
    assert evidence(workshop(FIX, until=29)) == [
        "fitted at visit 1; visit 1 ended it 29 days ago, and 30 are needed to know"
    ]


def test_not_the_cause_when_the_complaint_came_back_and_another_cause_was_cured() -> None:
    connection = workshop(
        visit(0, symptoms=DRAIN, cause=PUMP, parts=["drain pump"]), visit(9, symptoms=DRAIN, cause="blocked filter")
    )
    assert column(connection, "select verdict from part_verdict") == ["not the cause"]
    assert evidence(connection) == [
        'fitted at visit 1; the complaint stayed or came back; visit 2 ended it; confirmed cause "blocked filter", '
        "which this part does not cure"
    ]


def test_the_right_part_whose_complaint_came_back_is_left_open() -> None:
    connection = workshop(
        visit(0, "not fixed", symptoms=DRAIN, parts=["drain pump"]), visit(3, symptoms=DRAIN, cause=PUMP), until=100
    )
    assert column(connection, "select verdict from part_verdict") == ["still open"]
    assert "the part cures the cause confirmed later" in evidence(connection)[0]


def test_a_cause_cured_without_a_part_at_the_same_visit_leaves_the_part_to_blame_for_its_own_price() -> None:
    connection = workshop(
        visit(0, symptoms=DRAIN, cause="blocked filter", parts=[("drain pump", 34.0)], labour_charge=40.0)
    )
    assert connection.execute("select verdict, trip_cost, total_cost from part_verdict").fetchall() == [
        ("not the cause", 0.0, 34.0)
    ]


def test_what_the_cure_list_does_not_know_is_asked_not_assumed() -> None:
    own_cause = visit(0, cause="gremlins", parts=["drain pump"])
    pair = visit(0, serial="S2", cause=SENSOR, parts=["drain pump"])
    own_part = [
        visit(0, serial="S3", symptoms=DRAIN, parts=["gizmo"]),
        visit(5, serial="S3", symptoms=DRAIN, cause=SENSOR),
    ]
    no_cause = visit(0, serial="S4", parts=["drain pump"])
    guess = visit(0, serial="S5", cause=PUMP, cause_is_confirmed=False, parts=["drain pump"])
    connection = workshop(own_cause, pair, *own_part, no_cause, guess)
    assert column(connection, "select verdict from part_verdict") == ["still open"] * 5
    assert connection.execute(
        "select cause, part, verdicts, job_no from cure_to_review order by cause, part"
    ).fetchall() == [
        ("gremlins", "drain pump", 1, "J1"),
        (SENSOR, "drain pump", 1, "J2"),
        (SENSOR, "gizmo", 1, "J3"),
    ]
    assert ["see review" in text for text in evidence(connection)] == [True, True, True, False, False]


def test_review_asks_about_a_known_part_that_seems_to_have_cured_a_known_cause() -> None:
    connection = workshop(
        visit(0, cause=SENSOR, parts=["drain pump"]),
        visit(0, serial="S2", cause=SENSOR, parts=["gizmo"]),
        visit(0, serial="S3", cause=PUMP, parts=["drain pump"]),
    )
    asked = cures_to_decide(SimpleNamespace(connection=connection))
    assert asked[["list", "written", "uses", "example", "suggestion"]].values.tolist() == [
        ["cure", SENSOR, 1, "job J1", "drain pump"]
    ], "an own part word is asked as a word first, a listed pair not at all"


def test_what_a_decision_adds_to_the_cure_list_is_used() -> None:
    import sql

    connection = workshop(visit(0, cause="gremlins", parts=["gizmo"]))
    connection.execute("insert into cure values ('washing machine', 'gremlins', 'gizmo', 'review')")
    sql.rebuild(connection)
    assert column(connection, "select verdict from part_verdict") == ["cured"]
    assert column(connection, "select count(*) from cure_to_review") == [0]


def test_cost_is_part_and_labour_and_the_further_trip_shared_by_the_lines_of_the_visit() -> None:
    connection = workshop(
        visit(0, symptoms=DRAIN, parts=[("drain pump", 34.0), ("door seal", None)], labour_minutes=60.0),
        visit(9, symptoms=DRAIN, cause=SENSOR, parts=[("level sensor", 26.0)], labour_charge=50.0),
    )
    assert connection.execute(
        "select part_cost, labour_cost, trip_cost, total_cost, labour_minutes, trip_minutes"
        " from part_verdict order by part_line_id"
    ).fetchall() == [
        (34.0, 24.0, 11.0, 69.0, 30.0, 17.5),
        (None, 24.0, 11.0, 35.0, 30.0, 17.5),
        (26.0, 50.0, 0.0, 76.0, None, 0.0),
    ]


def test_a_line_without_a_price_takes_its_share_of_the_visits_parts_money() -> None:
    connection = workshop(visit(0, parts=[("a", 10.0), ("b", None), ("c", None)], parts_cost=40.0))
    assert column(connection, "select cost from part_fitted order by part_line_id") == [10.0, 15.0, 15.0]


def test_an_example_is_a_cured_mature_episode_with_what_was_known_up_to_the_cure() -> None:
    connection = workshop(
        visit(
            0,
            "part needed",
            symptoms=["does not drain", "-leaks"],
            codes=["K07"],
            findings=["water left=yes", "?filter=clear"],
            age_years=3.0,
        ),
        visit(
            2,
            symptoms=DRAIN,
            findings=["water left=no"],
            cause=SENSOR,
            parts=["level sensor"],
            labour_minutes=20.0,
            job_no="J7",
        ),
        visit(0, serial="S2", cause=PUMP, cause_is_confirmed=False),
        visit(350, serial="S3", cause=PUMP),
        visit(0, "beyond economic repair", serial="S4", cause=PUMP),
    )
    assert connection.execute(
        "select episode_id, symptoms, codes, findings, cause, visits, labour_minutes, age_years, job_no"
        " from cause_example"
    ).fetchall() == [(1, ["does not drain"], ["K07"], ["water left=no"], SENSOR, 2, 20.0, 3.0, "J7")]


def test_an_example_with_nothing_noted_has_empty_lists_and_no_label_comes_from_what_was_swapped_first() -> None:
    connection = workshop(*separate([[visit(0, cause=PUMP)], [FIX, visit(9, symptoms=DRAIN, cause="blocked filter")]]))
    told = connection.execute("select symptoms, codes, findings, cause from cause_example order by episode_id")
    assert told.fetchall() == [([], [], [], PUMP), (DRAIN, [], [], "blocked filter")]


def test_labour_that_customers_pay_is_not_lost() -> None:
    wrong = (
        visit(0, symptoms=DRAIN, parts=["drain pump"], labour_charge=60.0),
        visit(9, symptoms=DRAIN, cause=SENSOR, parts=["level sensor"]),
    )
    costs = [
        workshop(*wrong, wrong_labour_billed=is_billed)
        .execute("select labour_cost, total_cost from part_verdict where part = 'drain pump'")
        .fetchall()
        for is_billed in (False, True)
    ]
    ((lost_labour, lost),), ((billed_labour, billed),) = costs
    assert lost_labour == billed_labour == 60.0
    assert lost - billed == 60.0 and billed == 30.0 + 22.0, "the part and the further trip stay"
