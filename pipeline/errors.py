"""What can go wrong for a user, each said once: where, what, the value, and the remedy."""

from __future__ import annotations

import errno
import os

OTHER_MONEY = "is in another currency than this workshop's"  # why a line was refused that a rate would let in
LIES_AHEAD = "lies more than three years ahead"  # why a line was refused that another clock would take


class PriorjobsError(Exception):
    """A fault the user can act on.

    Parameters
    ----------
    what
        One sentence: where and what is wrong, the value shown safely.
    remedy
        One sentence: what to do.
    """

    code = "error"
    exit_status = 2

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}\n{remedy}")
        self.what = what
        self.remedy = remedy


class UsageError(PriorjobsError):
    """The question itself cannot be answered as put."""

    code = "usage"


class FileUnreadable(PriorjobsError):
    """A file that cannot be read as what it claims to be."""

    code = "file unreadable"


class FileUnusable(PriorjobsError):
    """A file or folder that cannot be read or written, or whose disk is full."""

    code = "file unusable"


class LayoutError(PriorjobsError):
    """A layout or word list that says something impossible."""

    code = "layout"


class ModelError(PriorjobsError):
    """A model folder that is missing, damaged, or too poor to use."""

    code = "model"


class DatabaseBusy(PriorjobsError):
    """Another process holds the database."""

    code = "database busy"
    exit_status = 3


class DatabaseUnusable(PriorjobsError):
    """The database is newer than this program, damaged, or in a place that cannot be written."""

    code = "database unusable"
    exit_status = 3


def system_fault(fault: BaseException) -> OSError | None:
    """Return the fault of the system that an exception is, or that a library wrapped in it."""
    return next((found for found in (fault, *fault.args) if isinstance(found, OSError)), None)


NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def file_fault(fault: OSError, name: object = None) -> PriorjobsError:
    """Say in a sentence and a remedy why a file or folder cannot be read or written.

    Parameters
    ----------
    fault
        What the system said.
    name
        The file as the user knows it; left out, as the system names it.
    """
    name = fault.filename if name is None else name
    where = "what was to be written" if name is None else shown(name, 200)
    why = os.strerror(fault.errno) if fault.errno else str(fault)
    if fault.errno in NO_ROOM:
        return FileUnusable(f"The disk is full: there is no room for {where}.", "Free disk space, then run this again.")
    return FileUnusable(
        f"{where} cannot be read or written: {why.lower()}.",
        "Check the name and the permissions of the file and its folder, or name another.",
    )


def shown(value: object, limit: int = 60) -> str:
    """Quote a value from a record so that it cannot act on a terminal: printable characters only, cut to ``limit``."""
    text = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in str(value))
    return f'"{text if len(text) <= limit else text[: limit - 1] + "…"}"'
