"""Which columns of an unknown export are which fields? A proposal from headers and values, and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from pipeline.errors import PriorjobsError, shown
from pipeline.load.column_evidence import ALL_FIELDS, Column, header_score, known_names, score
from pipeline.load.guess_shape import (
    is_invoice,
    list_column,
    visit_columns,
    with_found_words,
    with_running_notes,
    with_sections,
)
from pipeline.load.layout import OWN, PART_FIELDS, Layout, Rule
from pipeline.load.layout_file import as_toml, open_layout, shipped
from pipeline.load.mapping import cell
from pipeline.read.incoming import plain_name
from pipeline.store.batches import frame
from sql.working import make

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb
    import numpy as np
    from numpy.typing import NDArray

    from pipeline.settings import Settings
    from pipeline.words import Words

__all__ = ["Guess", "GuessHeldBack", "Proposal", "guess_layout", "known_names", "shipped_layout"]

SAMPLE = 2_000  # lines looked at
SHOWN_SAMPLES = 3
LEAST_CONFIDENCE = 0.35  # below this a column is left unmapped; chosen by hand, no source
SURE = 0.5  # a column that fits this well, and whose values do
SURE_VALUES = 0.25
RIVAL = 0.1  # another free column that fits within this is as good
LINE_IS = {
    "visit": "a visit: two lines of one job and day are two visits",
    "part": "a part: lines of one job and day are one visit",
}
"""What a line may be chosen to be, in words."""


@dataclass(frozen=True)
class Guess:
    """One column taken for one field.

    Attributes
    ----------
    confidence
        From 0 to 1, chosen by hand: how well name and values fit.
    samples
        Three values; of customers none.
    rivals
        Columns that nothing else is taken from and that fit as well: which of them it is must be asked.
    is_sure
        Fits well, and nothing else does.
    """

    field: str
    column: str
    confidence: float
    samples: tuple[str, ...]
    rivals: tuple[str, ...] = ()
    is_sure: bool = True


@dataclass(frozen=True)
class Proposal:
    """A guessed layout and why.

    Attributes
    ----------
    layout
        Ready to use or to save.
    guesses
        One a mapped column, the surest first.
    left
        Columns that stay as they are, in other_columns.
    notes
        What else was seen, in sentences.
    lacking
        What every visit needs and no column was found for.
    samples
        Three values of every column of the file; of people none.
    """

    layout: Layout
    guesses: tuple[Guess, ...]
    left: tuple[str, ...]
    notes: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    samples: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Plain form for scripts."""
        return {
            "grain": self.layout.grain,
            "columns": [
                {
                    "field": g.field,
                    "column": g.column,
                    "confidence": g.confidence,
                    "is_sure": g.is_sure,
                    "rivals": list(g.rivals),
                    "samples": list(g.samples),
                }
                for g in self.guesses
            ],
            "not_mapped": list(self.left),
            "kept_hashed": list(self.layout.personal),
            "notes": list(self.notes),
        }

    @property
    def open_fields(self) -> list[Guess]:
        """Fields for which several columns fit as well."""
        return [g for g in self.guesses if g.rivals]

    def with_choice(self, field: str, column: str | None) -> Proposal:
        """Take a column for a field, or none, as a person decided."""
        columns = {f: rules for f, rules in self.layout.columns.items() if f != field}
        guesses = [g for g in self.guesses if g.field != field]
        if column is not None:
            columns[field] = (Rule(column),)
            asked = next((g for g in self.guesses if g.field == field), Guess(field, column, 1.0, ()))
            guesses.append(replace(asked, column=column, rivals=(), is_sure=True))
        order = {f: columns[f] for f in ALL_FIELDS if f in columns}
        taken = {rule.column for rules in columns.values() for rule in rules}
        every = [g.column for g in self.guesses] + list(self.left)
        left = tuple(dict.fromkeys(name for name in every if name not in taken))
        return replace(self, layout=replace(self.layout, columns=order), guesses=tuple(guesses), left=left)

    @property
    def line_is(self) -> str | None:
        """What a line is taken for, of the two in `LINE_IS`; None = a job, as its columns say."""
        grain = self.layout.grain
        return None if grain == "job" else "visit" if grain == "visit" else "part"

    def with_line(self, what: str) -> Proposal:
        """Take a line for a visit or for a part, as a person decided; for anything else as it is taken."""
        if self.line_is in (None, what) or what not in LINE_IS:
            return self
        return replace(self, layout=replace(self.layout, grain=what))

    def accepted(self) -> Proposal:
        """Take the guess unseen: what several columns may be is left out, never chosen."""
        chosen = self
        for guess in self.open_fields:
            chosen = chosen.with_choice(guess.field, None)
        return chosen

    def lines(self) -> list[str]:
        """Say it in the terminal: each column, its field, how sure it is, and three samples."""
        width = min(40, max((len(g.column) for g in self.guesses), default=0))
        told = []
        for g in self.guesses:
            samples = ", ".join(shown(s, 30) for s in g.samples)
            doubt = "" if g.is_sure else "  not sure" + (f": or {', '.join(map(shown, g.rivals))}" if g.rivals else "")
            told.append(f"  {shown(g.column, 40):{width + 2}} → {g.field:15} {g.confidence:4.0%}  {samples}{doubt}")
        as_they_are = [column for column in self.left if column not in self.layout.personal]
        if as_they_are:
            told.append(f"  kept as they are: {', '.join(shown(c, 30) for c in as_they_are)}")
        if self.layout.personal:
            told.append(f"  kept only as keyed hash: {', '.join(shown(c, 30) for c in self.layout.personal)}")
        if self.line_is is not None:
            other = next(what for what in LINE_IS if what != self.line_is)
            told.append(f"  one line is {LINE_IS[self.line_is]}")
            told.append(f'  if instead one line is {LINE_IS[other]}: grain = "{other}" in a layout (--save-layout)')
        return told + [f"  {note}" for note in self.notes]

    def draft(self) -> str:
        """Write it as a layout file to be checked: what is not sure stands as a comment beside it."""
        doubts = [
            f"# {g.field}: not sure that it is {shown(g.column)}"
            + (f"; it may be {' or '.join(map(shown, g.rivals))}" if g.rivals else "")
            for g in self.guesses
            if not g.is_sure
        ]
        left = [f"# not used: {shown(name)}" for name in self.left]
        head = ["# A guess from column names and values. Check every line, then load with --layout and this file."]
        return "\n".join([*head, *doubts, *left, "", as_toml(self.layout)])


