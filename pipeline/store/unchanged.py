"""What is slow to make out of a database is kept while the file stays as it is."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from pipeline.store.database import Database

Made = TypeVar("Made")
MOST = 512  # things kept; those used longest ago go first

_kept: OrderedDict[Hashable, Any] = OrderedDict()


def while_unchanged(database: Database, what: Hashable, make: Callable[[], Made]) -> Made:
    """Return what was made of a database before, or make it now.

    Parameters
    ----------
    database
        Only what is read alone is kept: a database that may be written here changes without its file's stamp.
    what
        Names the thing, with all it is made of besides the database.
    make
        Makes it. Whoever gets it must leave it as it is.
    """
    if not database.read_only:
        return make()
    key = (database.stamp(), what)
    if key not in _kept:
        made = make()
        _kept[key] = made
        while len(_kept) > MOST:
            _kept.popitem(last=False)
    _kept.move_to_end(key)
    found: Made = _kept[key]
    return found
