"""A folder in which one process writes at a time; the others wait their turn."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING

from pipeline.errors import file_fault

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

MARK = ".writing"  # the file that is locked


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Wait until nobody else is inside; the folder is made if missing. A process that is killed holds nobody up.

    Raises
    ------
    FileUnusable
        The folder cannot be written.
    """
    try:
        with contextlib.suppress(FileExistsError):  # a file in its place is told of by what follows
            folder.mkdir(parents=True)
        mark = (folder / MARK).open("wb")
    except OSError as fault:
        raise file_fault(fault, folder) from fault
    with mark:
        if sys.platform != "win32":
            import fcntl

            with contextlib.suppress(OSError):  # a file system without locks
                fcntl.flock(mark, fcntl.LOCK_EX)
        yield
