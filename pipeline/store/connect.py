"""A connection to the database file, as soon as other programs let it."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import duckdb

from pipeline.errors import DatabaseBusy, shown
from pipeline.store.unusable import unusable
from pipeline.store.workshop_files import place_of

SMALL = 64 << 20  # bytes of a database: work is shared out by 122,880 rows, so that more threads would only wait


class Patience:
    """Waits a bounded time in all for a file that others use, and says so once."""

    def __init__(self, path: Path, wait: float) -> None:
        self._path = path
        self._wait = wait
        self._give_up = time.monotonic() + wait
        self._has_said = False

    def pause(self) -> None:
        """Say once that there is waiting; the caller looks again.

        Raises
        ------
        DatabaseBusy
            The time is up.
        """
        if time.monotonic() > self._give_up:
            raise DatabaseBusy(
                f"Another program has held {shown(self._path, 200)} for more than {self._wait:.0f} seconds.",
                "Let it finish or close it, then run this again; nothing was changed.",
            )
        if not self._has_said:
            sys.stderr.write(f"Waiting up to {self._wait:.0f} seconds: another program is using {self._path.name}.\n")
            self._has_said = True


def connect(path: Path, patience: Patience, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Open the file, looking again while another process holds it.

    Raises
    ------
    DatabaseUnusable
        Not a database, damaged, or in a place that cannot be used.
    """
    place = place_of(path)
    config: dict[str, str | bool | int | float | list[str]] = {
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
    }
    if not place.exists() or place.stat().st_size < SMALL:
        config["threads"] = 1
    while True:
        try:
            return duckdb.connect(str(place), read_only=read_only, config=config)
        except duckdb.Error as fault:
            if "could not set lock" not in str(fault).lower():
                raise unusable(path, fault) from fault
        patience.pause()
        time.sleep(0.1)
