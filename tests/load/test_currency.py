"""Money of different currencies is never added: the first records or the settings decide, the rest is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import Workshop
from pipeline.errors import LayoutError
from tests.worlds.empty import empty_workshop

pytestmark = pytest.mark.usefixtures("without_marts")

HEAD = "visit_date,appliance_kind,job_no,outcome,labour_charge\n"


def written(folder: Path, name: str, *amounts: str) -> Path:
    path = folder / name
    lines = [f"2025-01-{n:02d},w/m,{name}{n},fixed,{amount}" for n, amount in enumerate(amounts, start=1)]
    path.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_the_first_records_decide_and_others_are_refused_with_the_remedy(tmp_path: Path) -> None:
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        first = workshop.load([written(tmp_path, "a.csv", "$40.00", "$50.00")])
        assert any("USD" in note for note in first.files[0].notes)
        assert workshop.settings.currency == "USD"
        second = workshop.load([written(tmp_path, "b.csv", "$60.00", "£70.00", "80.00")])
        assert second.totals["rejected"] == 1
        (line,) = second.files[0].rejected_lines
        assert (line["line_no"], line["value"]) == (3, "£70.00")
        assert "currency" in line["rule"]
        assert workshop.table("stage_visit")["labour_charge"].sum() == 230
        assert set(workshop.table("stage_visit")["currency"]) <= {"USD", "$"}
    with Workshop.open(tmp_path / "w.duckdb", read_only=True) as workshop:
        assert workshop.settings.currency == "USD"


def test_the_settings_file_decides_where_it_names_one(tmp_path: Path) -> None:
    (tmp_path / "w.toml").write_text('currency = "GBP"\n', encoding="utf-8")
    (tmp_path / "euro.toml").write_text(
        'currency = "EUR"\n[columns]\n' + "".join(f'{c} = "{c}"\n' for c in HEAD.strip().split(",")), encoding="utf-8"
    )
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        assert workshop.load([written(tmp_path, "a.csv", "$40.00", "£50.00")]).totals["rejected"] == 1
        with pytest.raises(LayoutError, match="never added"):
            workshop.load([written(tmp_path, "c.csv", "60.00")], layout=tmp_path / "euro.toml")


def test_foreign_amounts_are_converted_by_the_owners_rate_and_that_is_told(tmp_path: Path) -> None:
    settings = empty_workshop(tmp_path / "w.duckdb").with_suffix(".toml")
    head = "visit_date,appliance_kind,job_no,outcome,labour_charge,parts\n"
    jobs = tmp_path / "jobs.csv"
    jobs.write_text(
        head + "2025-01-01,w/m,J1,fixed,40.00,drain pump @ £30\n2025-01-02,w/m,J2,fixed,€50.00,drain pump @ €20\n"
        "2025-01-03,w/m,J3,fixed,60.00,drain pump @ $34; belt\n",
        encoding="utf-8",
    )

    def loaded() -> tuple[list[str], list[tuple[str, str]], dict[str, float], dict[str, float]]:
        with Workshop.open(tmp_path / "w.duckdb") as workshop:
            report = workshop.load([jobs])
            lines = [(line["column"], line["value"]) for line in report.files[0].rejected_lines]
            visits = workshop.table("stage_visit").set_index("job_no")
            assert set(visits["currency"]) == {"GBP"}
            costs = workshop.table("stage_part").merge(workshop.table("stage_visit"), on="visit_id")
            prices = costs.dropna(subset="unit_cost").set_index("job_no")["unit_cost"].to_dict()
            return report.files[0].notes, lines, visits["labour_charge"].to_dict(), prices

    settings.write_text('currency = "GBP"\n', encoding="utf-8")
    _, refused, *_ = loaded()
    assert refused == [("labour_charge", "€50.00"), ("parts", "drain pump @ $34; belt")]
    settings.write_text('currency = "GBP"\n[rates]\nEUR = 0.86\n', encoding="utf-8")
    notes, refused, charges, prices = loaded()
    assert refused == [("parts", "drain pump @ $34; belt")]
    assert charges == pytest.approx({"J1": 40, "J2": 43})
    assert prices == pytest.approx({"J1": 30, "J2": 17.2})
    assert any("EUR: 2 amounts" in note and "0.86 GBP" in note for note in notes)
    settings.write_text('currency = "GBP"\n[rates]\nEUR = 0.5\nUSD = 0.75\n', encoding="utf-8")
    _, refused, charges, prices = loaded()
    assert refused == []
    assert charges == pytest.approx({"J1": 40, "J2": 25, "J3": 60})
    assert prices == pytest.approx({"J1": 30, "J2": 10, "J3": 25.5})


def test_a_layouts_currency_has_a_rate_too_and_a_sign_of_two_rates_is_refused(tmp_path: Path) -> None:
    (tmp_path / "w.toml").write_text('currency = "GBP"\n[rates]\nEUR = 0.5\nUSD = 0.75\nCAD = 0.6\n', encoding="utf-8")
    (tmp_path / "euro.toml").write_text(
        'currency = "EUR"\n[columns]\n' + "".join(f'{c} = "{c}"\n' for c in HEAD.strip().split(",")), encoding="utf-8"
    )
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        workshop.load([written(tmp_path, "c.csv", "60.00")], layout=tmp_path / "euro.toml")
        second = workshop.load([written(tmp_path, "d.csv", "$60.00", "US$20.00", "C$10.00")])
        assert [line["value"] for line in second.files[0].rejected_lines] == ["$60.00"]
        assert sorted(workshop.table("stage_visit")["labour_charge"]) == pytest.approx([6, 15, 30])


@pytest.mark.parametrize("rates", ["EUR = 0", "EUR = 'half'", "euro = 0.8", "GBP = 1.0"])
def test_a_rate_that_cannot_be_is_told(tmp_path: Path, rates: str) -> None:
    (tmp_path / "w.toml").write_text(f'currency = "GBP"\n[rates]\n{rates}\n', encoding="utf-8")
    with pytest.raises(LayoutError, match="rates"):
        Workshop.open(tmp_path / "w.duckdb")


def test_the_names_of_columns_name_the_currency(tmp_path: Path) -> None:
    path = tmp_path / "office.csv"
    head = "Job,Visited,Machine,Serial no,Complaint,Parts used,Labour £,Status\n"
    path.write_text(
        head + "J1,2025-01-13,W/M,S11,leaks,drain pump @ 30,45,fixed\n"
        "J2,2025-01-14,W/M,S12,leaks,drain pump @ $41,50,fixed\n",
        encoding="utf-8",
    )
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        report = workshop.load([path], accept_guess=True)
        assert workshop.settings.currency == "GBP"
        assert [line["value"] for line in report.files[0].rejected_lines] == ["drain pump @ $41"]
        path.write_text(head.replace("£", "€") + "J3,2025-01-15,W/M,S13,leaks,,50,fixed\n", encoding="utf-8")
        with pytest.raises(LayoutError, match="names of the columns say EUR"):
            workshop.load([path], accept_guess=True)
        path.write_text(
            head.replace("£", "€").replace("Parts used", "Parts cost $") + "J4,2025-01-16,W/M,S14,leaks,9,50,fixed\n",
            encoding="utf-8",
        )
        with pytest.raises(LayoutError, match="different currencies"):
            workshop.load([path], accept_guess=True)


@pytest.mark.parametrize("amount", ["$ 80.00", "$80.00", "80.00 USD", "$ 80,00"])
def test_other_money_is_refused_however_its_decimals_are_written(tmp_path: Path, amount: str) -> None:
    layout = tmp_path / "euro.toml"
    columns = "".join(f'{c} = "{c}"\n' for c in HEAD.strip().split(","))
    layout.write_text(f'currency = "EUR"\ndecimal_mark = ","\n[columns]\n{columns}', encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        file = written(tmp_path, "a.csv", '"40,00"', f'"{amount}"')
        report = workshop.load([file], layout=layout)
        (line,) = report.files[0].rejected_lines
        assert (line["line_no"], line["value"]) == (3, amount)
        assert "currency" in line["rule"]


def test_a_file_without_lines_settles_no_currency(tmp_path: Path) -> None:
    layout = tmp_path / "euro.toml"
    columns = "".join(f'{c} = "{c}"\n' for c in HEAD.strip().split(","))
    layout.write_text(f'currency = "EUR"\n[columns]\n{columns}', encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        before = workshop.settings.currency
        assert not [n for n in workshop.load([written(tmp_path, "a.csv")], layout=layout).files[0].notes if "EUR" in n]
        assert workshop.settings.currency == before != "EUR"
        assert [
            n for n in workshop.load([written(tmp_path, "b.csv", "40")], layout=layout).files[0].notes if "EUR" in n
        ]
        assert workshop.settings.currency == "EUR"