class GuessHeldBack(PriorjobsError):
    """A file whose layout is only guessed: nothing of it is loaded until somebody has looked at the guess."""

    code = "guess"

    def __init__(self, name: str, proposal: Proposal, draft: Path | None = None) -> None:
        self.proposal = proposal
        doubts = [f"{g.field} may be {' or '.join(map(shown, (g.column, *g.rivals)))}" for g in proposal.open_fields]
        if proposal.lacking:
            left = f" among {', '.join(shown(c, 30) for c in proposal.left)}" if proposal.left else ""
            doubts.append(f"no column was found for {', '.join(proposal.lacking)}{left}")
        super().__init__(
            f"{shown(name)} has columns that no layout knows, so nothing of it was loaded"
            + (f"; {'; '.join(doubts)}" if doubts else "")
            + ".",
            f"Check the guess in {shown(draft)}, then load with --layout {draft}; or add --accept-guess."
            if draft
            else "Every visit needs it: add the column to the file, or say which one holds it in a layout (--layout)."
            if proposal.lacking
            else "Load it with a layout (--save-layout FILE writes the guess, to be checked), or with --accept-guess.",
        )


def shipped_layout(header: tuple[str, ...]) -> Layout | None:
    """Return the shipped layout that this header is made for: all it needs is there under the very names, most used."""
    if set(header) <= set(ALL_FIELDS):
        return _own_with_parts(header)
    best: tuple[float, Layout] | None = None
    for name in shipped():
        layout = open_layout(name)
        named = layout.names() & {plain_name(h) for h in header}
        share = len(named) / len(header)
        if not layout.missing(header) and share >= 0.5 and (best is None or share > best[0]):
            best = (share, layout)
    return best[1] if best else None


