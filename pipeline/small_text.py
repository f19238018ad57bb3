"""A small text file that a person wrote, such as a layout: read whole, and nothing that never ends."""

from __future__ import annotations

import errno
from pathlib import Path

MOST_BYTES = 1 << 20


def small_text(path: Path, most: int = MOST_BYTES) -> str:
    """Return the text of a file in UTF-8.

    Raises
    ------
    OSError
        It cannot be read, is larger than ``most`` bytes, or is no plain file: a pipe or a device may never end.
    UnicodeDecodeError
        It is not UTF-8.
    """
    if path.exists() and not path.is_file():
        raise OSError(errno.EINVAL, "it is a folder, a pipe or a device", str(path))
    with path.open("rb") as file:
        held = file.read(most + 1)
    if len(held) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most >> 20} MB", str(path))
    return held.decode("utf-8-sig")
