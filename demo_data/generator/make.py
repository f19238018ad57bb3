"""Make the demo workshop's exports, tomorrow's round and the truth behind them: ``python -m demo_data.generator.make``.

Tidewell Appliance Care of Saltmere is invented, as are its town, makes, models, customers and technicians.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from demo_data.generator import FOLDER, visit_record, writing
from demo_data.generator.expected_figures import first_time_fix, is_in_records, part_verdicts
from demo_data.generator.history import RECORDS_FROM, RECORDS_TO, SAME_FAULT_DAYS, Episode, Record, Town
from demo_data.generator.makes import code
from demo_data.generator.technicians import HABITS
from demo_data.generator.visit_record import COLUMNS, Row
from demo_data.generator.world import Call, World
from reports.render.sheet_metadata import name_no_program

SEED, VISITS = 20261101, 6000
OFFICE_UNTIL = date(2023, 9, 30)  # the old office program's last day; its export is the second shape

OFFICE_HEADERS = {
    "job_no": "Job", "visit_date": "Date of call", "customer_ref": "Account", "appliance_kind": "Product",
    "make": "Manufacturer", "model": "Model No.", "serial": "Serial No.", "age": "Age / year",
    "complaint": "Fault reported",
    "fault_code": "Display", "findings": "Found", "cause": "Diagnosis", "work_done": "Engineer notes",
    "part": "Part used",
    "part_quantity": "Qty", "part_unit_cost": "Unit price", "outcome": "Status", "technician": "Engineer",
    "minutes": "Time on job", "labour_charge": "Labour", "callback_of": "Recall of job",
}  # fmt: skip
OFFICE_STATUS = {
    "fixed": "C - Complete", "not fixed": "R - Revisit", "part needed": "P - Parts on order",
    "no fault found": "N - NFF",
    "beyond economic repair": "B - BER", "declined": "D - Declined", "no access": "X - No access",
    "made safe": "S - Made safe", "advice only": "A - Advice",
}  # fmt: skip
BAD_LINES: tuple[dict[str, str], ...] = (
    {"visit_date": "2024-02-30", "appliance_kind": "W/M", "job_no": "J24-90001", "complaint": "not draining"},
    {"visit_date": "", "appliance_kind": "dishwasher", "job_no": "J24-90002", "complaint": "leaking"},
    {"visit_date": "2025-05-12", "appliance_kind": "", "job_no": "J25-90003", "complaint": "noisy"},
    {"visit_date": "2025-11-03", "appliance_kind": "TD", "complaint": "not heating", "outcome": "fixed"},
)  # lines that a load must refuse, each for one reason


@dataclass(frozen=True)
class MadeWorld:
    """One made workshop.

    Attributes
    ----------
    jobs
        One line a visit, the tool's own layout, text as written; refusable lines among them.
    office
        One line a part of the older visits, headers of the office program.
    truth_visits, truth_parts
        What truly happened, with the file and line of each visit and part; only tests read them.
    episodes
        Every episode with all its visits, those after the end of the records too.
    """

    jobs: pd.DataFrame
    office: pd.DataFrame
    truth_visits: pd.DataFrame
    truth_parts: pd.DataFrame
    episodes: list[Episode]


def make_world_files(
    seed: int = SEED,
    out_folder: Path | None = None,
    *,
    visits: int = VISITS,
    swap_habit: bool = True,
    office_until: date = OFFICE_UNTIL,
    world: World | None = None,
) -> MadeWorld:
    """Make one workshop.

    Parameters
    ----------
    seed
        The same seed gives the same files, byte for byte.
    out_folder
        Where the files go; None writes none.
    visits
        About how many visits the records hold.
    swap_habit
        False leaves the planted habits out.
    office_until
        Visits to this day go to the office export; a day before the records begin puts all into ``jobs.csv``.
    """
    world = world or World()
    rng = np.random.default_rng([seed, 7])
    episodes = Town(world, seed, visits, HABITS if swap_habit else ()).simulate()
    records = sorted(
        (r for episode in episodes for r in episode.records if RECORDS_FROM <= r.day <= RECORDS_TO),
        key=lambda r: (r.day, r.episode_id, r.job),
    )
    numbers = _job_numbers(episodes, office_until)
    rows = [visit_record.visit(rng, world, record, numbers) for record in records]
    rows += visit_record.gas_visits(rng, visits // 240)
    rows.sort(key=lambda row: (row["_entered"], row["job_no"]))
    made = _files(rows, episodes, office_until)
    if out_folder is not None:
        write(made, out_folder)
    return made


def _job_numbers(episodes: list[Episode], office_until: date) -> dict[tuple[int, int], str]:
    """Number the jobs by day; the office program starts again at 0001 every January, so its numbers come twice.

    A landlord's calls of one month share a number, whatever the unit.
    """
    first: dict[tuple[int, int], date] = {}
    for episode in episodes:
        for record in episode.records:
            first.setdefault((episode.episode_id, record.job), record.day)
    landlords = {e.episode_id: e.unit.customer for e in episodes if not (e.unit.customer or "C-").startswith("C-")}
    numbers: dict[tuple[int, int], str] = {}
    count: dict[tuple[int, bool], int] = {}
    shared: dict[tuple[str, int, int, bool], str] = {}
    for key, day in sorted(first.items(), key=lambda item: (item[1], item[0])):
        is_office = day <= office_until
        slot = (day.year, is_office)
        landlord = landlords.get(key[0]) if key[1] == 0 else None
        if landlord and (number := shared.get((landlord, day.year, day.month, is_office))):
            numbers[key] = number
            continue
        count[slot] = count.get(slot, 0) + 1
        numbers[key] = f"{count[slot]:04d}" if is_office else f"J{day.year % 100}-{count[slot]:05d}"
        if landlord:
            shared[landlord, day.year, day.month, is_office] = numbers[key]
    return numbers


def _files(rows: list[Row], episodes: list[Episode], office_until: date) -> MadeWorld:
    verdicts = part_verdicts(episodes)
    statuses = first_time_fix(episodes)
    jobs: list[Row] = []
    office: list[Row] = []
    truth: list[Row] = []
    truth_parts: list[Row] = []
    bad_at = {
        round((number + 1) * len(rows) / (len(BAD_LINES) + 3)) + len(rows) // 3: bad
        for number, bad in enumerate(BAD_LINES)
    }
    visit_no = {id(r): n for e in episodes for n, r in enumerate(filter(is_in_records, e.records), start=1)}
    for number, row in enumerate(rows):
        is_office = row["visit_date"] <= office_until.isoformat()
        name = "office_export.xlsx" if is_office else "jobs.csv"
        if number in bad_at and not is_office:
            jobs.append(dict.fromkeys(COLUMNS, "") | bad_at[number])
        line_no = (len(office) if is_office else len(jobs)) + 2
        if is_office:
            office += _office_lines(row)
        else:
            jobs.append({column: row[column] for column in COLUMNS})
        record: Record | None = row["_record"]
        episode_id = record.episode_id if record else -number
        gas = "not counted" if row["_outcome"] == "advice only" else "not fixed first time"
        truth.append({
            "file": name, "line_no": line_no, "job_no": row["job_no"], "visit_date": row["visit_date"],
            "unit": record.unit.unit_id if record else -number, "episode": episode_id,
            "visit_no": visit_no.get(id(record), 1), "kind": record.call.kind if record else "gas appliance",
            "cause": record.call.cause if record else "",
            "first_time_fix": statuses.get(episode_id, gas) if visit_no.get(id(record), 1) == 1 else "",
            "outcome": row["_outcome"], "age": "" if np.isnan(row["_age"]) else f"{row['_age']:.2f}",
            "code": row["_code"],
            "symptoms": "|".join({"said": "", "denied": "-", "doubtful": "?", "own": "~"}[how] + term for term,
            how in row["_told"].items()),
            "recorded_cause": ("?" if row["_doubt"] else "") + row["_cause"],
            "findings": "|".join(f"{finding}={value}" for finding, value in row["_found"].items()),
            "minutes": row["_minutes"], "labour": row["_labour"],
        })  # fmt: skip
        for part_no, (part, _, price) in enumerate(row["_parts"], start=1):
            verdict = verdicts[id(record), part_no - 1] if record else ""
            truth_parts.append({
                "file": name, "line_no": line_no, "part_no": part_no, "part": part, "unit_cost": price,
                "verdict": verdict,
                "episode": episode_id, "habit": (record.visit.habit or "") if record and part_no == 1 else "",
            })  # fmt: skip
    return MadeWorld(
        pd.DataFrame(jobs, columns=list(COLUMNS), dtype="str"),
        pd.DataFrame(office, columns=list(OFFICE_HEADERS.values()), dtype="str"),
        pd.DataFrame(truth),
        pd.DataFrame(truth_parts),
        episodes,
    )


def _office_lines(row: Row) -> list[dict[str, str]]:
    day = date.fromisoformat(row["visit_date"])
    cells = {header: row.get(column, "") for column, header in OFFICE_HEADERS.items()}
    cells["Date of call"] = day.strftime("%d/%m/%Y")
    cells["Status"] = OFFICE_STATUS[row["_outcome"]]
    hours, minutes = divmod(row["_minutes"], 60)
    cells["Time on job"] = f"{hours}h{minutes:02d}"
    cells["Labour"] = f"{row['_labour']:.2f}" if row["_labour"] else ""
    lines = []
    for part, line_text, price in row["_parts"] or [("", "", 0.0)]:
        line = dict(cells)
        if part:
            name = line_text.split(" @ ")[0].removeprefix("1 x ").removeprefix("1x ").removesuffix(" x1")
            line |= {"Part used": name, "Qty": "1", "Unit price": f"{price:.2f}"}
        lines.append(line)
    return lines


def tomorrow(seed: int, world: World) -> pd.DataFrame:
    """Draw tomorrow's calls; the first is the demo's story: a heating code, where poor airflow tripped the cut-out."""
    rng = np.random.default_rng([seed, 11])
    calls: list[Call] = []
    while not calls:
        call = world.call(rng, "tumble dryer", "Corvanta", "CT540S", 5.2, 11)
        if (
            call.cause == "thermal cut-out tripped by poor airflow"
            and call.code == code("Corvanta", "heat")
            and call.symptoms == {"does not heat": True}
        ):
            calls.append(call)
    for kind in (
        "washing machine",
        "washing machine",
        "dishwasher",
        "fridge-freezer",
        "washing machine",
        "electric oven",
        "washer-dryer",
    ):
        calls.append(world.call(rng, kind, month=11))
    rows: list[Row] = []
    for number, call in enumerate(calls, start=1):
        text, _ = writing.complaint(rng, call.kind, call.symptoms, call.code is not None, call.manners)
        rows.append(dict.fromkeys(COLUMNS[:10], "") | {
            "visit_date": "2026-11-02", "appliance_kind": writing.kind(rng, call.kind),
            "job_no": f"J26-{99000 + number}",
            "customer_ref": f"C-{20000 + number}", "make": call.make, "model": call.model,
            "age": writing.age(rng, call.age_years, 2026)[0], "complaint": text,
            "fault_code": writing.code(rng, call.code) if call.code else "",
        })  # fmt: skip
    return pd.DataFrame(rows)


def write(made: MadeWorld, folder: Path) -> None:
    """Write exports and truth into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    made.jobs.to_csv(folder / "jobs.csv", index=False, lineterminator="\n")
    packed = {"method": "gzip", "mtime": 0}
    made.truth_visits.to_csv(folder / "truth_visits.csv.gz", index=False, lineterminator="\n", compression=packed)
    made.truth_parts.to_csv(folder / "truth_parts.csv", index=False, lineterminator="\n")
    _write_sheet(made.office, folder / "office_export.xlsx")


