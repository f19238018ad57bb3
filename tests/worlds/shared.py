"""What is dear to build is built once a run of the tests, by the first worker that asks; the others wait and share it."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable
from pathlib import Path

FOLDER = "PRIORJOBS_TESTS"
"""Environment variable with the run's folder; ``conftest.py`` makes it and takes it away."""


LONGER = "PRIORJOBS_LONGER"
"""Environment variable: how many times the usual examples and repetitions a run takes, 1 when it is not set."""


def times(usual: int) -> int:
    """How many examples or repetitions to try: few in the suite, more with ``PRIORJOBS_LONGER=20 pytest tests/...``."""
    return usual * int(os.environ.get(LONGER, "1"))


def built_once(name: str, build: Callable[[Path], object]) -> Path:
    """Folder filled by ``build``; read it, never change it."""
    folder = Path(os.environ[FOLDER]) / name
    done = folder.with_suffix(".done")
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            shutil.rmtree(folder, ignore_errors=True)  # of a build that failed
            folder.mkdir()
            build(folder)
            done.touch()
    return folder
