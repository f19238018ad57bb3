"""With which layout a file is read: one given, beside it, used before, shipped, or guessed."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import LayoutError, shown
from pipeline.load.keep import as_json
from pipeline.load.layout import REQUIRED, Join, Layout
from pipeline.load.layout_file import parse_layout
from pipeline.read.incoming import Reading, Records
from pipeline.small_text import small_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.load.guess import Proposal
    from pipeline.load.load_request import Asked
    from pipeline.read.sources import Source


def layout_beside(source: Source) -> Layout | None:
    """Open the layout of the same stem beside the file, where there is one; other TOML files are left alone."""
    return None if source.beside is None else _layout_at(source.beside.with_suffix(".toml"))


def second_files(given: Layout | None, paths: Sequence[Path | str]) -> dict[Path, Path]:
    """Tell which of the files named holds the lines that the layout of another one adds to it: first → second."""
    files = [Path(path) for path in paths if str(path) != "-" and Path(path).is_file()]
    pairs: dict[Path, Path] = {}
    for file in files if len(files) > 1 else ():
        layout = given or _layout_at(file.with_suffix(".toml"))
        name = layout.join.sheet.casefold() if layout and layout.join else None
        for second in files:
            if name in (second.name.casefold(), second.stem.casefold()) and second != file:
                pairs[file] = second
    return {first: second for first, second in pairs.items() if first not in pairs.values()}


def _layout_at(path: Path) -> Layout | None:
    try:
        text = small_text(path)
        is_layout = "columns" in tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None
    return parse_layout(text, path.stem) if is_layout else None


def choose_layout(asked: Asked, source: Source, records: Records, notes: list[str]) -> tuple[Layout, Proposal | None]:
    """Choose the layout of a file that names none, and say where it comes from; a guess is returned beside it."""
    from pipeline.load.guess import shipped_layout

    rows = asked.database.connection.execute(
        "select mapping, batch_id, file_name from load_batch where header = ? and mapping is not null "
        "and taken_back_at is null order by batch_id desc limit 1",
        [as_json(records.header)],
    ).fetchall()
    shipped = shipped_layout(records.header)
    if not rows:
        return (shipped, None) if shipped else _guessed(asked, source, records)
    mapping, batch, name = rows[0]
    layout = dataclasses.replace(parse_layout(mapping, Path(name).stem), sheet=None)
    if layout.join or layout.sheets:
        from pipeline.read.reader import read

        again = read(asked.database.connection, source, layout.reading(), asked.database.scratch)
        vars(records).update(vars(again))
    if shipped is None or shipped.label != layout.label:
        notes.append(
            f"Read as batch {batch} ({shown(name)}) was, which has the same columns: layout {shown(layout.name)}."
        )
    return layout, None


def _guessed(asked: Asked, source: Source, records: Records) -> tuple[Layout, Proposal]:
    from pipeline.load.guess import guess_layout, words_of_all_languages

    connection = asked.database.connection
    words = words_of_all_languages(connection, asked.settings)
    join = _second_sheet(asked, source, records)
    proposal = guess_layout(connection, words, records.header, Path(source.name).stem)
    if join:
        proposal = dataclasses.replace(
            proposal,
            layout=dataclasses.replace(proposal.layout, join=join),
            notes=(*proposal.notes, f"lines of sheet {join.sheet} are added by {join.by}"),
        )
    if not asked.dry_run:
        proposal = (asked.decide or hold_back)(source, proposal)
    return proposal.layout, proposal


def _second_sheet(asked: Asked, source: Source, records: Records) -> Join | None:
    """Read a second sheet with the first, where it holds parts and both have a column of job numbers."""
    from pipeline.load.column_evidence import header_score, known_names
    from pipeline.load.guess_shape import NAMED
    from pipeline.read.incoming import plain_name
    from pipeline.read.reader import read

    if asked.sheet:
        return None
    for name, header in records.other_sheets.items():
        both = {plain_name(c) for c in header} & {plain_name(c) for c in records.header}
        by = [c for c in records.header if plain_name(c) in both and header_score(c, "job_no") > NAMED]
        if by and any(header_score(c, "part") > NAMED or header_score(c, "parts") > NAMED for c in header):
            reading = Reading(known_names=known_names(), join=(name, by[0]))
            joined = read(asked.database.connection, source, reading, asked.database.scratch)
            vars(records).update(vars(joined))
            return Join(name, by[0])
    return None


def hold_back(source: Source, proposal: Proposal) -> Proposal:
    """Load nothing by a guess that nobody has looked at."""
    from pipeline.load.guess import GuessHeldBack

    raise GuessHeldBack(source.name, proposal)


def accept(source: Source, proposal: Proposal) -> Proposal:
    """Load by the guess; what several columns may be is left out, and what no visit can do without is not chosen."""
    if proposal.lacking or any(guess.field in REQUIRED for guess in proposal.open_fields):
        return hold_back(source, proposal)
    return proposal.accepted()


def without_columns(source: Source, layout: Layout, columns: tuple[str, ...], lacking: list[str]) -> LayoutError:
    """Fault of a file that lacks fields which every visit needs."""
    wanted = []
    for name in lacking:
        asked = [rule.column for rule in layout.columns.get(name, ())]
        wanted.append(name + (f" (column {' or '.join(shown(c) for c in asked)})" if asked else ""))
    header = ", ".join(shown(h, 30) for h in columns[:30])
    return LayoutError(
        f"{source.name} lacks what every visit needs: {'; '.join(wanted)}. Its columns are {header}.",
        "Say in a layout file which column holds it, and load with --layout FILE. If its lines are parts of jobs in "
        'another file, say in the layout of the jobs join = {sheet = "this file\'s name", by = "the column that both '
        'have"}, part = "…" and grain = "part", and load both files at once.',
    )
