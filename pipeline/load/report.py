"""What became of every line of a load: counts that balance, reasons of refusal, and how columns were read."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import LayoutError, PriorjobsError, UsageError, shown
from pipeline.load.layout import Layout
from pipeline.load.layout_file import as_toml
from pipeline.store.atomic_write import whole_and_new
from pipeline.terminal.text import Shown

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.load.guess import Proposal
    from pipeline.load.whole_history import Gone

COUNTS = ("read", "loaded", "unchanged", "replaced", "rejected")
MOST_LINES = 10  # refused lines told in the terminal; all are in the database


@dataclass
class FileReport:
    """One file of a load; read = loaded + unchanged + rejected, and replaced lines are among the loaded.

    Attributes
    ----------
    reasons
        How often each column and rule refused a line: {"column", "rule", "lines"}.
    rejected_lines
        The first refused lines: {"line_no", "column", "value", "rule", "remedy"}.
    layout_used
        The layout itself, None where this file was already loaded.
    is_refused_whole
        ``strict`` was asked for and a line was refused: nothing was taken.
    batch
        Its number, by which `take_back` knows it; None where nothing was taken in.
    fault
        Why the file could not be read at all; None = it was.
    """

    file: str
    sha256: str
    layout: str
    read: int
    loaded: int = 0
    unchanged: int = 0
    replaced: int = 0
    rejected: int = 0
    reasons: list[dict[str, Any]] = field(default_factory=list)
    rejected_lines: list[dict[str, Any]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    proposal: Proposal | None = None
    layout_used: Layout | None = None
    is_refused_whole: bool = False
    batch: int | None = None
    fault: PriorjobsError | None = None

    def counts(self) -> dict[str, int]:
        """Counts by name."""
        return {name: getattr(self, name) for name in COUNTS}

    def refuse_whole(self) -> None:
        """Take nothing of the file: ``strict`` was asked for."""
        self.is_refused_whole = True
        self.loaded = self.unchanged = self.replaced = 0
        self.rejected = self.read


@dataclass(repr=False)
class LoadReport(Shown):
    """A load, file by file; notes tell what belongs to no file.

    Attributes
    ----------
    gone
        Visits taken out as the files, said to be the whole history, no longer hold them; None = that was not said.
    """

    dry_run: bool = False
    strict: bool = False
    files: list[FileReport] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    gone: Gone | None = None

    @property
    def faults(self) -> list[PriorjobsError]:
        """Why files could not be read."""
        return [f.fault for f in self.files if f.fault]

    @property
    def totals(self) -> dict[str, int]:
        """Counts over all files."""
        return {name: sum(getattr(f, name) for f in self.files) for name in COUNTS}

    @property
    def proposals(self) -> list[Proposal]:
        """Mappings that were guessed."""
        return [f.proposal for f in self.files if f.proposal]

    @property
    def rejected(self) -> pd.DataFrame:
        """The first refused lines of every file: file, line_no, column, value, rule, remedy."""
        import pandas as pd

        columns = ["file", "line_no", "column", "value", "rule", "remedy"]
        return pd.DataFrame(
            [{"file": f.file, **line} for f in self.files for line in f.rejected_lines], columns=columns
        )

    def as_json(self) -> dict[str, Any]:
        """Give the JSON object that scripts may rely on."""
        return {
            "dry_run": self.dry_run,
            "files": [
                {
                    "file": f.file,
                    "sha256": f.sha256,
                    "layout": f.layout,
                    "batch": f.batch,
                    **f.counts(),
                    "refused_whole": f.is_refused_whole,
                    "reasons": f.reasons,
                    "rejected_lines": f.rejected_lines[:100],
                    "guessed": f.proposal.as_json() if f.proposal else None,
                    "notes": f.notes,
                    "fault": {"what": f.fault.what, "remedy": f.fault.remedy} if f.fault else None,
                }
                for f in self.files
            ],
            "notes": self.notes,
            "whole_history": self.gone.as_json() if self.gone else None,
            "totals": self.totals,
        }

    def save_layout(self, path: Path | str) -> None:
        """Save the mapping that was used, to be edited and used again.

        Raises
        ------
        UsageError
            No file, or files read with different layouts, or the place is taken.
        LayoutError
            The place cannot be written.
        """
        used = {f.layout_used.label: f.layout_used for f in self.files if f.layout_used}
        if len(used) != 1:
            raise UsageError(
                f"{len(used)} layouts were used, so there is not one to save.",
                "Name one file; for one loaded by an older version, take it back first: priorjobs batches",
            )
        path = Path(path)
        may_hold_layout(path)
        try:
            with whole_and_new(path) as draft:
                draft.write_text(as_toml(next(iter(used.values()))), encoding="utf-8")
        except OSError as fault:
            raise LayoutError(f"{shown(path)} cannot be written.", "Name a place that can.") from fault

    def lines(self) -> list[str]:
        """Say it in the terminal."""
        told: list[str] = []
        for f in self.files:
            told += _file_lines(f)
        told += self.notes
        told += self.gone.lines() if self.gone else []
        totals = self.totals
        if len(self.files) != 1:
            told.append(f"Together: {_counts(totals)}.")
        if self.dry_run:
            told.append("Nothing was changed: this was a dry run.")
        elif totals["rejected"] and not self.strict:
            told.append("Refused lines are kept with their reasons: priorjobs export rejected_record refused.csv")
        return told


def may_hold_layout(path: Path) -> None:
    """Refuse a name for a new layout that is taken, or that a database beside it would read as its settings.

    Raises
    ------
    UsageError
        See above.
    """
    if path.exists():
        raise UsageError(f"{shown(path)} already exists.", "Name a new file: nothing is written over.")
    if any(path.with_suffix(ending).exists() for ending in (".duckdb", ".key")):
        raise UsageError(f"{shown(path)} is the name of a database's settings file.", "Give the layout another name.")


def _counts(counts: dict[str, int]) -> str:
    replaced = f" ({counts['replaced']:,} of them new versions)" if counts["replaced"] else ""
    return (
        f"{counts['read']:,} lines read, {counts['loaded']:,} loaded{replaced}, "
        f"{counts['unchanged']:,} unchanged, {counts['rejected']:,} refused"
    )


def _file_lines(f: FileReport) -> list[str]:
    if f.fault:
        return [f"{f.file}: not read. {f.fault.what}", f"  {f.fault.remedy}"]
    told = [f"{f.file}: {_counts(f.counts())}."]
    if f.is_refused_whole:
        told.append("  Nothing of this file was taken, as --strict asks.")
    if f.proposal:
        told.append(
            "  How its columns were read, a guess. If one is wrong: --save-layout FILE, edit it, and load the file"
        )
        told.append("  again with --layout FILE: it then takes the place of this batch.")
        told += [f"  {line}" for line in f.proposal.lines()]
    told += [f"  {note}" for note in f.notes]
    for line in f.rejected_lines[:MOST_LINES]:
        column = f", column {line['column']}" if line["column"] else ""
        value = f"{shown(line['value'])} " if line["value"] else ""
        told += [f"  {f.file}, line {line['line_no']}{column}: {value}{line['rule']}", f"    {line['remedy']}"]
    more = sum(r["lines"] for r in f.reasons) - min(len(f.rejected_lines), MOST_LINES)
    if more > 0 and f.reasons:
        told.append(f"  and {more:,} more; in all:")
        told += [f"    {r['lines']:,} × column {r['column'] or '–'}: {r['rule']}" for r in f.reasons[:MOST_LINES]]
    return told
