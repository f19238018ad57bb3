"""How far a command is: one line a step on standard error, bars drawn over themselves."""

from __future__ import annotations

import sys
from collections.abc import Callable

from pipeline.terminal.text import safe

BAR, DONE, TO_DO = 20, "█", "░"


def bar(done: int, of: int, what: str) -> str:
    """How far it is, as a bar and in numbers: ``████████████░░░░░░░░ 29 of 48 months``."""
    full = BAR * done // max(of, 1)
    return f"{DONE * full}{TO_DO * (BAR - full)} {done:,} of {of:,} {what}"


def progress(quiet: bool) -> Callable[[str], None]:
    """Tell progress on standard error; a bar is drawn over itself on a terminal, and left out where none is."""
    drawn = 0

    def tell(line: str) -> None:
        nonlocal drawn
        is_bar = line.startswith((DONE, TO_DO))
        if is_bar and not sys.stderr.isatty():
            return
        end = "\n" if not is_bar or TO_DO not in line else "\r"
        print(safe(line).ljust(drawn), file=sys.stderr, end=end, flush=True)  # noqa: T201
        drawn = len(line) if end == "\r" else 0

    return (lambda _: None) if quiet else tell


def seen_progress(quiet: bool) -> Callable[[str], None]:
    """Progress where somebody is looking on, and nothing elsewhere."""
    return progress(quiet or not sys.stderr.isatty())
