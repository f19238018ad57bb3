"""What is slow to make out of a database is kept while the file stays as it is."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from typing import Any, Protocol, TypeVar


class Stamped(Protocol):
    """A database file as it is open here: see `pipeline.store.database.Database`."""

    read_only: bool

    def stamp(self) -> tuple[object, ...]:
        """What changes whenever the file does."""


Made = TypeVar("Made")
MOST = 512  # things kept; those used longest ago go first

_kept: OrderedDict[Hashable, Any] = OrderedDict()


def while_unchanged(database: Stamped, what: Hashable, make: Callable[[], Made]) -> Made:
    """Return what was made of a database before, or make it now; see `each_while_unchanged`."""
    return each_while_unchanged(database, [what], lambda _: [make()])[0]


def each_while_unchanged(
    database: Stamped, what: Sequence[Hashable], make: Callable[[list[int]], Sequence[Made]]
) -> list[Made]:
    """Return several things that were made of a database before; those that were not are made now, all at once.

    Parameters
    ----------
    database
        Only what is read alone is kept: a database that may be written here changes without its file's stamp.
    what
        Names each thing, with all it is made of besides the database.
    make
        Makes the things at some places of ``what``. Whoever gets them must leave them as they are.
    """
    stamp = database.stamp() if database.read_only else None
    known: dict[Hashable, Any] = {one: _kept[stamp, one] for one in what if (stamp, one) in _kept}
    missing = {one: place for place, one in reversed(list(enumerate(what))) if one not in known}
    if missing:
        places = sorted(missing.values())
        known |= zip((what[place] for place in places), make(places), strict=True)
    if stamp is not None:
        _kept.update(((stamp, one), made) for one, made in known.items())
        for one in known:
            _kept.move_to_end((stamp, one))
        while len(_kept) > MOST:
            _kept.popitem(last=False)
    return [known[one] for one in what]
