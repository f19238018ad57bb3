"""Writes a small invented workshop as the program of the day keeps it; its backup is stored here, a file a version.

``version-1.zip`` was written by the program of commit baba31a, the last whose tables were version 1, ``version-2.zip``
by that of 585bc72, before ``visit`` and other tables became views, ``version-3.zip`` by that of 325a0a8, before advice
taken up got a table of its own, ``version-4.zip`` by that of 19505cb, before jobs named their branch, ``version-5.zip`` by that of
60a762e, before visits had photographs. The first two were written anew from later job sheets and word lists. Before a change
that raises ``sql.SCHEMA_VERSION``: ``python -m tests.old_workshops.make tests/old_workshops/version-N.zip``
"""

from __future__ import annotations

import csv
import sys
import tempfile
from pathlib import Path

import demo_data  # the checkout goes first on the path
from pipeline import Workshop
from pipeline.store.backup import write_backup

LINES = 160
REFUSED = ["someday", "oven", "J-refused"]  # its date says no day
UNKNOWN_PART = "grommet plate"


def main(target: Path) -> None:
    """Load some of the demo's job sheets, refuse one line, decide on one word, learn, and back it all up."""
    with tempfile.TemporaryDirectory() as name, demo_data.FILES["jobs"].open(encoding="utf-8", newline="") as file:
        folder = Path(name)
        header, *lines = list(csv.reader(file))[: LINES + 1]
        lines[0][header.index("parts")] = UNKNOWN_PART
        with (folder / "jobs.csv").open("w", encoding="utf-8", newline="") as jobs:
            csv.writer(jobs).writerows([header, *lines, REFUSED])
        (folder / "decisions.csv").write_text(f"list,written,decision\npart,{UNKNOWN_PART},own\n", encoding="utf-8")
        (folder / "workshop.toml").write_text("hour_rate = 50.0\n", encoding="utf-8")
        with Workshop.open(folder / "workshop.duckdb") as workshop:
            workshop.load([folder / "jobs.csv"])
            workshop.take_decisions(folder / "decisions.csv")
            workshop.train()
        write_backup(folder / "workshop.duckdb", target)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
