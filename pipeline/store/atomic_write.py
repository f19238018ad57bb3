"""A file that is written whole or not at all: what stood there stays until the new one is complete."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import file_fault, system_fault


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Yield a draft beside ``path`` to write; it takes the place of ``path`` when the block ends well.

    Raises
    ------
    FileUnusable
        The disk is full, or the place cannot be written.
    """
    is_plain = path.is_file() or not path.exists()  # a pipe or a terminal is written as it is
    draft = path.with_name(f".{path.name}.unfinished") if is_plain else path
    try:
        yield draft
        if is_plain:
            draft.replace(path)
    except Exception as fault:
        if is_plain:
            draft.unlink(missing_ok=True)
        if (found := system_fault(fault)) is not None:
            raise file_fault(found, path) from fault
        raise
