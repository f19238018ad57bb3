"""Time and memory of a load against bare reading of the same file, in one run.

``python -m tests.benchmarks.speed.load [LINES ...]`` (1,000,000 and 3,000,000 lines unless given) makes a file of visits with
complaints mostly unique, reads it bare with DuckDB's ``read_csv`` into a table of text, in memory and into a database
file (checkpoint included: a load keeps what it reads), loads it into a new workshop, and loads it again. Each figure
comes from a process of its own. Printed are ratios to both bare readings; seconds are beside them for scale.
With ``--files FILE ...`` the named files are loaded instead, one after another, and their counts printed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import duckdb

LINES = (1_000_000, 3_000_000)
ROWS = """
copy (
with said as (select
    ['not draining', 'wont spin', 'leaking from door', 'no heat', 'trips the electrics', 'noisy on spin', 'door stuck',
     'wont fill', 'totally dead', 'drum not turning', 'water left in drum', 'burning smell'] as what,
    ['since tuesday', 'after house move', 'every other wash', 'intermittent', 'cust says', 'happened before',
     'new kitchen last month', 'loud bang heard', 'on 40 deg', 'towels only'] as more)
select
    strftime(date '2016-01-01' + (i % 3000)::int, '%Y-%m-%d') as visit_date,
    ['W/M', 'washer dryer', 'Dishwasher', 'fridge freezer', 'tumble dryer'][(1 + hash(i) % 5)::int] as appliance_kind,
    'J' || i as job_no,
    'C' || hash(i * 7) % ({lines} // 3 + 1) as customer_ref,
    ['Arvel', 'Nusk', 'Corvo', 'Tellin'][(1 + hash(i * 3) % 4)::int] as make,
    'AB' || hash(i * 5) % 200 as model,
    'SN' || hash(i * 11) % ({lines} // 2 + 1) as serial,
    ['3 yrs', 'nearly 4', '2y10m', '2015', 'new', '', '7'][(1 + hash(i * 13) % 7)::int] as age,
    what[(1 + hash(i * 17) % 12)::int] || ', ' || more[(1 + hash(i * 19) % 10)::int] || ' ref ' || hash(i * 23) % 100000
        || ' and '
        || what[(1 + hash(i * 29) % 12)::int] as complaint,
    ['K07', '', 'E:12', '', 'err 7'][(1 + hash(i * 31) % 5)::int] as fault_code,
    ['water left=no; filter=clear', '', 'filter clear'][(1 + hash(i * 37) % 3)::int] as findings,
    ['blocked pump filter', 'drain pump', '?sensor', ''][(1 + hash(i * 41) % 4)::int] as cause,
    'work ' || hash(i * 43) % 5000 as work_done,
    ['drain pump x1 @ 34.50; door seal', '', 'elem + seal', '1 x PMP-204 drain pump @ 34.50']
        [(1 + hash(i * 47) % 4)::int]
        as parts,
    ['fixed', 'not fixed', 'part needed', 'NFF'][(1 + hash(i * 53) % 4)::int] as outcome,
    'T' || hash(i * 59) % 40 as technician,
    hash(i * 61) % 120 as minutes,
    '£' || hash(i * 67) % 200 || '.50' as labour_charge,
    hash(i * 71) % 90 || '.25' as parts_cost,
    null as callback_of
from range({lines}) as line(i), said
) to '{path}' (header)
"""


def make(lines: int, path: Path) -> None:
    """Write a file of visits, the same for the same number of lines."""
    duckdb.connect().execute(ROWS.format(lines=lines, path=path))


def measured(what: str, *arguments: str) -> dict[str, Any]:
    """Run one measurement in a process of its own, on this tree."""
    root = str(Path(__file__).parents[3])
    told = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.speed.load", "--measure", what, *arguments],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": root},
    )
    found: dict[str, Any] = json.loads(told.stdout.splitlines()[-1])
    return found


def bare(path: str, database: str = ":memory:") -> dict[str, Any]:
    """Read the file into a table of text, nothing else; one in a database file is written out."""
    Path(database).unlink(missing_ok=True)
    connection = duckdb.connect(database)
    began = time.perf_counter(), time.process_time()
    connection.execute("create table bare as select * from read_csv(?, all_varchar = true)", [path])
    if database != ":memory:":
        connection.execute("checkpoint")
    return {"wall": time.perf_counter() - began[0], "cpu": time.process_time() - began[1]}


def hashed(path: str) -> dict[str, Any]:
    """Read and hash the file."""
    began = time.perf_counter()
    with Path(path).open("rb") as file:
        hashlib.file_digest(file, "sha256").hexdigest()
    return {"wall": time.perf_counter() - began}


def loaded(path: str, database: str) -> dict[str, Any]:
    """Load the file and close the database; the time that building core and marts took is told apart."""
    import pipeline.load.load as loading
    from pipeline import Workshop

    building = {"wall": 0.0, "cpu": 0.0}
    refreshed = loading.refreshed

    @contextmanager
    def timed(connection: duckdb.DuckDBPyConnection, *more: Any) -> Iterator[None]:
        began = time.perf_counter(), time.process_time()
        with refreshed(connection, *more):
            building["wall"] += time.perf_counter() - began[0]
            building["cpu"] += time.process_time() - began[1]
            yield

    with Workshop.open(database) as workshop:
        setattr(loading, "refreshed", timed)  # noqa: B010 - the module's function, for this process only
        began = time.perf_counter(), time.process_time()
        totals = workshop.load([path]).totals
        before_closing = time.perf_counter() - began[0]
    wall, cpu = time.perf_counter() - began[0], time.process_time() - began[1]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    found = {"wall": wall, "cpu": cpu, "building": building, "before_closing": before_closing}
    return found | {"peak_mb": peak, "totals": totals}


def compare(lines: int, folder: Path) -> dict[str, float]:
    """Print the ratios for a file of ``lines`` lines."""
    path = folder / f"{lines}.csv"
    make(lines, path)
    bases = {
        place: min((measured("bare", str(path), where) for _ in range(3)), key=lambda m: m["wall"])
        for place, where in (("memory", ":memory:"), ("a database file", str(folder / "bare.duckdb")))
    }
    first = measured("loaded", str(path), str(folder / f"{lines}.duckdb"))
    again = min(measured("loaded", str(path), str(folder / f"{lines}.duckdb"))["before_closing"] for _ in range(3))
    digest = min(measured("hashed", str(path))["wall"] for _ in range(3))
    building = first["building"]
    print(f"{lines:,} lines, {path.stat().st_size >> 20:,} MB: {first['totals']}")
    for place, base in bases.items():
        print(f"  {f'bare, into {place}':28} {base['wall']:6.2f} s   {base['cpu']:6.2f} CPU s")
    for name, wall, cpu in (
        ("whole load", first["wall"], first["cpu"]),
        ("  of it records in", first["wall"] - building["wall"], first["cpu"] - building["cpu"]),
        ("  of it core and marts", building["wall"], building["cpu"]),
    ):
        print(f"  {name:28} {wall:6.2f} s   {cpu:6.2f} CPU s")
        for place, base in bases.items():
            ratios = f"{wall / base['wall']:6.1f} ×   {cpu / base['cpu']:6.1f} × in CPU time"
            print(f"      × bare, into {place:15} {ratios}")
    print(f"  peak memory                  {first['peak_mb']:,.0f} MB")
    print(f"  second load                  {again:6.2f} s   {again / digest:5.1f} × reading and hashing it")
    path.unlink()
    return {"wall": first["wall"], "cpu": first["cpu"], "peak": first["peak_mb"]}


def named(*files: str) -> dict[str, Any]:
    """Load files into one new workshop and tell what became of their lines."""
    from pipeline import Workshop

    lines = []
    with tempfile.TemporaryDirectory() as folder, Workshop.open(Path(folder) / "workshop.duckdb") as workshop:
        for file in files:
            began = time.perf_counter()
            report = workshop.load([file])
            lines.append(f"{report.lines()[0]}  {time.perf_counter() - began:.2f} s")
        for column in workshop.status()["columns"]:
            share = "–" if column["share"] is None else f"{column['share']:.1%}"
            lines.append(f"  {column['column']:16} given {column['given']:7,}   understood {share}")
    return {"lines": lines}


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("lines", nargs="*", type=int, default=list(LINES))
    parser.add_argument("--measure", nargs="+", help=argparse.SUPPRESS)
    parser.add_argument("--files", nargs="+")
    given = parser.parse_args()
    if given.measure:
        what, *arguments = given.measure
        print(json.dumps({"bare": bare, "hashed": hashed, "loaded": loaded, "named": named}[what](*arguments)))
        return
    if given.files:
        print("\n".join(measured("named", *given.files)["lines"]))
        return
    with tempfile.TemporaryDirectory() as folder:
        found = [compare(lines, Path(folder)) for lines in given.lines]
    for (fewer, one), (more, other) in pairwise(zip(given.lines, found, strict=True)):
        print(
            f"{more / fewer:.1f} × the lines take {other['wall'] / one['wall']:.2f} × the time "
            f"({other['cpu'] / one['cpu']:.2f} × in CPU time) and {other['peak'] / one['peak']:.2f} × the memory "
            f"({other['peak']:,.0f} MB against {one['peak']:,.0f} MB)"
        )


if __name__ == "__main__":
    main()
