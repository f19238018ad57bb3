"""A folder for what SQL is to read and for what is half written; what a killed run left is removed by the next."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import time
from pathlib import Path

from pipeline.store.lock import is_locked_now

PREFIX = "priorjobs-"
IN_USE = "in-use"
FRESH_SECONDS = 60.0  # a folder so young may not be marked yet


class Scratch:
    """One opening's folder, readable by its owner alone: it may hold records as they came, contacts unmasked.

    Attributes
    ----------
    folder
        Where it is; removed on close.
    """

    def __init__(self) -> None:
        _clear_left_over()
        while True:
            self.folder = Path(tempfile.mkdtemp(prefix=PREFIX))
            self._mark = os.open(self.folder / IN_USE, os.O_RDWR | os.O_CREAT, 0o600)
            if is_locked_now(self._mark) and (self.folder / IN_USE).exists():
                return
            os.close(self._mark)  # another run took it for one left over just then

    def close(self) -> None:
        """Remove the folder."""
        if self._mark >= 0:
            os.close(self._mark)
            self._mark = -1
        shutil.rmtree(self.folder, ignore_errors=True)


def _clear_left_over() -> None:
    """Remove folders whose process is gone: its lock went with it."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        with contextlib.suppress(OSError):
            if not (folder / IN_USE).exists():
                if time.time() - folder.stat().st_mtime > FRESH_SECONDS:
                    folder.rmdir()  # killed before it was marked, it is empty; what is not is none of ours
                continue
            mark = os.open(folder / IN_USE, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
            try:
                if is_locked_now(mark):
                    shutil.rmtree(folder, ignore_errors=True)
            finally:
                os.close(mark)
