"""The one door from pages to the database: opened for each request and closed after it, one at a time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import DatabaseBusy, shown
from pipeline.settings import Settings, read_settings
from pipeline.store.database import beside
from pipeline.workshop import Workshop

if TYPE_CHECKING:
    from pipeline.words import Words

WAITS = 5.0  # seconds that a page waits for the database before it says so


class Library:
    """A kept library and who may open it now.

    Parameters
    ----------
    db
        The workshop's database file.

    Attributes
    ----------
    db
        The same.
    """

    def __init__(self, db: Path) -> None:
        self.db = db
        self._turn = threading.Lock()
        self._words: tuple[object, Words] | None = None

    @property
    def settings(self) -> Settings:
        """The settings as they are on disk now."""
        return read_settings(beside(self.db)["toml"])

    def kept(self, ending: str) -> Path:
        """A file of the pages' own beside the database."""
        return self.db.with_name(f"{self.db.name.removesuffix('.duckdb')}.{ending}")

    @contextmanager
    def opened(self, *, read_only: bool = True, wait: float = WAITS) -> Iterator[Workshop]:
        """Open the workshop for one request.

        Raises
        ------
        DatabaseBusy
            Another request or another program kept it longer than ``wait``.
        """
        if not self._turn.acquire(timeout=wait):
            raise DatabaseBusy(
                f"Long work on {shown(self.db.name)} is still running here.", "Wait until it is done, then try again."
            )
        try:
            with Workshop.open(self.db, read_only=read_only, wait=wait) as workshop:
                self._lend_words(workshop)
                yield workshop
        finally:
            self._turn.release()

    def _lend_words(self, workshop: Workshop) -> None:
        """Word lists are slow to make ready: they are kept while nothing they are made of changes."""
        from pipeline.words.edition import edition

        decisions = workshop.database.connection.execute(
            "select count(*), count(undone_at), max(correction_id) from correction"
        ).fetchall()
        made_of = (decisions, workshop.settings.languages, edition(workshop.settings))
        if self._words is not None and self._words[0] == made_of:
            workshop.words = self._words[1]
        elif workshop.database.read_only:
            self._words = made_of, workshop.words
