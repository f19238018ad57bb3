"""First-time fix, callbacks, rates and months."""

from __future__ import annotations

from typing import Any

import duckdb
import pytest

from models.statistics.intervals import wilson
from tests.worlds.small_workshop import broken, column, visit, workshop

DRAIN, LEAK = ["does not drain"], ["leaks"]


def judged(*visits: dict[str, Any], **more: Any) -> list[tuple[Any, ...]]:
    connection = workshop(*visits, **more)
    assert broken(connection) == {}
    return connection.execute("select status, why from first_time_fix order by episode_id").fetchall()


def test_fixed_first_time_needs_a_fix_and_a_window_without_return() -> None:
    assert judged(visit(0), until=30) == [("fixed first time", "no return within the window")]
    assert judged(visit(0), until=29) == [("not yet known", "window not over")]
    assert judged(visit(0), until=29, window_days=28) == [("fixed first time", "no return within the window")]


def test_a_return_on_the_last_day_of_the_window_counts_and_one_after_it_does_not() -> None:
    returned = visit(30, callback_of="J1", symptoms=DRAIN)
    assert judged(visit(0, symptoms=DRAIN), returned) == [("not fixed first time", "came back within the window")]
    late = visit(31, callback_of="J1", symptoms=DRAIN)
    assert judged(visit(0, symptoms=DRAIN), late) == [("fixed first time", "no return within the window")]


def test_a_return_is_known_at_once_though_the_window_is_open() -> None:
    assert judged(visit(0, symptoms=DRAIN), visit(3, symptoms=DRAIN), until=5) == [
        ("not fixed first time", "came back within the window")
    ]


def test_other_outcomes_of_the_first_visit() -> None:
    expected = {
        "not fixed": "not fixed first time",
        "part needed": "not fixed first time",
        "no fault found": "not fixed first time",
        "beyond economic repair": "not fixed first time",
        "made safe": "not fixed first time",
        "no access": "not counted",
        "declined": "not counted",
        "advice only": "not counted",
        "unknown": "not counted",
    }
    found = judged(*(visit(0, outcome, serial=f"S{n}") for n, outcome in enumerate(expected)), until=1)
    assert [status for status, _ in found] == list(expected.values())


def test_visits_without_access_are_passed_over() -> None:
    connection = workshop(visit(0, "no access", technician="Ada"), visit(40, "fixed", technician="Bo"))
    assert connection.execute("select status, technician, month::varchar from first_time_fix").fetchall() == [
        ("fixed first time", "Bo", "2026-02-01")
    ]


def test_a_new_fault_inside_the_window_does_not_undo_a_first_time_fix() -> None:
    assert [row[0] for row in judged(visit(0, symptoms=DRAIN), visit(9, symptoms=LEAK))] == ["fixed first time"] * 2


def followed(*visits: dict[str, Any], **more: Any) -> list[tuple[Any, ...]]:
    connection = workshop(*visits, **more)
    assert broken(connection) == {}
    return connection.execute(
        "select visit_id, event, days, return_visit_id from callback_follow_up order by 1"
    ).fetchall()


def test_every_fix_is_followed_to_a_return_a_new_fault_or_the_end() -> None:
    assert followed(visit(0, symptoms=DRAIN), visit(9, symptoms=DRAIN), visit(60, symptoms=LEAK), until=100) == [
        (1, "return", 9, 2),
        (2, "new fault", 51, 3),
        (3, "none yet", 40, None),
    ]


def test_a_new_fault_before_the_return_comes_first_and_a_return_of_an_older_fault_is_no_new_one() -> None:
    assert followed(visit(0, symptoms=DRAIN), visit(5, symptoms=LEAK), visit(9, symptoms=DRAIN), until=20) == [
        (1, "new fault", 5, 2),
        (2, "none yet", 15, None),
        (3, "none yet", 11, None),
    ]


def test_a_return_counts_as_a_callback_though_a_new_fault_came_first() -> None:
    connection = workshop(visit(0, symptoms=DRAIN), visit(5, symptoms=LEAK), visit(9, symptoms=DRAIN), until=50)
    assert connection.execute(
        "select days_to_return, days_followed from callback_follow_up order by visit_id"
    ).fetchall() == [(9, 50), (None, 45), (None, 41)]
    assert connection.execute(
        "select numerator, denominator from episode_rate where measure = 'callback' and dimension = 'all'"
    ).fetchall() == [(1, 3)]
    assert column(connection, "select callbacks from month_summary") == [1]


def many(fixed: int, failed: int, open_: int) -> duckdb.DuckDBPyConnection:
    visits = [visit(0, serial=f"F{n}", technician="Ada") for n in range(fixed)]
    visits += [visit(0, "not fixed", serial=f"N{n}", technician="Ada") for n in range(failed)]
    visits += [visit(20, serial=f"O{n}", technician="Bo") for n in range(open_)]
    return workshop(*visits, until=40)


