"""All speeds at once: one table of ratios to a bare baseline, with peak memory and the size of the machine.

``python -m tests.benchmarks.speed.run [VISITS ...]`` (10,000 and 100,000 unless given). The demo's job sheets are laid beside
one another until there are so many visits, each copy with customers, serial numbers and job numbers of its own and
complaints mostly unique. Every figure comes from a process of its own; ``×`` is time against the baseline named beside
it, ``× CPU`` the same in processor time, which other work on the machine disturbs less.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any

import duckdb

import demo_data
from tests.benchmarks.speed import load, marts

ROOT = Path(__file__).resolve().parents[3]

VISITS = (10_000, 100_000)
MOST_TRAINED = 100_000  # more is asked for with --train-all
MORE = 100  # the second load brings one visit for so many held
ROUND = 200
ASKED = ("--kind", "washing machine", "--complaint", "not draining, hums", "--age", "6")
TILED = """
copy (
with copied as (
    select jobs.*, copy, cast(hash(line, copy) % 1000000007 as bigint) as draw
    from range({copies}) as copies(copy)
    cross join (select *, row_number() over () as line from read_csv('{jobs}', all_varchar = true)) as jobs
)
select
    coalesce(strftime(try_cast(visit_date as date) - cast(365 * (copy % 7) as integer), '%Y-%m-%d'), visit_date)
        as visit_date,
    appliance_kind,
    job_no || '-' || copy as job_no,
    customer_ref || '-' || copy as customer_ref,
    make,
    model,
    serial || 'X' || copy as serial,
    age,
    complaint || [' ', ', ref ', ' - call after ', ', quote '][1 + draw % 4] || draw % 100000
        || [' pls ', ' ', ' gate code ', ' flat '][1 + draw // 7 % 4] || draw // 11 % 1000 as complaint,
    fault_code,
    findings,
    cause,
    work_done,
    parts,
    outcome,
    technician || ' ' || copy % 6 as technician,
    minutes,
    labour_charge,
    parts_cost,
    callback_of || '-' || copy as callback_of
from copied
order by copy, line
limit {visits} offset {first}
) to '{path}' (header)
"""


def make_visits(visits: str, path: str, first: str = "0") -> dict[str, Any]:
    """Write a file of visits, the same for the same numbers, leaving out the ``first`` ones."""
    connection = duckdb.connect()
    ((lines,),) = connection.execute(f"select count(*) from '{demo_data.JOBS}'").fetchall()
    copies = -(-(int(first) + int(visits)) // lines)
    connection.execute(TILED.format(copies=copies, jobs=demo_data.JOBS, visits=visits, path=path, first=first))
    return {}


def make_round(path: Path) -> None:
    """Write a day's calls: the first of the demo's job sheets that name a kind, as the telephone took them."""
    with demo_data.ROUND.open(encoding="utf-8", newline="") as file:
        asked = next(csv.reader(file))
    with demo_data.JOBS.open(encoding="utf-8", newline="") as file:
        calls = [row for row in csv.DictReader(file) if row["appliance_kind"]][:ROUND]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, asked, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(calls)


@contextmanager
def timed(found: dict[str, Any]):
    """Put the wall and processor seconds of what runs inside into ``found``."""
    began = time.perf_counter(), time.process_time()
    yield
    found |= {"wall": time.perf_counter() - began[0], "cpu": time.process_time() - began[1]}


def scanned(database: str) -> dict[str, Any]:
    """Scan every column of the visits, nothing else."""
    found: dict[str, Any] = {}
    with duckdb.connect(database, read_only=True) as connection, timed(found):
        connection.execute(marts.BARE_SCAN).fetchall()
    return found


def trained(database: str) -> dict[str, Any]:
    """Learn causes."""
    from pipeline import Workshop

    found: dict[str, Any] = {}
    with Workshop.open(database) as workshop, timed(found):
        found["jobs"] = workshop.train(force=True)["episodes"]
    return found


def fitted(database: str) -> dict[str, Any]:
    """Fit scikit-learn's logistic regression once to the same jobs, one column a value: no exam, no baselines."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.preprocessing import OneHotEncoder

    from models.causes.features import wide
    from pipeline import Workshop

    found: dict[str, Any] = {}
    with Workshop.open(database, read_only=True) as workshop:
        jobs = workshop.table("cause_example")
    with timed(found):
        facts = OneHotEncoder().fit_transform(wide(jobs).astype(str))
        LogisticRegression(max_iter=100, tol=1e-3).fit(facts, jobs["cause"].astype(str))
    return found


def planned_round(database: str, calls: str) -> dict[str, Any]:
    """Plan a round."""
    from pipeline import Workshop

    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder, Workshop.open(database, read_only=True) as workshop, timed(found):
        workshop.round(calls, Path(folder) / "round.html")
    return found


def reported(database: str) -> dict[str, Any]:
    """Write a report of a month with many visits whose follow-up is over."""
    from pipeline import Workshop

    found: dict[str, Any] = {}
    with Workshop.open(database, read_only=True) as workshop:
        ((month,),) = workshop.database.connection.execute(
            "select strftime(month, '%Y-%m') from month_summary order by visits desc, month limit 1"
        ).fetchall()
        with tempfile.TemporaryDirectory() as folder, timed(found):
            workshop.report(month, out=Path(folder) / "report.html")
    return found


def cold(*command: str) -> dict[str, Any]:
    """Run a command five times from the start of the process; the quickest run counts."""
    runs = []
    for _ in range(5):
        began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=ROOT)
        wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
        runs.append({"wall": wall, "cpu": after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime})
    quickest = {key: min(run[key] for run in runs) for key in ("wall", "cpu")}
    return quickest | {"peak_mb": peak_mb(resource.RUSAGE_CHILDREN)}


