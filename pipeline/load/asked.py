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
    """What the caller asked of a load, and what came in so far: for each file the visits it holds, and its batch.

    The arguments of `load_files`, one by one.
    """

    database: Database
    give_words: Callable[[], Words]
    settings: Settings
    layout: Layout | None
    sheet: str | None
    strict: bool
    dry_run: bool
    whole_history: bool
    decide: Decide
    tell: Told
    may_replace: Callable[[str], None] | None = None
    present: list[pd.DataFrame] = field(default_factory=list)
    batches: list[int] = field(default_factory=list)

    @cached_property
    def words(self) -> Words:
        """Word lists, opened when the first new line comes."""
        return self.give_words()
