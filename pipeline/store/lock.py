"""Whose turn it is to write: a lock file outside what is written, so that it may be replaced while it is held."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from typing import TYPE_CHECKING

from pipeline.errors import file_fault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

MARK = ".writing"  # the lock file of a folder
BETWEEN_LOOKS = 0.05  # seconds


class Turn:
    """A lock held from its making until ``close``; a process that is killed holds nobody up.

    The lock file goes with its holder: whoever locked one that is no longer there looks again. Where the system has no
    such locks (Windows), writers are kept apart by DuckDB's own lock alone.

    Parameters
    ----------
    place
        The lock file.
    pause
        Called before each further look while another holds it; ends the waiting by raising.

    Raises
    ------
    FileUnusable
        The lock file cannot be made.
    """

    def __init__(self, place: Path, pause: Callable[[], None] = lambda: None) -> None:
        self._place = place
        try:
            while (mark := _locked(place)) is None:
                pause()
                time.sleep(BETWEEN_LOOKS)
        except OSError as fault:
            raise file_fault(fault, place) from fault
        self._mark = mark

    def close(self) -> None:
        """Let the next one in."""
        if self._mark >= 0:
            with contextlib.suppress(OSError):
                self._place.unlink()
            os.close(self._mark)
            self._mark = -1


def _locked(place: Path) -> int | None:
    flags = os.O_RDONLY | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    mark = os.open(place, flags, 0o666)  # without waiting: a pipe in its place has nobody at its other end
    if is_locked_now(mark):
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(mark), place.stat()):
                return mark
    os.close(mark)
    return None


def is_locked_now(mark: int) -> bool:
    """Lock an open file until this process ends or closes it; false where another holds it."""
    if sys.platform == "win32":
        return True
    import fcntl

    try:
        fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Wait until nobody else is inside; the folder is made if missing.

    Raises
    ------
    FileUnusable
        The folder cannot be written.
    """
    try:
        with contextlib.suppress(FileExistsError):  # a file in its place is told of by what follows
            folder.mkdir(parents=True)
    except OSError as fault:
        raise file_fault(fault, folder) from fault
    turn = Turn(folder / MARK)
    try:
        yield
    finally:
        turn.close()
