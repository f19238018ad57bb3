"""Parts in a second file, keyed by job number: added to their jobs, nothing lost, orphans told where they stand."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from pipeline.errors import LayoutError, UsageError
from tests.worlds.empty import empty_workshop

pytestmark = pytest.mark.usefixtures("without_marts")

JOBS = (
    "Ticket,Went out,Machine,Client no,Client,Says,Result\n"
    "H1,2026-01-05,W/M,K1,Ann Example,not draining,fixed\n"
    "H2,2026-01-06,W/M,K2,Bob Other,leaks,fixed\n"
    "H3,31/02/2026,W/M,K3,Cyd Third,leaks,fixed\n"
)
PARTS = "Ticket;Item;Qty;Each\nH1;drain pump;1;31,50\nH1;door seal;2;14,00\nH2;inlet hose;1;9,00\nZZ99999;drive belt;1;7,00\n"
LAYOUT = """name = "two files"
grain = "part"
join = { sheet = "parts.csv", by = "Ticket" }
personal = ["Client"]
[columns]
visit_date = "Went out"
appliance_kind = "Machine"
job_no = "Ticket"
customer_ref = "Client no"
complaint = "Says"
outcome = "Result"
part = "Item"
part_quantity = "Qty"
part_unit_cost = "Each"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (("jobs.csv", JOBS), ("parts.csv", PARTS), ("jobs.toml", LAYOUT)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    empty_workshop(tmp_path / "w.duckdb")
    return tmp_path


@pytest.mark.parametrize("order", [("jobs.csv", "parts.csv"), ("parts.csv", "jobs.csv")])
@pytest.mark.parametrize("is_given", [True, False])
def test_parts_of_a_second_file_are_added_to_their_jobs(folder: Path, order: tuple[str, ...], is_given: bool) -> None:
    with Workshop.open(folder / "w.duckdb") as workshop:
        report = workshop.load([folder / name for name in order], layout=folder / "jobs.toml" if is_given else None)
        (one,) = report.files
        assert (one.file, one.read, one.loaded, one.rejected) == ("jobs.csv", 5, 3, 2)
        assert any("4 lines" in note and "parts.csv" in note for note in one.notes)
        parts = workshop.table("stage_part")[["part", "quantity", "unit_cost"]].values.tolist()
        assert sorted(parts) == [["door seal", 2.0, 14.0], ["drain pump", 1.0, 31.5], ["inlet hose", 1.0, 9.0]]
        assert len(workshop.table("stage_visit")) == 2


def test_a_part_without_a_job_is_told_with_its_own_line_and_number(folder: Path) -> None:
    with Workshop.open(folder / "w.duckdb") as workshop:
        lines = workshop.load([folder / "jobs.csv", folder / "parts.csv"]).files[0].rejected_lines
        (orphan,) = [line for line in lines if "parts.csv" in line["rule"]]
        assert (orphan["line_no"], orphan["column"], orphan["value"]) == (5, "Ticket", "ZZ99999")
        (bad_day,) = [line for line in lines if "parts.csv" not in line["rule"]]
        assert (bad_day["line_no"], bad_day["value"]) == (4, "31/02/2026")
        kept = workshop.table("rejected_record").set_index("line_no")
        assert "ZZ99999" in kept.loc[5, "reasons"] and "Cyd" not in kept.loc[4, "line_text"]


def test_changed_parts_are_new_versions_of_unchanged_jobs(folder: Path) -> None:
    files = [folder / "jobs.csv", folder / "parts.csv"]
    with Workshop.open(folder / "w.duckdb") as workshop:
        workshop.load(files)
        assert workshop.load(files).totals["unchanged"] == 3
        (folder / "parts.csv").write_text(PARTS.replace("inlet hose", "door seal"), encoding="utf-8")
        assert workshop.load(files).totals["replaced"] == 1
        assert sorted(workshop.table("stage_part")["part"]) == ["door seal", "door seal", "drain pump"]


def test_a_second_file_that_was_not_given_is_asked_for_and_one_alone_has_a_remedy(folder: Path) -> None:
    with Workshop.open(folder / "w.duckdb") as workshop:
        with pytest.raises(UsageError, match=r"parts\.csv") as lacking:
            workshop.load([folder / "jobs.csv"])
        assert "jobs.csv parts.csv" in lacking.value.remedy
        (folder / "own.toml").write_text('name = "p"\n[columns]\njob_no = "Ticket"\npart = "Item"\n', encoding="utf-8")
        with pytest.raises(LayoutError) as alone:
            workshop.load([folder / "parts.csv"], layout=folder / "own.toml")
        assert "join = " in alone.value.remedy
        assert workshop.batches().empty
