"""Job sheets in a language that is not shipped: a layout loads them, they train, and an answer names their own causes."""

from __future__ import annotations

import csv
from pathlib import Path

from pipeline import Workshop
from tests.worlds.empty import empty_workshop

HEADER = ["Jour", "Appareil", "Fiche", "Série", "Le client dit", "Cause", "Pièces", "Résultat"]
LAYOUT = """
name = "atelier"
date_format = "day first"
[columns]
visit_date = "Jour"
appliance_kind = "Appareil"
job_no = "Fiche"
serial = "Série"
complaint = "Le client dit"
cause = "Cause"
parts = "Pièces"
outcome = "Résultat"
[values.outcome]
"réparé" = "fixed"
"à revoir" = "not fixed"
"""
JOBS = 80
FAULTS = (
    ("lave-linge", "ne vidange pas", "pompe bloquée", "pompe de vidange"),
    ("lave-linge", "ne vidange plus, eau au fond", "filtre bouché", ""),
    ("lave-linge", "fuit par la porte", "joint de hublot déchiré", "joint de hublot"),
    ("four", "ne chauffe pas", "résistance coupée", "résistance"),
)


def sheets(path: Path, jobs: int = JOBS) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=";")
        writer.writerow(HEADER)
        for n in range(jobs):
            kind, complaint, cause, part = FAULTS[n % 4]
            day = f"{1 + n % 28:02d}/{1 + n // 28:02d}/2025"
            ended = "réparé" if n % 9 else "à revoir"
            writer.writerow([day, kind, f"F{n:04d}", f"N{n}", complaint, cause, part, ended])
    return path


def test_a_whole_file_loads_trains_and_answers(tmp_path: Path, quick_training: None) -> None:
    (tmp_path / "fiches.toml").write_text(LAYOUT, encoding="utf-8")
    (tmp_path / "w.toml").write_text("as_of = 2026-01-01\n", encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        report = workshop.load([sheets(tmp_path / "fiches.csv")])
        assert (report.totals["loaded"], report.totals["rejected"]) == (JOBS, 0)
        assert workshop.table("visit")["kind"].value_counts().to_dict() == {
            "lave-linge": JOBS * 3 // 4,
            "four": JOBS // 4,
        }
        asked = workshop.to_review()
        assert {"lave-linge", "four"} <= set(asked.loc[asked["list"] == "kind", "written"])
        told = workshop.train()
        assert (told["causes"], told["replaced"]) == (4, True)
        for kind, complaint, cause, _ in FAULTS:
            answer = workshop.causes(kind=kind, complaint=f"client: {complaint}").as_json()
            assert answer["causes"][0]["cause"] == cause
            assert answer["causes"][0]["probability"] > 0.5