def _own_with_parts(header: tuple[str, ...]) -> Layout:
    """Give the tool's own layout; with a line a part where the header has the columns of one."""
    extra = {f: (Rule(f),) for f in PART_FIELDS if f in header}
    if "part" not in extra:
        return open_layout(OWN)
    own = open_layout(OWN)
    return replace(own, name=f"{OWN}, a line a part", grain="part", columns={**own.columns, **extra})


def guess_layout(connection: duckdb.DuckDBPyConnection, words: Words, header: tuple[str, ...], name: str) -> Proposal:
    """Propose a layout for the table ``incoming``.

    Each column is scored for each field by its name (synonyms) and its values (shape, and words the lists know); all
    are weighed against each other, one column a field.
    """
    columns = _columns(connection, header)
    if (each := list_column(columns)) is not None:
        return _guess_of_lists(connection, words, header, name, each)
    return _guess_of(columns, words, header, name, _lines(connection))


def _lines(connection: duckdb.DuckDBPyConnection) -> int:
    (lines,) = connection.execute(f"select least({SAMPLE}, count(*)) from incoming").fetchall()[0]
    return int(lines)


def _guess_of_lists(
    connection: duckdb.DuckDBPyConnection, words: Words, header: tuple[str, ...], name: str, each: str
) -> Proposal:
    """Guess with the objects that a column lists as lines of their own, and leave ``incoming`` as it was."""
    from pipeline.load.shape import Shaped, unlist

    connection.execute("create or replace temp table kept as select * from incoming")
    make(connection, "source_line")
    shaped = unlist(connection, Shaped(header, Layout(name, {}, each=each)))
    columns = [replace(column, of_list=each) for column in _columns(connection, shaped.header)]
    proposal = _guess_of(columns, words, shaped.header, name, _lines(connection))
    connection.execute("create or replace temp table incoming as select * from kept")
    connection.execute("drop table kept")
    connection.execute("drop table source_line")
    note = f"each entry of the list in {each} is a line of its own"
    return replace(proposal, layout=replace(proposal.layout, each=each), notes=(note, *proposal.notes))


def _guess_of(columns: list[Column], words: Words, header: tuple[str, ...], name: str, lines: int) -> Proposal:
    from pipeline.load.personal_headers import is_personal

    visits = visit_columns(columns, lines)
    scores, values = _score_all(columns, words)
    for at, column in enumerate(columns):
        if column.name in visits or column.name == column.of_list:
            scores[:, at] = 0.0
    if visits:
        scores[ALL_FIELDS.index("visit_date")] = 0.0
    taken = _assign(scores)
    guesses = sorted(
        (_guess(f, at, columns, scores, values, taken) for f, at in taken.items()), key=lambda g: -g.confidence
    )
    layout = Layout(
        name=name,
        grain="job" if visits else _grain(columns, taken),
        columns={f: (Rule(header[taken[f]]),) for f in ALL_FIELDS if f in taken},
        visits=tuple({"visit_date": (Rule(column),)} for column in visits),
    )
    layout, of_sections = with_sections(layout, columns)
    layout, of_notes = with_running_notes(layout, columns, words)
    layout, of_words = with_found_words(layout, columns, words)
    notes = [*of_sections, *of_notes, *of_words]
    if visits:
        notes.append(f"one line a job, its visits on the days in {', '.join(visits)}; only the last may be a cure")
    rules = {rule.column for rules in (*layout.columns.values(),) for rule in rules} | set(visits)
    left = tuple(column for column in header if column not in rules)
    notes += _others_told(header, left, scores, taken)
    layout = replace(layout, personal=tuple(column for column in left if is_personal(column)))
    lacking = tuple(f for f in layout.missing(header) if not (visits and f == "visit_date"))
    plainly = {f for f, r in layout.columns.items() if r == (Rule(r[0].column),)}
    people = {*layout.personal, *(g.column for g in guesses if g.field == "customer_ref")}
    samples = {column.name: _samples(column) if column.name not in people else () for column in columns}
    return Proposal(layout, tuple(g for g in guesses if g.field in plainly), left, tuple(notes), lacking, samples)


