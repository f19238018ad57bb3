"""A made workshop laid straight into the stage tables, as a faultless reading of its files would.

Serial numbers, models and job numbers are as written (so they are missing where the writer left them out); terms are
the true ones.
"""

from __future__ import annotations

import csv
import pickle
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb
import pandas as pd

import sql
from tests.worlds.shared import built_once

if TYPE_CHECKING:
    from demo_data.generator.make import MadeWorld

WORDS = Path(__file__).parents[2] / "pipeline" / "words" / "en"
SETTING = "insert into setting values (30, 120, 48, 22, 35, 'GBP', null, false)"


def town(*, swap_habit: bool = True) -> MadeWorld:
    """The demo's town, or a smaller one whose technicians have no habits: made once a run; read it, never change it."""

    def make(folder: Path) -> None:
        from demo_data.generator.make import VISITS, make_world_files

        made = make_world_files(visits=VISITS if swap_habit else VISITS // 3, swap_habit=swap_habit)
        (folder / "town.pickle").write_bytes(pickle.dumps(made))

    folder = built_once("town" if swap_habit else "town-without-habits", make)
    made: MadeWorld = pickle.loads((folder / "town.pickle").read_bytes())
    return made


def staged(made: MadeWorld, *, with_serials: bool = True, as_of: str | None = None) -> duckdb.DuckDBPyConnection:
    """Lay a made workshop into a database and rebuild core and marts; visit_id is the row of its truth, from 1."""
    truth = made.truth_visits.reset_index(drop=True)
    lines = truth[["file", "line_no"]].merge(_written(made), on=["file", "line_no"], how="left", validate="1:1")
    visit = pd.DataFrame(
        {
            "visit_id": truth.index + 1,
            "record_id": truth.index + 1,
            "visit_date": pd.to_datetime(truth["visit_date"]),
            "kind": truth["kind"],
            "job_no": lines["job_no"],
            "customer_hash": lines["customer_ref"],
            "make": lines["make"].str.lower().str.replace(r"\W", "", regex=True),
            "model": lines["model"].str.upper().str.replace(r"[^A-Z0-9]", "", regex=True),
            "model_family": None,
            "serial": lines["serial"].str.upper().str.replace(r"[^A-Z0-9]", "", regex=True).str.replace("O", "0"),
            "age_years": pd.to_numeric(truth["age"]),
            "complaint": lines["complaint"],
            "findings_text": lines["findings"],
            "cause": truth["recorded_cause"].str.lstrip("?"),
            "cause_text": lines["cause"],
            "cause_is_confirmed": ~truth["recorded_cause"].str.startswith("?"),
            "work_done": lines["work_done"],
            "outcome": truth["outcome"],
            "technician": lines["technician"],
            "labour_minutes": truth["minutes"],
            "labour_charge": truth["labour"],
            "parts_cost": None,
            "currency": "GBP",
            "callback_of": lines["callback_of"],
        }
    ).replace({"": None})
    if not with_serials:
        visit["serial"] = None
    visit["age_years"] = visit["age_years"].astype("float64")
    visit["branch"] = visit["photos"] = None
    connection = duckdb.connect()
    sql.create(connection)
    connection.execute(SETTING)
    if as_of is not None:
        connection.execute("update setting set as_of = cast(? as date)", [as_of])
    frames = {"stage_visit": visit, "stage_symptom": _symptoms(truth), "stage_finding": _findings(truth)}
    frames |= {"stage_part": _parts(made, truth), "cure": _cures(), "symptom_group": _read("symptoms")}
    for table, frame in frames.items():
        columns = [name for (name,) in connection.execute(
            "select column_name from duckdb_columns() where table_name = ? order by column_index", [table]
        ).fetchall()]  # fmt: skip
        connection.register("frame", frame[columns])
        connection.execute(f"insert into {table} select * from frame")
        connection.unregister("frame")
    sql.rebuild(connection)
    return connection


def _written(made: MadeWorld) -> pd.DataFrame:
    from demo_data.generator.make import OFFICE_HEADERS

    jobs = made.jobs.assign(file="jobs.csv", line_no=made.jobs.index + 2)
    office = made.office.rename(columns={header: name for name, header in OFFICE_HEADERS.items()})
    office = office.assign(file="office_export.xlsx", line_no=made.office.index + 2)
    return pd.concat([jobs, office], ignore_index=True).fillna("")


def _symptoms(truth: pd.DataFrame) -> pd.DataFrame:
    told = truth["symptoms"].str.split("|").explode()
    told = told[told.fillna("") != ""]
    said = pd.DataFrame(
        {
            "visit_id": told.index + 1,
            "symptom": told.str.lstrip("-?~").to_numpy(),
            "source": "complaint",
            "is_negated": told.str.startswith("-").to_numpy(),
            "is_doubtful": told.str.startswith("?").to_numpy(),
        }
    )
    shown = truth[truth["code"] != ""]
    codes = pd.DataFrame(
        {
            "visit_id": shown.index + 1,
            "symptom": shown["code"].to_numpy(),
            "source": "code",
            "is_negated": False,
            "is_doubtful": False,
        }
    )
    return pd.concat([said, codes], ignore_index=True)


def _findings(truth: pd.DataFrame) -> pd.DataFrame:
    seen = truth["findings"].str.split("|").explode()
    seen = seen[seen.fillna("") != ""]
    pair = seen.str.split("=", n=1, expand=True)
    return pd.DataFrame(
        {"visit_id": pair.index + 1, "finding": pair[0].to_numpy(), "value": pair[1].to_numpy(), "is_doubtful": False}
    )


def _parts(made: MadeWorld, truth: pd.DataFrame) -> pd.DataFrame:
    numbered = truth[["file", "line_no"]].assign(visit_id=truth.index + 1)
    return made.truth_parts.merge(numbered, on=["file", "line_no"]).assign(
        quantity=1.0, as_written=lambda frame: frame["part"]
    )


def _cures() -> pd.DataFrame:
    rows = []
    for fault in _read("faults").fillna("").itertuples():
        for kind in fault.kinds.split("|"):
            for part in fault.parts.split("|"):
                rows.append((kind, fault.cause, part or None, "shipped"))
    return pd.DataFrame(rows, columns=["kind", "cause", "part", "origin"]).drop_duplicates()


def _read(name: str) -> pd.DataFrame:
    with (WORDS / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return pd.DataFrame(list(csv.DictReader(file)))
