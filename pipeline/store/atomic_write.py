"""A file that is written whole or not at all: what stood there stays until the new one is complete."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import file_fault, system_fault

UNFINISHED = ".unfinished"


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Yield a draft beside ``path`` to write; it takes the place of ``path`` when the block ends well.

    A link stays a link, and what was there keeps its mode. A draft that a killed run left is removed by the next.

    Raises
    ------
    FileUnusable
        The disk is full, or the place cannot be written.
    """
    place = Path(os.path.realpath(path))
    is_plain = place.is_file() or not path.exists()  # a pipe or a terminal, whatever its name, is written as it is
    draft = draft_of(place) if is_plain else path
    try:
        yield draft
        if is_plain:
            if place.exists():
                draft.chmod(place.stat().st_mode & 0o7777 | 0o600)  # what was just written can be read again
            draft.replace(place)
    except BaseException as fault:
        if is_plain:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)
        if (found := system_fault(fault)) is not None:
            raise file_fault(found, path) from fault
        raise


@contextmanager
def whole_and_new(path: Path) -> Iterator[Path]:
    """Yield a draft beside ``path`` to write; it takes this name when the block ends well, unless something has it.

    Raises
    ------
    OSError
        FileExistsError where the name is taken; the disk is full, or the place cannot be written.
    """
    draft = draft_of(path)
    try:
        yield draft
        take_free_name(draft, path)
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def draft_of(place: Path) -> Path:
    """Return a name beside ``place`` for what is to become it, and remove drafts of it that a killed run left."""
    start = f".{place.name[:40]}."
    with contextlib.suppress(OSError):  # a folder that is not there is told of by writing in it
        for left in [p for p in place.parent.iterdir() if p.name.startswith(start) and p.name.endswith(UNFINISHED)]:
            number = left.name[len(start) :].split(".")[0]
            if number.isdigit() and not is_running(int(number)):
                left.unlink(missing_ok=True)
    return place.with_name(f"{start}{os.getpid()}.{secrets.token_hex(4)}{UNFINISHED}")


def take_free_name(draft: Path, place: Path) -> None:
    """Give a complete draft its name, unless another has taken it meanwhile.

    Raises
    ------
    FileExistsError
        There is something of this name.
    """
    try:
        place.hardlink_to(draft)  # unlike a renaming, it takes no name that is taken
    except FileExistsError:
        raise
    except OSError:  # sticks and shares may know no hard links
        os.close(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        draft.replace(place)
    else:
        draft.unlink()


def is_running(process: int) -> bool:
    """Whether a process of this number is there, whoever's it is."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
