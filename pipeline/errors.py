"""What can go wrong for a user, each said once: where, what, the value, and how to mend it."""

from __future__ import annotations


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


class LayoutError(PriorjobsError):
    """A layout or word list that says something impossible."""

    code = "layout"


class RecordsRefused(PriorjobsError):
    """Lines were refused and the caller asked for all or nothing."""

    code = "records refused"
    exit_status = 1


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


def shown(value: object, limit: int = 60) -> str:
    """Quote a value from a record so that it cannot act on a terminal: printable characters only, cut to ``limit``."""
    text = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in str(value))
    return f'"{text if len(text) <= limit else text[: limit - 1] + "…"}"'
