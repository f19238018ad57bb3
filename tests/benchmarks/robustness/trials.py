"""What the long runs of commands share: their words, a look at a workshop from outside, the table at the end."""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import sql
from pipeline import Workshop
from tests.benchmarks.robustness.commands import DB, READY, every, prepare
from tests.command_in_fork import imported


def asked(usual: int) -> tuple[int, int, list[str]]:
    """Return what the command line asks: how many, from which seed, of which commands."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdecimal()]
    many, seed = (*numbers, *(usual, 0)[len(numbers) :])
    return many, seed, [word for word in sys.argv[1:] if word in every()] or list(every())


@contextmanager
def prepared(prefix: str) -> Iterator[Path]:
    """Yield a folder with the small workshop in its folder ``base``, removed at the end."""
    exec(READY)  # once, before the forks
    imported()
    folder = Path(tempfile.mkdtemp(prefix=prefix))
    try:
        prepare(folder / "base")
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)  # a command that was running when the run was ended still writes


def apart(task: Callable[[], Any]) -> tuple[Any, str]:
    """Run a task in a process of its own, so that no database is opened in this one; what it gave, and its fault."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        try:
            told = [task(), ""]
        except BaseException as fault:
            where = traceback.extract_tb(fault.__traceback__)[-1]
            told = [None, f"{type(fault).__name__}: {str(fault)[:200]} at {Path(where.filename).name}:{where.lineno}"]
        os.write(write_end, json.dumps(told).encode())
        os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        told = json.loads(pipe.read() or '[null, "it died"]')
    os.waitpid(child, 0)
    return told[0], told[1]


def offences(workshop: Workshop) -> list[str]:
    """Rules of the tables that the workshop breaks."""
    return [name for name, rows in sql.offenders(workshop.database.connection).items() if rows]


def broken(folder: Path) -> list[str]:
    """Rules that the workshop in a folder breaks; raises where it cannot be opened."""
    with Workshop.open(folder / DB) as workshop:
        return offences(workshop)


def program() -> dict[str, int]:
    """When each file of the program was written; commands read lists, templates and modules as they need them."""
    root = Path(sql.__file__).parents[1]
    folders = (root / name for name in ("pipeline", "sql", "models", "reports", "tests"))
    files = (path for folder in folders for path in folder.rglob("*") if path.suffix != ".pyc" and path.is_file())
    return {str(path): path.stat().st_mtime_ns for path in files}


@dataclass
class Tally:
    """How each command ended, and the faults; printed also where the run is ended before its time."""

    planned: int
    ended: Counter[tuple[str, Any]] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    done: int = 0
    _began: float = field(default_factory=time.monotonic)
    _program: dict[str, int] = field(default_factory=program)

    def add(self, what: str, how: object, faults: Sequence[str]) -> None:
        """Note one trial; ends the run where the program was changed under it, for that shows as faults."""
        if changed := {*program().items()} ^ {*self._program.items()}:
            raise SystemExit(f"The program was changed under the run: {sorted(changed)[0][0]}")
        self.done += 1
        self.faults += [f"{what}: {fault}" for fault in faults]
        print(f"{self.done}/{self.planned} {what}: {how} {'; '.join(faults)}", file=sys.stderr, flush=True)

    def tell(self, names: Sequence[str], columns: Sequence[Any]) -> None:
        """Print how often each command ended in which way, and the faults."""
        print(f"{self.done} of {self.planned} in {time.monotonic() - self._began:,.0f} s, {len(self.faults)} faults")
        print(f"{'command':10s}" + "".join(f" {column!s:>6s}" for column in columns))
        for name in names:
            print(f"{name:10s}" + "".join(f" {self.ended[name, column]:6d}" for column in columns))
        print("\n".join(self.faults), flush=True)
