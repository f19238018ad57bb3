"""The owner's own queries are tables after every load, found in the dictionary and exported like any other."""

from __future__ import annotations

import json
from pathlib import Path

import sql
from pipeline import Workshop
from tests.worlds.empty import empty_workshop

JOBS = (
    "visit_date,appliance_kind,job_no,complaint,outcome\n"
    "2025-01-03,oven,J1,not heating,fixed\n2025-01-04,oven,J2,\"says \"\"hot\"\", then cold\",not fixed\n"
)  # fmt: skip


def test_own_marts_are_built_told_described_and_exported(tmp_path: Path) -> None:
    folder = tmp_path / "w.marts"
    folder.mkdir()
    (folder / "by_kind.sql").write_text("select kind, count(*) as visits from visit group by kind;", encoding="utf-8")
    (folder / "broken.sql").write_text("select nothing from nowhere", encoding="utf-8")
    (folder / "Bad Name.sql").write_text("select 1", encoding="utf-8")
    (folder / "outside.sql").write_text(f"select * from read_csv('{tmp_path / 'jobs.csv'}')", encoding="utf-8")
    (tmp_path / "jobs.csv").write_text(JOBS, encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        notes = workshop.load([tmp_path / "jobs.csv"]).notes
        assert any("own_by_kind: 1 rows" in note for note in notes)
        for name in ("broken.sql", "Bad Name.sql", "outside.sql"):
            assert any(name in note and "not built" in note for note in notes), name
        described = workshop.tables()
        assert described.loc[described["table"] == "own_by_kind", "column"].tolist() == ["kind", "visits"]
        workshop.export("own_by_kind", tmp_path / "own.json")
        (folder / "by_kind.sql").unlink()
        (tmp_path / "more.csv").write_text(JOBS.replace("J1", "J3").replace("J2", "J4"), encoding="utf-8")
        workshop.load([tmp_path / "more.csv"])
        assert "own_by_kind" not in set(workshop.tables()["table"])
    assert json.loads((tmp_path / "own.json").read_text(encoding="utf-8")) == [{"kind": "electric oven", "visits": 2}]


def test_the_dictionary_tells_every_column_and_json_holds_every_row(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(JOBS, encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([tmp_path / "jobs.csv"])
        described = workshop.tables()
        assert set(described["table"]) == {file.table for file in sql.table_files()}
        assert described.loc[described["meaning"].fillna("") == "", ["table", "column"]].values.tolist() == []
        workshop.export("visit", tmp_path / "visit.json")
        workshop.export("rejected_record", tmp_path / "none.json")
        table = workshop.table("visit")
    held = json.loads((tmp_path / "visit.json").read_text(encoding="utf-8"))
    assert [list(row) for row in held] == [list(table.columns)] * 2
    assert {row["job_no"]: row["complaint"] for row in held} == table.set_index("job_no")["complaint"].to_dict()
    assert held[0]["visit_date"] == "2025-01-03" and held[0]["labour_charge"] is None
    assert json.loads((tmp_path / "none.json").read_text(encoding="utf-8")) == []
