"""Advice taken up is written down, compared before and since, and can be taken back."""

from __future__ import annotations

import csv
import datetime as dt
import json
import shutil
from pathlib import Path

import pytest

from pipeline import Workshop
from pipeline.errors import UsageError
from pipeline.terminal import views
from reports.render.wording import Wording
from tests.worlds.empty import empty_workshop

DAY = "2025-07-01"


def write_jobs(path: Path) -> None:
    """Level sensors: wrong in 12 of 14 units until July 2025, in 1 of 14 since; each told by what cured it."""
    rows = []
    for number in range(28):
        first = dt.date(2025, 1, 1) + dt.timedelta(days=13 * number)
        is_wrong = number % 14 < (12 if first < dt.date.fromisoformat(DAY) else 1)
        unit = {
            "appliance_kind": "washing machine", "make": "Tavrik", "model": "TW540", "serial": f"TW{4000 + number}",
            "customer_ref": f"C-{number}", "complaint": "not draining", "technician": "Ada", "minutes": 40,
        }  # fmt: skip
        sensor = {"job_no": f"J{number}", "parts": "level sensor @ 26", "visit_date": first}
        if not is_wrong:
            rows.append({**unit, **sensor, "cause": "level sensor fault", "outcome": "fixed"})
            continue
        rows.append({**unit, **sensor, "cause": "", "outcome": "not fixed"})
        rows.append(
            {
                **unit, "job_no": f"J{number}b", "visit_date": first + dt.timedelta(days=5), "parts": "",
                "cause": "partly blocked sump hose", "work_done": "cleared sump hose", "outcome": "fixed",
            }
        )  # fmt: skip
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, restval="")
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A workshop that has loaded them; read it, never change it."""
    folder = tmp_path_factory.mktemp("adopted")
    write_jobs(folder / "jobs.csv")
    (folder / "w.toml").write_text("as_of = 2026-06-01\n")
    with Workshop.open(empty_workshop(folder / "w.duckdb")) as opened:
        opened.load([folder / "jobs.csv"])
    return folder


@pytest.fixture
def folder(made, tmp_path):
    return shutil.copytree(made, tmp_path / "shop")


@pytest.fixture
def workshop(folder):
    with Workshop.open(folder / "w.duckdb") as opened:
        yield opened


def test_advice_taken_up_is_compared_before_and_since(workshop):
    told = workshop.advice()
    assert told["adopted"] == []
    number = next(row["number"] for row in told["rows"] if row["part"] == "level sensor")
    taken = workshop.adopt(number, DAY)
    assert taken["adopted_on"] == DAY
    told = json.loads(json.dumps(workshop.advice(), allow_nan=False))
    (row,) = told["adopted"]
    assert (row["before"], row["before_of"]) == (12, 14)
    assert (row["after"], row["after_of"]) == (1, 14)
    assert row["change"] == pytest.approx(1 / 14 - 12 / 14)
    assert row["high"] < 0
    assert "fewer wrong parts" in row["said"]
    assert told["rows"][number - 1]["adopted_on"] == DAY


def test_every_line_of_advice_comes_with_its_cautions(workshop):
    workshop.adopt(1, DAY)
    told = workshop.advice()
    text = "\n".join(views.advice(told, Wording()))
    assert all(row["cautions"] for row in [*told["rows"], *told["adopted"]])
    assert all(f"! {caution}" in text for row in told["rows"] for caution in row["cautions"])
    assert "! Local codes" in text
    assert "12 of 14" in text


def test_advice_is_said_in_the_workshops_language(workshop):
    taken = workshop.adopt(1, DAY)
    german = Wording("de", "EUR")
    told = workshop.advice()
    lines = [*views.adopted(taken, german), *views.advice(told, german), *views.taken_back(taken, german)]
    text = "\n".join(lines)
    assert "Unabhängig von der Beanstandung" in text
    assert "erst danach Niveausensor einbauen" in text
    assert "waren nicht die Ursache" in text
    assert "1 von 14 seither" in text
    english = {word for row in told["rows"] for word in (row["part"], row["look_first"], *row["kinds"], row["says"])}
    assert not [word for word in english if word in text]
    assert not {"not", "the", "before", "since", "were", "taken"} & set(text.replace(":", " ").split())


def test_what_was_taken_up_survives_a_load_and_is_no_word(workshop, folder):
    workshop.adopt(1, DAY)
    before = workshop.advice()["adopted"]
    (folder / "more.csv").write_text("visit_date,appliance_kind,job_no,complaint\n2026-01-02,w/m,N1,leaks\n")
    workshop.load([folder / "more.csv"])
    assert workshop.advice()["adopted"] == before
    assert "advice" not in set(workshop.to_review()["list"])
    workshop.close()
    with Workshop.open(folder / "w.duckdb", read_only=True) as again:
        assert again.words is not None
        assert again.advice()["adopted"] == before


def test_it_can_be_taken_back_and_not_taken_twice(workshop):
    taken = workshop.adopt(1, DAY)
    with pytest.raises(UsageError, match="already"):
        workshop.adopt(1, "2025-08-01")
    workshop.undo_advice(taken["advice_id"])
    assert workshop.advice()["adopted"] == []
    assert workshop.adopt(1, "2025-08-01")["adopted_on"] == "2025-08-01"


def test_a_number_or_day_that_is_none_is_refused(workshop):
    for number, on in [(0, DAY), (99, DAY), (-1, DAY), (1, "last week"), (1, "01/07/2025")]:
        with pytest.raises(UsageError):
            workshop.adopt(number, on)
    assert workshop.advice()["adopted"] == []


def test_advice_of_an_older_program_moves_into_its_own_table(workshop, folder):
    taken = workshop.adopt(1, DAY)
    before = workshop.advice()["adopted"]
    pattern = workshop.table("advice_taken").iloc[0][
        ["part", "kind", "make", "complaint", "code", "finding", "look_first"]
    ]
    told = json.dumps({name: None if value != value else value for name, value in pattern.items()})
    connection = workshop.database.connection
    connection.execute("drop table advice_taken")
    connection.execute(
        "insert into correction values (?, now()::timestamp, 'advice', ?, ?, null)", [taken["advice_id"], told, DAY]
    )
    connection.execute("update database_version set version = 3")
    connection.execute("comment on table database_version is null")  # it signed nothing
    workshop.close()
    with Workshop.open(folder / "w.duckdb") as again:
        assert again.advice()["adopted"] == before
        assert again.table("correction").empty