def _others_told(
    header: tuple[str, ...], left: tuple[str, ...], scores: NDArray[np.float64], taken: Mapping[str, int]
) -> list[str]:
    """Say which columns that nothing is taken from may hold a field too, though another fits better."""
    told = []
    for f, at in taken.items():
        row = ALL_FIELDS.index(f)
        others = [name for i, name in enumerate(header) if name in left and scores[row, i] >= SURE]
        if others:
            told.append(f"{f} is taken from {shown(header[at])}; it may also be {' or '.join(map(shown, others))}")
    return told


def _columns(connection: duckdb.DuckDBPyConnection, header: tuple[str, ...]) -> list[Column]:
    cells = ", ".join(f"{cell(header, name)} as c{i + 1}" for i, name in enumerate(header))
    held = frame(connection, f"select {cells} from incoming order by line_no limit {SAMPLE}")
    return [Column(name, held[f"c{i + 1}"].dropna()) for i, name in enumerate(header)]


def _score_all(columns: list[Column], words: Words) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give scores and values' scores, one row a field, one column a column."""
    import numpy as np

    both = np.array([[score(column, f, words) for column in columns] for f in ALL_FIELDS])
    scores = both[:, :, 0]
    scores[scores < LEAST_CONFIDENCE] = 0.0
    return scores, both[:, :, 1]


def _assign(scores: NDArray[np.float64]) -> dict[str, int]:
    """Give each field at most one column so that all fit best together."""
    from scipy.optimize import linear_sum_assignment

    rows, at = linear_sum_assignment(scores, maximize=True)
    return {ALL_FIELDS[r]: int(c) for r, c in zip(rows, at, strict=True) if scores[r, c] > 0}


def _guess(
    f: str,
    at: int,
    columns: list[Column],
    scores: NDArray[np.float64],
    values: NDArray[np.float64],
    taken: Mapping[str, int],
) -> Guess:
    row = ALL_FIELDS.index(f)
    held = scores[row, at]
    free = [i for i in range(len(columns)) if i not in set(taken.values())]
    rivals = tuple(columns[i].name for i in free if scores[row, i] >= held - RIVAL)
    is_sure = held >= SURE and values[row, at] >= SURE_VALUES and not rivals
    if (f == "visit_date" and columns[at].names_another_day) or (
        f == "job_no" and not header_score(columns[at].name, f)
    ):
        is_sure = False
    samples = ("…",) if f == "customer_ref" else _samples(columns[at])
    return Guess(f, columns[at].name, round(float(held), 2), samples, rivals, bool(is_sure))


def _samples(column: Column) -> tuple[str, ...]:
    from pipeline.load.personal_data import mask_contacts

    return tuple(mask_contacts(column.written.drop_duplicates().head(SHOWN_SAMPLES)).tolist())


def _grain(columns: list[Column], taken: Mapping[str, int]) -> str:
    """Say "part" where there is a column for one part and lines repeat a job and day with different parts."""
    if "part" not in taken or "visit_date" not in taken:
        return "visit"
    if is_invoice(columns[taken["part"]]):
        return "invoice line"
    if "part_quantity" in taken or "part_unit_cost" in taken:
        return "part"
    keys = [columns[taken[f]] for f in ("job_no", "serial") if f in taken][:1]
    return "part" if keys and keys[0].written.duplicated(keep=False).mean() > 0.1 else "visit"


def words_of_all_languages(connection: duckdb.DuckDBPyConnection, settings: Settings) -> Words:
    """Open the lists of every shipped language with the workshop's own and its decisions: a guess may use them all."""
    from pipeline.words import Words
    from pipeline.words.lists import shipped_languages

    decisions = frame(
        connection,
        "select list, written, term from correction where undone_at is null and list <> 'advice' "
        "order by correction_id",
    )
    languages = dict.fromkeys((*settings.languages, *shipped_languages()))
    return Words.load(tuple(languages), settings.word_lists, decisions)
