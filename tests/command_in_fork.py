"""Runs commands in a fork of the tests' own process: what is imported once need not be imported again."""

from __future__ import annotations

import gc
import os
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from pipeline import cli


class Ran(NamedTuple):
    status: int
    out: str
    err: str


def in_fork(folder: Path, words: str, inside: Callable[[], Any] = lambda: None, *, db: str = "workshop.duckdb") -> Ran:
    """Run one command in the folder, on the database named; ``inside`` is called in the fork first."""
    pipes = [os.pipe(), os.pipe()]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # newer Pythons warn of forks beside threads: here they are at rest
        child = os.fork()
    if child == 0:
        gc.freeze()  # what was inherited belongs to threads that are not here: collecting it crashed
        for stream, (_, write_end) in enumerate(pipes, start=1):
            os.dup2(write_end, stream)
        sys.stdout, sys.stderr = (os.fdopen(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))
        os.environ["PRIORJOBS_DB"] = db
        os.chdir(folder)
        sys.argv = ["priorjobs", *words.split()]
        status = 99
        try:
            inside()
            cli.main()
        except SystemExit as stop:
            status = int(stop.code or 0)
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    for _, write_end in pipes:
        os.close(write_end)
    said = []
    for read_end, _ in pipes:
        with os.fdopen(read_end, encoding="utf-8") as stream:
            said.append(stream.read())
    return Ran(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), *said)
