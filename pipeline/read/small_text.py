"""A small text file that a person wrote, such as a layout: read whole, and nothing that never ends."""

from __future__ import annotations

import errno
import os
from pathlib import Path

MOST_BYTES = 1 << 20


def small_text(path: Path) -> str:
    """Return the text of a file in UTF-8.

    Raises
    ------
    OSError
        It cannot be read, is larger than 1 MB, or is no plain file: a pipe or a device may never end.
    UnicodeDecodeError
        It is not UTF-8.
    """
    if path.exists() and not path.is_file():
        raise OSError(errno.EINVAL, os.strerror(errno.EINVAL), str(path))
    with path.open("rb") as file:
        held = file.read(MOST_BYTES + 1)
    if len(held) > MOST_BYTES:
        raise OSError(errno.EFBIG, os.strerror(errno.EFBIG), str(path))
    return held.decode("utf-8-sig")
