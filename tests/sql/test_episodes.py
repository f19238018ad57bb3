"""Which visits are one fault, and what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.worlds.shared import times
from tests.worlds.small_workshop import broken, column, separate, visit, workshop

DRAIN, SPIN, LEAK, SHOWN = ["does not drain"], ["stops before spin"], ["leaks"], ["lamps or code shown"]


def episodes(connection: duckdb.DuckDBPyConnection) -> list[int]:
    return column(connection, "select episode_id from episode_visit order by visit_id")


def joined(histories: Sequence[Sequence[dict[str, Any]]], **more: Any) -> list[list[int]]:
    """Episodes of each history, numbered from its own first visit, all made in one workshop."""
    connection = workshop(*separate(histories), **more)
    assert broken(connection) == {}
    found, first = episodes(connection), 0
    made = []
    for history in histories:
        made.append([episode - first for episode in found[first : first + len(history)]])
        first += len(history)
    return made


JOINED: dict[str, list[tuple[list[dict[str, Any]], list[int]]]] = {
    "a return with the same complaint group inside the window is the same episode": [
        ([visit(0, symptoms=DRAIN), visit(30, symptoms=SPIN)], [1, 1]),
        ([visit(0, symptoms=DRAIN), visit(31, symptoms=SPIN)], [1, 2]),
    ],
    "a second fault inside the window is another episode and the first may still come back": [
        (
            [visit(0, symptoms=DRAIN), visit(5, symptoms=LEAK), visit(9, symptoms=DRAIN), visit(12, symptoms=LEAK)],
            [1, 2, 1, 2],
        ),
    ],
    "the same code joins what different complaints do not": [
        ([visit(0, symptoms=DRAIN, codes=["K07"]), visit(9, symptoms=LEAK, codes=["K07"])], [1, 1]),
        ([visit(0, symptoms=DRAIN, codes=["K07"]), visit(9, symptoms=LEAK, codes=["K08"])], [1, 2]),
    ],
    "that some code shows joins only where nothing else is told": [
        ([visit(0, symptoms=DRAIN + SHOWN), visit(9, symptoms=LEAK + SHOWN)], [1, 2]),
        ([visit(0, symptoms=SHOWN), visit(9, symptoms=SHOWN)], [1, 1]),
    ],
    "a denied complaint joins nothing and a doubtful one does": [
        ([visit(0, symptoms=LEAK), visit(9, symptoms=["-leaks"])], [1, 2]),
        ([visit(0, symptoms=LEAK), visit(9, symptoms=["?leaks"])], [1, 1]),
    ],
    "a callback names its job past the window and past other faults to another technician": [
        (
            [
                visit(0, job_no="J1", symptoms=DRAIN, technician="Ada"),
                visit(40, job_no="J2", symptoms=LEAK, technician="Ada"),
                visit(200, job_no="J3", callback_of="J1", symptoms=LEAK, technician="Bo"),
            ],
            [1, 2, 1],
        ),
    ],
    "a job number used again after a year is another job": [
        ([visit(0, job_no="0001"), visit(366, job_no="0001")], [1, 2]),
        ([visit(0, job_no="0001"), visit(366, job_no="0002", callback_of="0001")], [1, 2]),
    ],
    "a callback means the latest job of that number": [
        (
            [
                visit(0, job_no="0001", symptoms=DRAIN),
                visit(300, job_no="0001", symptoms=LEAK),
                visit(340, callback_of="0001"),
            ],
            [1, 2, 2],
        ),
    ],
    "one job number joins visits until a cure is long past": [
        ([visit(0, "part needed", job_no="J"), visit(200, job_no="J")], [1, 1]),
        ([visit(0, "fixed", job_no="J"), visit(119, job_no="J")], [1, 1]),
        ([visit(0, "fixed", job_no="J"), visit(200, job_no="J")], [1, 2]),
    ],
    "one number for all calls of a landlord does not join different faults": [
        (
            [
                visit(0, job_no="L", symptoms=DRAIN),
                visit(9, "part needed", job_no="L", symptoms=LEAK),
                visit(20, job_no="L"),
            ],
            [1, 2, 2],
        ),
        ([visit(0, job_no="L", symptoms=DRAIN), visit(9, job_no="L")], [1, 1]),
    ],
    "a visit that only fits the part carries the complaint on": [
        (
            [
                visit(0, "part needed", job_no="J1", symptoms=DRAIN),
                visit(14, job_no="J1"),
                visit(40, job_no="J2", symptoms=SPIN),
            ],
            [1, 1, 1],
        ),
    ],
    "an account number as job number does not chain the years": [
        ([visit(day, job_no="ACC", symptoms=LEAK) for day in range(0, 1500, 150)], list(range(1, 11))),
    ],
    "an uncured visit waits for its next whatever that is called": [
        ([visit(0, "part needed", symptoms=DRAIN), visit(120)], [1, 1]),
        ([visit(0, "part needed", symptoms=DRAIN), visit(121)], [1, 2]),
        ([visit(0, "no access", symptoms=DRAIN), visit(12, symptoms=LEAK)], [1, 1]),
        ([visit(0, "fixed", symptoms=DRAIN), visit(12)], [1, 2]),
    ],
    "no fault found waits only for the same complaint": [
        ([visit(0, "no fault found", symptoms=DRAIN), visit(90, symptoms=SPIN)], [1, 1]),
        ([visit(0, "no fault found", symptoms=DRAIN), visit(90, symptoms=LEAK)], [1, 2]),
        ([visit(0, "unknown"), visit(5)], [1, 2]),
    ],
    "a visit that says the fault is back follows the one before inside the window": [
        ([visit(0, symptoms=DRAIN), visit(20, is_back=True)], [1, 1]),
        ([visit(0, symptoms=DRAIN), visit(31, is_back=True)], [1, 2]),
        (
            [visit(0, symptoms=DRAIN), visit(5, symptoms=LEAK), visit(9, is_back=True), visit(12, symptoms=LEAK)],
            [1, 2, 2, 2],
        ),
        ([visit(0, "no fault found", symptoms=DRAIN), visit(90, is_back=True)], [1, 1]),
        ([visit(0, symptoms=DRAIN), visit(20)], [1, 2]),
    ],
    "visits of two units never join": [
        (
            [visit(0, job_no="J", serial="A", symptoms=DRAIN), visit(1, job_no="J", serial="B", symptoms=DRAIN)],
            [1, 2],
        ),
    ],
}


@pytest.fixture(scope="module")
def found() -> dict[str, list[list[int]]]:
    """Episodes of all histories of ``JOINED``, made in one workshop."""
    made = iter(joined([history for rows in JOINED.values() for history, _ in rows], until=1600))
    return {rule: [next(made) for _ in rows] for rule, rows in JOINED.items()}


@pytest.mark.parametrize("rule", JOINED)
def test_which_visits_are_one_episode(found: dict[str, list[list[int]]], rule: str) -> None:
    assert found[rule] == [wanted for _, wanted in JOINED[rule]]


def test_what_it_says_beside_is_no_complaint_of_its_own() -> None:
    connection = workshop(visit(0, symptoms=DRAIN), visit(20, symptoms=["dead"], is_back=True))
    assert column(connection, "select ends_complaint from visit_result order by visit_no") == [False, True]
    assert column(connection, "select joined_by from episode_visit order by visit_no") == [
        "first visit", "says it is back",
    ]  # fmt: skip
    assert column(workshop(visit(0, symptoms=["dead"], is_back=True)), "select main_symptom from episode") == ["dead"]


def test_the_window_is_the_workshops_own() -> None:
    assert joined([[visit(0, symptoms=DRAIN), visit(31, symptoms=SPIN)]], window_days=60) == [[1, 1]]


def test_two_visits_a_day_out_of_order_in_the_file() -> None:
    connection = workshop(visit(3, job_no="J2", callback_of="J1"), visit(3, "not fixed", job_no="J1", symptoms=DRAIN))
    assert episodes(connection) == [2, 2]
    assert column(connection, "select visit_no from episode_visit order by visit_id") == [2, 1]
    assert column(connection, "select state from episode") == ["cured"]


def test_how_a_visit_came_in_is_said() -> None:
    connection = workshop(
        visit(0, "part needed", job_no="J1", symptoms=DRAIN),
        visit(1, "not fixed", job_no="J1"),
        visit(2, "fixed", job_no="J2"),
        visit(9, "fixed", job_no="J3", symptoms=DRAIN, callback_of=None),
        visit(10, "fixed", job_no="J4", callback_of="J3"),
    )
    assert column(connection, "select joined_by from episode_visit order by visit_no") == [
        "first visit",
        "same job number",
        "earlier visit not a cure",
        "same complaint or code",
        "names the earlier job",
    ]


STATES = {
    "fixed": "cured",
    "no fault found": "no fault found",
    "beyond economic repair": "beyond economic repair",
    "declined": "declined",
    "advice only": "advice only",
    "no access": "no access",
    "not fixed": "open",
    "part needed": "open",
    "made safe": "open",
    "unknown": "open",
}


def test_states_and_maturity() -> None:
    for until, mature in ((29, set()), (30, set(STATES.values()) - {"open"}), (120, set(STATES.values()))):
        connection = workshop(*(visit(0, outcome, serial=outcome) for outcome in STATES), until=until)
        assert column(connection, "select state from episode order by episode_id") == list(STATES.values())
        assert set(column(connection, "select distinct state from episode where is_mature")) == mature
        assert broken(connection) == {}


def test_nobody_in_at_the_return_leaves_the_episode_open() -> None:
    connection = workshop(visit(0, symptoms=DRAIN), visit(9, "no access", symptoms=DRAIN))
    assert connection.execute("select state, cure_visit_id, visits from episode").fetchall() == [("open", None, 2)]


def test_an_export_that_starts_in_the_middle_is_marked() -> None:
    connection = workshop(visit(0, job_no="J9", callback_of="J1"), visit(0, serial="S2", job_no="J8"))
    assert column(connection, "select is_left_truncated from episode order by episode_id") == [True, False]
    assert column(connection, "select status from first_time_fix order by episode_id") == [
        "not counted",
        "fixed first time",
    ]
    known = workshop(visit(0, job_no="J1", serial="S2"), visit(1, job_no="J9", callback_of="J1"))
    assert column(known, "select is_left_truncated from episode order by 1") == [False, False], (
        "the job is loaded, on another unit"
    )


def test_the_cause_is_that_of_the_visit_that_ended_the_complaint() -> None:
    connection = workshop(
        visit(0, symptoms=DRAIN, cause="drain pump seized", parts=["drain pump"]),
        visit(9, symptoms=DRAIN, cause="level sensor fault", parts=["level sensor"]),
        visit(15, symptoms=LEAK, cause="loose hose", callback_of="J2"),
    )
    assert connection.execute("select cause, cure_visit_id, visits from episode").fetchall() == [
        ("level sensor fault", 3, 3)
    ]


def test_a_diagnosis_counts_when_no_attempt_lies_between_it_and_the_cure() -> None:
    connection = workshop(
        *separate(
            [
                [visit(0, "part needed", cause="level sensor fault"), visit(9, parts=["level sensor"], job_no="J1")],
                [
                    visit(0, "not fixed", cause="level sensor fault", parts=["level sensor"]),
                    visit(9, job_no="J1"),
                ],
                [visit(0, cause="level sensor fault", cause_is_confirmed=False)],  # a guess is not a confirmed cause
            ]
        )
    )
    assert column(connection, "select cause from episode order by episode_id") == ["level sensor fault", None, None]


def test_main_symptom_is_the_first_sure_one_that_says_something() -> None:
    connection = workshop(
        *separate(
            [
                [
                    visit(0, "part needed", symptoms=["lamps or code shown", "?noisy", "-leaks"]),
                    visit(1, symptoms=LEAK, codes=["F2", "F1"]),
                ],
                [visit(0, symptoms=SHOWN)],
                [visit(0)],
            ]
        )
    )
    assert connection.execute("select main_symptom, fault_code from episode order by episode_id").fetchall() == [
        ("noisy", "F1"),
        ("lamps or code shown", None),
        (None, None),
    ]


def test_a_garbled_unit_of_thousands_of_visits_ends_its_chain_and_its_work() -> None:
    connection = workshop(visit(0))
    connection.execute(
        "insert into stage_visit (visit_id, record_id, visit_date, kind, serial, outcome, job_no)"
        " select i, i, date '2026-01-01' + cast(i // 20 as integer), 'washing machine', 'N/A', 'not fixed', 'J'"
        " from range(2, 4002) as series(i)"
    )
    import sql

    sql.rebuild(connection)
    assert max(column(connection, "select visits from episode")) == 512
    assert broken(connection) == {}


drawn_visit = st.fixed_dictionaries(
    {
        "day": st.integers(0, 200),
        "outcome": st.sampled_from(
            ["fixed", "not fixed", "part needed", "no access", "no fault found", "unknown", "declined"]
        ),
        "serial": st.sampled_from(["A", "B", "C", "D", "E", None]),
        "customer_hash": st.sampled_from(["c", "d", None]),
        "job_no": st.sampled_from(["1", "2", "3", "4", "5", None]),
        "callback_of": st.sampled_from(["1", "2", "4", None, None, None, None]),
        "symptoms": st.lists(
            st.sampled_from(["does not drain", "leaks", "noisy", "-leaks", "lamps or code shown"]),
            max_size=2,
            unique_by=lambda symptom: symptom.lstrip("-"),
        ),
        "parts": st.lists(st.sampled_from(["drain pump", "level sensor"]), max_size=2, unique=True),
        "cause": st.sampled_from(["drain pump seized", "blocked filter", "own words", None]),
    }
)


@settings(max_examples=times(5))
@given(st.lists(drawn_visit, min_size=1, max_size=30))
def test_whatever_the_records_say_all_that_must_hold_holds(rows: list[dict[str, Any]]) -> None:
    connection = workshop(*(visit(**row) for row in rows))
    assert broken(connection) == {}
    assert column(connection, "select count(*) from episode_visit") == [len(rows)]


@settings(max_examples=times(3))
@given(
    st.lists(drawn_visit, min_size=2, max_size=18, unique_by=lambda row: row["day"]), st.randoms(use_true_random=False)
)
def test_the_order_of_lines_does_not_matter(rows: list[dict[str, Any]], chance: Any) -> None:
    def partition(order: list[int]) -> set[frozenset[int]]:
        connection = workshop(*(visit(**rows[place]) for place in order))
        found: dict[int, set[int]] = {}
        for place, episode in zip(order, episodes(connection), strict=True):
            found.setdefault(episode, set()).add(place)
        return {frozenset(group) for group in found.values()}

    mixed = list(range(len(rows)))
    chance.shuffle(mixed)
    assert partition(list(range(len(rows)))) == partition(mixed)
