"""Which visits are to one physical unit."""

from __future__ import annotations

from typing import Any

import duckdb

import sql
from tests.worlds.small_workshop import broken, column, visit, workshop


def units(connection: duckdb.DuckDBPyConnection) -> list[int]:
    return column(connection, "select appliance_id from visit order by visit_id")


def test_a_serial_is_one_unit_within_its_kind() -> None:
    connection = workshop(
        visit(0, serial="A1"), visit(5, serial="A1"), visit(6, serial="A1", kind="dishwasher"), visit(7, serial="A2")
    )
    assert units(connection) == [1, 1, 3, 4]
    assert column(connection, "select is_weak_identity from appliance order by 1") == [False] * 3


def of_unread_kinds(*visits: dict[str, Any]) -> list[int]:
    """Units where no list knows the kinds written with a question mark."""
    connection = workshop(*visits)
    connection.execute(
        "insert into term select distinct 'kind', kind, 'own' from stage_visit where contains(kind, '?')"
    )
    sql.rebuild(connection)
    assert broken(connection) == {}
    return units(connection)


def test_a_kind_that_was_not_read_says_nothing_against_a_serial() -> None:
    washer, dish = "washing machine", "dishwasher"
    assert of_unread_kinds(visit(0, kind="dishw?"), visit(1, kind=dish), visit(2, kind="dw?")) == [1, 1, 1]
    assert of_unread_kinds(visit(0, kind="dishw?"), visit(1, kind="dw?")) == [1, 1]
    assert of_unread_kinds(visit(0, kind=washer), visit(1, kind=dish), visit(2, kind="dw?")) == [1, 2, 3]
    makes = ["Pellmore", "Ostrel", None]
    found = of_unread_kinds(
        *(visit(n, kind=kind, make=make) for n, (kind, make) in enumerate(zip([dish, "d?", "w?"], makes, strict=True)))
    )
    assert found == [1, 2, 1], "another make is another unit"


def test_without_a_serial_customer_kind_make_and_model_are_the_unit_and_weak() -> None:
    same: dict[str, Any] = {"serial": None, "customer_hash": "c", "make": "Pellmore", "model": "P1"}
    connection = workshop(
        visit(0, **same),
        visit(5, **same),
        visit(6, **same | {"model": "P2"}),
        visit(7, **same | {"customer_hash": "d"}),
    )
    assert units(connection) == [1, 1, 3, 4]
    assert connection.execute("select distinct identity, is_weak_identity from appliance").fetchall() == [
        ("customer", True)
    ]


def test_a_missing_make_does_not_match_another_make() -> None:
    same: dict[str, Any] = {"serial": None, "customer_hash": "c"}
    connection = workshop(visit(0, **same, make=None), visit(5, **same, make="Pellmore"), visit(9, **same, make=None))
    assert units(connection) == [1, 2, 1]


def test_a_visit_whose_serial_was_left_out_takes_the_one_its_customer_has() -> None:
    same: dict[str, Any] = {"customer_hash": "c", "make": "Pellmore", "model": "P1"}
    assert units(workshop(visit(0, serial="A1", **same), visit(5, serial=None, **same))) == [1, 1]
    two = workshop(visit(0, serial="A1", **same), visit(1, serial="A2", **same), visit(5, serial=None, **same))
    assert units(two) == [1, 2, 3], "with two such units nobody can tell which"


def test_a_visit_with_nothing_but_the_job_it_returns_to_is_on_that_unit() -> None:
    connection = workshop(
        visit(0, serial="A1", customer_hash="c", job_no="J1"),
        visit(9, serial=None, job_no="J2", callback_of="J1"),
        visit(20, serial=None, customer_hash="other", job_no="J3", callback_of="J1"),
    )
    assert units(connection) == [1, 1, 3], "another customer's visit is not drawn in by a job number"


def test_a_job_number_shared_by_several_units_lends_its_serial_only_to_the_like() -> None:
    plain: dict[str, Any] = {"customer_hash": "c", "job_no": "L"}
    connection = workshop(
        visit(0, serial="A1", make="Velsund", model="V1", **plain),
        visit(1, serial=None, make="Pellmore", model="P1", **plain),
    )
    assert units(connection) == [1, 2]


def test_job_alone_is_one_unit_until_the_number_is_used_again() -> None:
    alone: dict[str, Any] = {"serial": None, "job_no": "0001"}
    connection = workshop(visit(0, **alone), visit(9, **alone), visit(500, **alone), until=600)
    assert units(connection) == [1, 1, 3]
    assert column(connection, "select identity from appliance order by 1") == ["job", "job"]


def test_a_visit_with_no_name_at_all_is_a_unit_of_its_own() -> None:
    assert units(workshop(visit(0, serial=None, job_no=None), visit(0, serial=None, job_no=None))) == [1, 2]


def test_visits_are_numbered_by_date_and_on_one_day_the_returning_one_comes_last() -> None:
    connection = workshop(visit(9, job_no="J3"), visit(0, job_no="J2", callback_of="J1"), visit(0, job_no="J1"))
    assert column(connection, "select visit_no_on_appliance from visit order by visit_id") == [3, 2, 1]
    assert column(connection, "select episode_id from episode order by 1") == [1, 3]


def test_age_is_carried_from_earlier_visits_that_give_one_never_from_later_ones() -> None:
    connection = workshop(
        visit(0, age_years=4.0), visit(365, age_years=None), visit(0, serial="S2"), visit(200, serial="S2", age_years=3.0),
        until=400,
    )  # fmt: skip
    assert column(connection, "select age_years from visit order by visit_id") == [4.0, 5.0, None, 3.0]
    bands = column(connection, "select age_band from episode order by episode_id")
    assert bands == ["2 to 4", "5 to 7", "not known", "2 to 4"]


def test_the_unit_keeps_the_last_make_and_model_given() -> None:
    connection = workshop(visit(0, make="Velsund", model="V1"), visit(5, make=None, model="V2"), visit(9))
    assert connection.execute(
        "select make, model, first_visit_date::varchar, last_visit_date::varchar, visits from appliance"
    ).fetchall() == [("Velsund", "V2", "2026-01-01", "2026-01-10", 3)]


def test_visits_after_the_end_of_follow_up_are_as_if_not_loaded() -> None:
    connection = workshop(visit(0), visit(50), until=20)
    assert column(connection, "select visit_id from visit") == [1]
    assert column(connection, "select days_followed from episode") == [20]
    assert broken(connection) == {}
