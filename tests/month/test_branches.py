"""Branches side by side: like jobs with like, with counts, intervals and a test; one branch alone is not compared."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import duckdb
import pytest
from scipy.stats import chi2_contingency

import sql
from models.statistics.intervals import wilson
from pipeline.errors import UsageError
from pipeline.month.month import MonthReport, month_report
from pipeline.settings import Settings
from tests.worlds.report_workshop import made_workshop

MONTH = "2026-08"
YEAR = "between date '2025-09-01' and date '2026-08-31'"


@pytest.fixture(scope="module")
def workshop() -> duckdb.DuckDBPyConnection:
    """Two branches, of which one fixes fewer at the first visit, and faults of none."""
    connection = made_workshop(800)
    connection.execute(
        """
        update stage_visit
        set branch = case
            when job_no like '%-2' or outcome <> 'fixed' then ['North', 'South', 'South', null][1 + visit_id // 2 % 4]
            else ['North', 'North', 'South', null][1 + visit_id // 2 % 4]
        end
        """
    )
    sql.rebuild(connection)
    return connection


def report(connection: duckdb.DuckDBPyConnection, folder: Path, **view: Any) -> MonthReport:
    database = SimpleNamespace(connection=connection, path=folder / "w.duckdb")
    return month_report(database, Settings(), MONTH, out=folder / "page.html", **view)  # type: ignore[arg-type]


def test_the_branches_stand_side_by_side_with_counts_intervals_and_a_test(
    workshop: duckdb.DuckDBPyConnection, tmp_path: Path
) -> None:
    made = report(workshop, tmp_path)
    told = made.as_json()
    rows = {row["branch"]: row for row in told["branches"]}
    assert list(rows) == ["North", "South"]
    for name, row in rows.items():
        fixed, known = workshop.execute(
            "select count(*) filter (where status = 'fixed first time'), count(*) from first_time_fix "
            f"where branch = $name and status like '%fixed first time' and month {YEAR}",
            {"name": name},
        ).fetchall()[0]
        assert (row["fixed"], row["known"]) == (fixed, known)
        assert [row["rate"], row["low"], row["high"]] == pytest.approx([fixed / known, *wilson(fixed, known)])
        returns, fixes = workshop.execute(
            "select count(*) filter (where event = 'return' and days <= 30), count(*) from callback_follow_up "
            f"where branch = $name and days_followed >= 30 and fix_date {YEAR}",
            {"name": name},
        ).fetchall()[0]
        assert (row["returns"], row["fixes"], row["back"]) == (returns, fixes, pytest.approx(returns / fixes))
    together = told["together"]["branches"]
    assert together["compared"] == 2 and together["unnamed"] > 30
    assert together["p_joint"] < 0.05
    table = [(row["returns"], row["fixes"] - row["returns"]) for row in rows.values()]
    assert together["p_returns"] == pytest.approx(chi2_contingency(table, correction=False).pvalue)
    assert rows["North"]["rate"] > rows["South"]["rate"]
    assert f"{rows['South']['fixed']} of {rows['South']['known']}" in made.html
    assert "the branches differ by more than chance" in made.html


def test_a_view_of_one_branch_counts_its_jobs_and_compares_nobody(
    workshop: duckdb.DuckDBPyConnection, tmp_path: Path
) -> None:
    made = report(workshop, tmp_path, branch="south")
    told = made.as_json()
    assert (told["branch"], told["branches"]) == ("South", [])
    assert 'id="branches"' not in made.html
    assert told["visits"] == workshop.execute(
        "select count(*) from visit where branch = 'South' and visit_date between date '2026-08-01' and date '2026-08-31'"
    ).fetchall()[0][0]  # fmt: skip
    assert "South only" in made.html and "not of South alone" in made.html
    with pytest.raises(UsageError, match="branch") as fault:
        report(workshop, tmp_path, branch="West")
    assert "North" in fault.value.remedy


def test_too_few_jobs_make_no_claim(workshop: duckdb.DuckDBPyConnection, tmp_path: Path) -> None:
    few = made_workshop(60)
    few.execute("update stage_visit set branch = case when visit_id = 101 then 'North' else 'South' end")
    sql.rebuild(few)
    made = report(few, tmp_path)
    rows = {row["branch"]: row for row in made.as_json()["branches"]}
    assert rows["North"]["rate"] is None
    assert made.as_json()["together"]["branches"]["p_returns"] is None
    assert "nothing is said of a difference" in made.html
