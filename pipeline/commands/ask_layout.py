"""A guessed layout before the eyes of whoever loads: shown with samples, asked about, or written as a draft."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import UsageError, shown
from pipeline.store.atomic_write import whole_and_new
from pipeline.terminal.text import safe

if TYPE_CHECKING:
    from pipeline.load.guess import Guess, Proposal
    from pipeline.read.sources import Source


def asker(draft: Path | None) -> Callable[[Source, Proposal], Proposal]:
    """Make what decides about guessed layouts; ``draft`` is where one is written that nobody could be asked about."""

    def decide(source: Source, proposal: Proposal) -> Proposal:
        _say(f"{source.name}: no layout knows these columns. They look like this:")
        for line in proposal.lines():
            _say(line)
        if sys.stdin.isatty() and sys.stderr.isatty():
            return _ask(source, proposal)
        from pipeline.load.guess import GuessHeldBack

        raise GuessHeldBack(source.name, proposal, _write_draft(source, proposal, draft))

    return decide


def _ask(source: Source, proposal: Proposal) -> Proposal:
    from pipeline.load.guess import LINE_IS

    for guess in [g for g in proposal.guesses if not g.is_sure]:
        proposal = proposal.with_choice(guess.field, _which(guess))
    if (taken := proposal.line_is) is not None:
        what = _answer(f"Is one line a visit (v) or a part (p)? [{taken[0]}] ").casefold()
        chosen = next((name for name in LINE_IS if what and name.startswith(what)), taken)
        proposal = proposal.with_line(chosen)
        _say(f"One line is {LINE_IS[chosen]}.")
    if _answer("Load it so? [y/N] ").casefold() not in ("y", "yes"):
        raise UsageError(
            f"Nothing of {shown(source.name)} was loaded.",
            "Write the guess with --dry-run --save-layout FILE, correct it, and load with --layout FILE.",
        )
    return proposal


def _which(guess: Guess) -> str | None:
    choices = (guess.column, *guess.rivals)
    listed = ", ".join(f"{n} {shown(name, 40)}" for n, name in enumerate(choices, start=1))
    while True:
        answer = _answer(f"Which column is {guess.field}? {listed}, 0 none of these: ")
        if answer.isdigit() and int(answer) <= len(choices):
            return choices[int(answer) - 1] if int(answer) else None
        _say("Press one of the numbers.")


def _answer(question: str) -> str:
    sys.stderr.write(safe(question))
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise UsageError("No answer was given.", "Nothing was loaded.")
    return line.strip()


def _write_draft(source: Source, proposal: Proposal, draft: Path | None) -> Path | None:
    """Write the guess beside the file, under a name that is not taken for a checked layout; an edited one stays."""
    place = draft or (source.beside or Path(source.name.replace(": ", "-"))).with_suffix(".draft.toml")
    try:
        with whole_and_new(place) as written:
            written.write_text(proposal.draft(), encoding="utf-8")
    except FileExistsError:
        return place
    except OSError:
        return None
    return place


def _say(line: str) -> None:
    sys.stderr.write(safe(line) + "\n")