def peak_mb(whose: int) -> float:
    """Most memory a process held, MB; Linux counts a child from what its parent held when it began, here about 40."""
    return resource.getrusage(whose).ru_maxrss / 1024


MEASURES: dict[str, Callable[..., dict[str, Any]]] = {
    "made": make_visits,
    "bare": load.bare,
    "loaded": load.loaded,
    "scanned": scanned,
    "trained": trained,
    "fitted": fitted,
    "round": planned_round,
    "reported": reported,
    "cold": cold,
}


def measured(what: str, *arguments: str) -> dict[str, Any]:
    """Run one measurement in a process of its own, on this tree."""
    told = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.speed.run", "--measure", what, *arguments],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    found: dict[str, Any] = json.loads(told.stdout.splitlines()[-1])
    return found


def quickest(what: str, *arguments: str, runs: int = 3) -> dict[str, Any]:
    """Measure a baseline several times; the quickest counts, so that no ratio looks better for a slow baseline."""
    found = [measured(what, *arguments) for _ in range(runs)]
    return {key: min(run[key] for run in found) for key in ("wall", "cpu")}


def row(visits: int, what: str, took: dict[str, Any], baseline: str, bare: dict[str, Any]) -> None:
    """Print one row of the table."""
    peak = f"{took['peak_mb']:,.0f} MB" if "peak_mb" in took else "–"
    print(
        f"{visits:>9,}  {what:22} {took['wall']:8.2f} s {took['cpu']:8.2f} s  {took['wall'] / bare['wall']:7.1f} ×"
        f" {took['cpu'] / bare['cpu']:7.1f} ×  {baseline:46} {bare['wall']:7.2f} s {peak:>9}",
        flush=True,
    )


def table(visits: int, folder: Path, *, trains: bool) -> None:
    """Print the rows of one size."""
    path, database, calls = folder / f"{visits}.csv", str(folder / f"{visits}.duckdb"), folder / "calls.csv"
    measured("made", str(visits), str(path))
    make_round(calls)
    reading = quickest("bare", str(path))
    loaded = measured("loaded", str(path), database)
    row(visits, "load, all", loaded, "DuckDB's read_csv into a table of text", reading)
    measured("made", str(visits // MORE), str(path), str(visits))
    more = measured("loaded", str(path), database)
    path.unlink()
    row(visits, f"then {visits // MORE:,} lines more", more, "the first load", loaded)
    scan = quickest("scanned", database)
    row(visits, "of it core and marts", loaded["building"], "scan of every column of visit", scan)
    row(visits, "report of a month", measured("reported", database), "scan of every column of visit", scan)
    if trains:
        learned = measured("trained", database)
        fit = measured("fitted", database)
        row(visits, f"train, {learned['jobs']:,} jobs", learned, "one logistic regression, one column a value", fit)
    start = [sys.executable, "-m", "pipeline.cli"]
    importing = measured("cold", sys.executable, "-c", "import sklearn.ensemble")
    asked = measured("cold", *start, "causes", *ASKED, "--db", database)
    row(visits, "causes, cold", asked, "python -c 'import sklearn.ensemble'", importing)
    opening = measured("cold", sys.executable, "-c", f"import duckdb; duckdb.connect({database!r})")
    row(visits, "status, cold", measured("cold", *start, "status", "--db", database), "opening it with duckdb", opening)
    row(visits, "--help, cold", measured("cold", *start, "--help"), "opening it with duckdb", opening)
    planned = measured("round", database, str(calls))
    row(visits, f"round of {ROUND} calls", planned, "causes, cold, once", asked)


def machine() -> str:
    """Describe where the figures come from."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    packages = ", ".join(f"{name} {version(name)}" for name in ("duckdb", "pandas", "scikit-learn"))
    return (
        f"{os.cpu_count()} cores, {memory:.0f} GB, Python {platform.python_version()}, {packages};"
        f" load when begun {os.getloadavg()[0]:.1f} (processes waiting for a core: more than the cores slows all)"
    )


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("visits", nargs="*", type=int, default=list(VISITS))
    parser.add_argument("--train-all", action="store_true", help=f"train above {MOST_TRAINED:,} visits too")
    parser.add_argument("--folder", help="keep the workshops made, in this folder")
    parser.add_argument("--measure", nargs=argparse.REMAINDER, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        what, *arguments = given.measure
        found = MEASURES[what](*arguments)
        print(json.dumps({"peak_mb": peak_mb(resource.RUSAGE_SELF)} | found))
        return
    print(machine())
    heads = f"{'visits':>9}  {'what':22} {'time':>10} {'CPU':>10}  {'×':>9} {'× CPU':>9}"
    print(f"{heads}  {'against':46} {'its time':>9} {'peak':>9}")
    with tempfile.TemporaryDirectory() as temporary:
        for visits in given.visits:
            trains = given.train_all or visits <= MOST_TRAINED
            table(visits, Path(given.folder or temporary), trains=trains)


if __name__ == "__main__":
    main()
