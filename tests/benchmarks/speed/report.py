"""How long a month's report takes over a made-up workshop, and where the time goes, against a bare scan of the visits.

Run: python -m tests.benchmarks.speed.report [VISITS ...]   (100,000 and 1,000,000 by default; two threads)
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

from pipeline.month.month import month_report
from pipeline.settings import Settings
from pipeline.words import Words
from tests.worlds.report_workshop import made_workshop

VISITS_A_FAULT = 1.2
YEARS = 10


def measure(visits: int, folder: Path) -> None:
    """Make a workshop of ten years, report on a settled month of it twice, and print the times."""
    connection = made_workshop(int(visits / VISITS_A_FAULT), str(folder / f"{visits}.duckdb"), days=365 * YEARS)
    connection.execute("set threads = 2")
    ((loaded,),) = connection.execute("select count(*) from visit").fetchall()
    begun = time.perf_counter()
    connection.execute("select sum(length(complaint)), sum(labour_minutes), max(visit_date) from visit").fetchall()
    scan = time.perf_counter() - begun
    for run in ("first", "again"):
        begun, worked = time.perf_counter(), time.process_time()
        report = month_report(
            SimpleNamespace(connection=connection, path=None),
            Settings(),
            "2033-08",
            out=folder / "report.html",
            words=Words.load(),
        )
        took, worked = time.perf_counter() - begun, time.process_time() - worked
        shares = ", ".join(f"{what} {seconds:.1f} s ({seconds / took:.0%})" for what, seconds in report.seconds.items())
        print(
            f"{loaded:>9,} visits, {run}: {took:.1f} s ({worked:.1f} s of processor); {shares}; "
            f"{took / scan:,.0f} times a bare scan of the visits ({scan * 1000:.0f} ms); "
            f"{len(report.html) / 1e6:.1f} MB"
        )


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        for size in [int(argument.replace(",", "")) for argument in sys.argv[1:]] or [100_000, 1_000_000]:
            measure(size, Path(made))
