"""What the caller asked of a load, and what came in so far."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.load.guess import Proposal
    from pipeline.load.layout import Layout
    from pipeline.read.sources import Source
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

Told = Callable[[str], None]
Decide = Callable[["Source", "Proposal"], "Proposal"]


@dataclass(frozen=True)
class Asked:
    """What the caller asked of a load, and what came in so far.

    Attributes
    ----------
    database, settings
        The workshop.
    give_words
        Opens its word lists: a file that was loaded before needs none.
    layout
        With which all files are read. None: a layout of the same stem beside the file, the one that a file of the same
        columns was read with before, a shipped one that fits, else one guessed from headers and values. A file loaded
        before with another layout is replaced.
    sheet
        Sheet of a spreadsheet.
    strict
        Take nothing of a file when one of its lines is refused.
    dry_run
        Do everything, keep nothing.
    whole_history
        The files together hold all jobs from the first to the last day in them: visits held in that period that they
        do not hold are taken out.
    decide
        Asked about a guessed layout, with the file: gives back the layout to read with, or raises. None: a guess is
        held back.
    may_replace
        Asked, in a sentence, before a file that was loaded with another layout takes the place of what it brought
        then; raises where it must not. None: it may.
    tell
        Told what is being done, in sentences.
    present, batches
        Of each file so far the visits it holds, and its batch.
    """

    database: Database
    give_words: Callable[[], Words]
    settings: Settings
    layout: Layout | None = None
    sheet: str | None = None
    strict: bool = False
    dry_run: bool = False
    whole_history: bool = False
    decide: Decide | None = None
    may_replace: Callable[[str], None] | None = None
    tell: Told = lambda _: None
    present: list[pd.DataFrame] = field(default_factory=list)
    batches: list[int] = field(default_factory=list)

    @cached_property
    def words(self) -> Words:
        """Word lists, opened when the first new line comes."""
        return self.give_words()
