"""Values that become none, or are read as a credit, and lines that are no record: each is told with line and value."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from tests.worlds.empty import empty_workshop

HEADER = "visit_date,appliance_kind,job_no,serial,age,complaint,labour_charge,parts_cost,outcome"
LINES = (
    "2026-01-05,W/M,J1,S1,99,not draining,45.00,,fixed",
    "2026-01-06,W/M,J2,S2,-3,not draining,-50.00,,fixed",
    ",,,,,,,,",
    "2026-01-07,W/M,J3,S3,dk,not draining,n/c,12.00,fixed",
    "2026-01-08,W/M,J4,S4,dk,not draining,60.00,,fixed",
    "2026-01-09,W/M,J5,S5,4,not draining,about sixty 6,,fixed",
)


@pytest.mark.parametrize("ragged", [False, True])
def test_what_is_dropped_or_changed_is_told_with_line_and_value(tmp_path: Path, ragged: bool) -> None:
    lines = [HEADER, *(line + ('," quoted " odd"' if ragged and n == 5 else "") for n, line in enumerate(LINES))]
    (tmp_path / "jobs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "shop.duckdb")) as workshop:
        (report,) = workshop.load([tmp_path / "jobs.csv"]).files
        unread = workshop.table("unread_value")
    told = "\n".join(report.notes)
    assert '"99" (line 2)' in told and '"-3" (line 3)' in told and '"dk" (2 times, first line 5)' in told
    assert 'credits and are taken off the sums, such as "-50.00" (line 3)' in told
    assert 'in words count as 0, such as "n/c" (line 5)' in told
    assert "1 lines with no cell filled are not counted as read, first line 4" in told
    assert "export unread_value" in told
    ages = unread[unread["column_name"] == "age"].sort_values("line_no")
    assert ages["written"].tolist() == ["99", "-3", "dk", "dk"]
    if not ragged:
        assert '"about sixty 6" (line 7)' in told


def test_a_file_of_plain_values_tells_none_of_it(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(f"{HEADER}\n2026-01-05,W/M,J1,S1,9,not draining,45.00,0,fixed\n\n\n", "utf-8")
    with Workshop.open(empty_workshop(tmp_path / "shop.duckdb")) as workshop:
        (report,) = workshop.load([tmp_path / "jobs.csv"]).files
    assert not [note for note in report.notes if "count" in note and "line" in note]
