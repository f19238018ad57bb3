"""Money of different currencies is never added: the first records or the settings decide, the rest is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from pipeline.errors import LayoutError

HEAD = "visit_date,appliance_kind,job_no,outcome,labour_charge\n"


def written(folder: Path, name: str, *amounts: str) -> Path:
    path = folder / name
    lines = [f"2025-01-{n:02d},w/m,{name}{n},fixed,{amount}" for n, amount in enumerate(amounts, start=1)]
    path.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_the_first_records_decide_and_others_are_refused_with_the_remedy(tmp_path: Path) -> None:
    with Workshop.open(tmp_path / "w.duckdb") as workshop:
        first = workshop.load([written(tmp_path, "a.csv", "$40.00", "$50.00")])
        assert any("USD" in note for note in first.files[0].notes)
        assert workshop.settings.currency == "USD"
        second = workshop.load([written(tmp_path, "b.csv", "$60.00", "£70.00", "80.00")])
        assert second.totals["rejected"] == 1
        (line,) = second.files[0].rejected_lines
        assert (line["line_no"], line["value"]) == (3, "£70.00")
        assert "currency" in line["rule"]
        assert workshop.table("visit")["labour_charge"].sum() == 230
        assert set(workshop.table("visit")["currency"]) <= {"USD", "$"}
    with Workshop.open(tmp_path / "w.duckdb", read_only=True) as workshop:
        assert workshop.settings.currency == "USD"


def test_the_settings_file_decides_where_it_names_one(tmp_path: Path) -> None:
    (tmp_path / "w.toml").write_text('currency = "GBP"\n', encoding="utf-8")
    (tmp_path / "euro.toml").write_text(
        'currency = "EUR"\n[columns]\n' + "".join(f'{c} = "{c}"\n' for c in HEAD.strip().split(",")), encoding="utf-8"
    )
    with Workshop.open(tmp_path / "w.duckdb") as workshop:
        assert workshop.load([written(tmp_path, "a.csv", "$40.00", "£50.00")]).totals["rejected"] == 1
        with pytest.raises(LayoutError, match="never added"):
            workshop.load([written(tmp_path, "c.csv", "60.00")], layout=tmp_path / "euro.toml")
