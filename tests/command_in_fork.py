"""Runs commands in a fork of the tests' own process: what is imported once need not be imported again."""

from __future__ import annotations

import ctypes
import functools
import gc
import importlib
import os
import shlex
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from typer.testing import CliRunner

from pipeline import cli


class Ran(NamedTuple):
    status: int
    out: str
    err: str


@functools.cache
def imported() -> None:
    """Import what most commands import when they run, the command line's own among it: forks then find it there."""
    for module in (
        "pandas",
        "scipy.special",
        "pyarrow",
        "models.plan.search",
        "pipeline.load.screen",
        "pipeline.load.stage",
        "pipeline.store.backup",
        "pipeline.store.export",
        "pipeline.upkeep.forget",
        "pipeline.upkeep.review",
        "pipeline.on_site.round",
    ):
        importlib.import_module(module)
    CliRunner().invoke(cli.app, ["models", "--help"])


def in_fork(folder: Path, words: str, inside: Callable[[], Any] = lambda: None, *, db: str = "workshop.duckdb") -> Ran:
    """Run one command in the folder, on the database named; ``inside`` is called in the fork first."""
    return begun_in_fork(folder, words, inside, db=db)()


def begun_in_fork(
    folder: Path, words: str, inside: Callable[[], Any] = lambda: None, *, db: str = "workshop.duckdb"
) -> Callable[[], Ran]:
    """Begin one command as `in_fork` does; what is given back waits for its end."""
    imported()
    pipes = [os.pipe(), os.pipe()]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # newer Pythons warn of forks beside threads: here they are at rest
        child = os.fork()
    if child == 0:
        gc.disable()  # the command soon ends, and what was inherited belongs to threads that are not here:
        gc.freeze()  # collecting it crashed
        for stream, (_, write_end) in enumerate(pipes, start=1):
            os.dup2(write_end, stream)
        sys.stdout, sys.stderr = (os.fdopen(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))
        os.environ["PRIORJOBS_DB"] = db
        os.chdir(folder)
        sys.argv = ["priorjobs", *shlex.split(words)]
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

    def ended() -> Ran:
        said = []
        for read_end, _ in pipes:
            with os.fdopen(read_end, encoding="utf-8") as stream:
                said.append(stream.read())
        return Ran(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), *said)

    return ended


def bound_by_rights() -> None:
    """Take from a root user what lets it pass over the rights of files."""
    if os.getuid() == 0:
        libc = ctypes.CDLL(None)
        header, sets = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
        assert libc.capget(header, sets) == 0
        sets[0] &= ~(1 << 1 | 1 << 2)  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
        assert libc.capset(header, sets) == 0