def _write_sheet(frame: pd.DataFrame, path: Path) -> None:
    import xlsxwriter

    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(path, options) as book:
        book.set_properties({"created": pd.Timestamp(2023, 10, 1).to_pydatetime()})
        sheet = book.add_worksheet("Jobs")
        sheet.write_row(0, 0, list(frame.columns))
        for number, row in enumerate(frame.itertuples(index=False), start=1):
            for column, value in enumerate(row):
                if frame.columns[column] in ("Qty", "Unit price", "Labour") and value:
                    sheet.write_number(number, column, float(value))
                elif value:
                    sheet.write_string(number, column, value)
    name_no_program(path)


def write_round_and_layout(seed: int, folder: Path, world: World) -> None:
    """Write tomorrow's round and the layout of the office export into a folder."""
    tomorrow(seed, world).to_csv(folder / "round.csv", index=False, lineterminator="\n")
    write_layout(folder / "office_export.toml")


def write_layout(path: Path) -> None:
    """Write the layout of the office export."""
    lines = [
        "# The office program of Tidewell Appliance Care, used until September 2023: one line a part, dates day first.",
        'name = "tidewell office"',
        'grain = "part"',
        'date_format = "%d/%m/%Y"',
        'currency = "GBP"',
        "",
        "[columns]",
        *(f'{name} = "{header}"' for name, header in OFFICE_HEADERS.items()),
        "",
        "[values.outcome]",
        *(f'"{status}" = "{outcome}"' for outcome, status in OFFICE_STATUS.items()),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Write the committed demo files, or another seed's, into a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--visits", type=int, default=VISITS)
    parser.add_argument("--folder", type=Path, default=FOLDER)
    parser.add_argument("--no-swap-habit", action="store_true", help="leave the planted habits out")
    given = parser.parse_args()
    world = World()
    make_world_files(given.seed, given.folder, visits=given.visits, swap_habit=not given.no_swap_habit, world=world)
    write_round_and_layout(given.seed, given.folder, world)


__all__ = [
    "BAD_LINES",
    "RECORDS_TO",
    "SAME_FAULT_DAYS",
    "MadeWorld",
    "make_world_files",
    "tomorrow",
    "write",
    "write_round_and_layout",
]

if __name__ == "__main__":
    main()