def test_a_rate_names_its_parts_and_has_wilsons_interval() -> None:
    connection = many(14, 5, 3)
    row = connection.execute(
        "select numerator, denominator, not_yet_known, rate, low, high, window_days from episode_rate"
        " where measure = 'first time fix' and dimension = 'technician' and value = 'Ada'"
    ).fetchall()[0]
    assert row[:3] == (14, 19, 0)
    assert row[3:6] == pytest.approx((14 / 19, *wilson(14, 19)))
    assert row[6] == 30
    assert connection.execute(
        "select numerator, denominator, not_yet_known, rate from episode_rate"
        " where measure = 'first time fix' and dimension = 'technician' and value = 'Bo'"
    ).fetchall() == [(0, 0, 3, None)]


def test_the_interval_in_sql_is_the_one_of_models() -> None:
    people = {"Ada": (10, 0), "Bo": (0, 10), "Cy": (5, 5), "Di": (8, 21)}
    connection = workshop(
        *(
            visit(0, "fixed" if number < fixed else "not fixed", serial=f"{name}{number}", technician=name)
            for name, (fixed, failed) in people.items()
            for number in range(fixed + failed)
        )
    )
    found = connection.execute(
        "select low, high from episode_rate where measure = 'first time fix' and dimension = 'technician' order by value"
    ).fetchall()
    expected = [wilson(fixed, fixed + failed) for fixed, failed in people.values()]
    assert len(found) == len(expected)
    for row, interval in zip(found, expected, strict=True):
        assert row == pytest.approx(interval, abs=1e-12)


def test_under_ten_the_count_stands_alone() -> None:
    assert many(5, 4, 0).execute(
        "select numerator, denominator, rate, low, high from episode_rate"
        " where measure = 'first time fix' and dimension = 'all'"
    ).fetchall() == [(5, 9, None, None, None)]


def test_all_measures_and_dimensions_are_there() -> None:
    connection = workshop(
        visit(0, parts=["drain pump"], cause="level sensor fault", symptoms=DRAIN),
        visit(5, parts=["level sensor"], cause="level sensor fault", symptoms=DRAIN),
        visit(0, "no fault found", serial="S2"),
        visit(0, "beyond economic repair", serial="S3"),
        visit(0, "part needed", serial="S4"),
    )
    rate = dict(
        connection.execute(
            "select measure, numerator || ' of ' || denominator from episode_rate where dimension = 'all'"
        ).fetchall()
    )
    assert rate == {
        "first time fix": "0 of 4",
        "part not on van": "1 of 4",
        "no fault found": "1 of 3",
        "beyond economic repair": "1 of 3",
        "callback": "1 of 2",
        "wrong part": "1 of 2",
    }
    assert set(column(connection, "select distinct dimension from episode_rate")) == {
        "all", "kind", "make", "model family", "technician", "branch", "complaint", "cause",
    }  # fmt: skip


def test_time_to_cure_counts_what_is_still_open() -> None:
    connection = workshop(
        visit(0, "part needed", labour_minutes=20),
        visit(10, labour_minutes=40),
        visit(0, serial="S2"),
        visit(0, "part needed", serial="S3"),
    )
    assert connection.execute(
        "select cured, still_open, median_days, mean_visits, median_minutes from time_to_cure where dimension = 'all'"
    ).fetchall() == [(2, 1, 5.0, 1.5, 60.0)]


def test_time_to_cure_by_branch_whose_name_is_written_in_many_ways() -> None:
    connection = workshop(
        visit(0, serial="S1", branch="north"),
        visit(1, serial="S2", branch="North"),
        visit(2, serial="S3", branch="North "),
        visit(3, serial="S4", branch="North"),
        visit(4, serial="S5", branch="South"),
        visit(5, serial="S6"),
    )
    assert connection.execute(
        "select value, cured from time_to_cure where dimension = 'branch' order by value nulls last"
    ).fetchall() == [("North", 4), ("South", 1), (None, 1)]


def test_a_month_adds_up() -> None:
    connection = workshop(
        visit(
            0, parts=["drain pump"], cause="level sensor fault", symptoms=DRAIN, labour_charge=40.0, labour_minutes=30.0
        ),
        visit(5, parts=["level sensor"], cause="level sensor fault", symptoms=DRAIN, labour_charge=50.0),
        visit(6, "no access", serial="S2"),
        visit(40, serial="S3"),
        until=60,
    )
    names = "visits, no_access_visits, episodes, fixed_first_time, known, not_yet_known, not_counted, fixes, callbacks"
    assert connection.execute(f"select month::varchar, {names} from month_summary order by 1").fetchall() == [
        ("2026-01-01", 3, 1, 2, 0, 1, 0, 1, 2, 1),
        ("2026-02-01", 1, 0, 1, 0, 0, 1, 0, 1, 0),
    ]
    assert connection.execute(
        "select parts_fitted, wrong_parts, wrong_parts_cost, wrong_parts_minutes, labour_charge"
        " from month_summary order by month limit 1"
    ).fetchall() == [(2, 1, 30.0 + 40.0 + 22.0, 30.0 + 35.0, 90.0)]
