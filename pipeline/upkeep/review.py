"""Unrecognised words: written out with suggestions, decisions taken back in, and undone."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any, NamedTuple

from pipeline.errors import LayoutError, UsageError, file_fault, shown
from pipeline.small_text import small_text
from pipeline.store.atomic_write import whole
from pipeline.store.outputs import may_write
from pipeline.store.sheet_text import from_sheet, safe_in_sheet

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from pipeline.store.database import Database
    from pipeline.words import Words

COLUMNS = (
    "list", "written", "uses", "example", "asks", "suggestion", "likeness", "second", "second_likeness", "decision"
)  # fmt: skip
UNKNOWN, CURE, JOINED = "what it means", "what cures it", "read as the suggestion: own keeps it apart"
GUESSED = "read as the suggestion, a guess: yes makes it sure"
PHRASE = "tells more than is understood: own makes it a complaint"
MOST_ROWS = 2_000
MOST_FAULTS = 20
SAYS_YES = frozenset({"yes", "y", "ok", "ja"})
NOTHING = "nothing"
SAYS_NOTHING = frozenset({NOTHING, "ignore", "-", "'-", "nichts"})
SAYS_OWN = frozenset({"own", "keep", "eigen"})
NO_PART = "no part"
MOST_BYTES = 64 << 20
_NEW = "new:"
_LISTS = ("kind", "complaint", "finding", "cause", "part", "outcome", "make", "cure")


class _Row(NamedTuple):
    """One line of a decided file."""

    line: int
    list: str
    written: str
    suggestion: str
    decision: str


def to_review(database: Database, words: Words) -> pd.DataFrame:
    """Give the words and cells that no list knows, the most used first, with the two best suggestions.

    Parameters
    ----------
    database
        An open database.
    words
        Words in force.

    Returns
    -------
    DataFrame
        list, written, uses (visits), example (one text it stands in), asks (what the decision is about), suggestion
        and likeness, second and second_likeness (0 to 1; missing = nothing near), decision (empty). A row of list
        ``cure`` asks which part cures a cause without a listed cure, or whether a part that seems to have cured it
        does. An outcome that was read as a guess comes with its reading as suggestion. Last come causes that were read
        as the suggestion though they are written in other words. At most 2,000 rows of each.
    """
    import pandas as pd

    from pipeline.upkeep.joined_causes import joined_causes
    from pipeline.upkeep.suggest import suggest

    found = database.connection.execute(
        "select list, written, uses, example from word_use where term is null and list <> 'make' "
        "and trim(written) <> '' "
        "and not exists (select 1 from correction as c where c.list = word_use.list and c.written = word_use.written "
        f"and c.undone_at is null) order by uses desc, list, written limit {MOST_ROWS}"
    ).df()
    found = found.astype({"list": "str", "written": "str", "example": "str"})
    unknown = _with_guesses(words, suggest(database, words, found).assign(asks=UNKNOWN))
    table = pd.concat([unknown, cures_to_decide(database).assign(asks=CURE)], ignore_index=True)
    table = table.sort_values(["uses", "list", "written"], ascending=[False, True, True], kind="stable")
    joined = joined_causes(database, words).head(MOST_ROWS).assign(asks=JOINED)
    return pd.concat([table, joined], ignore_index=True).assign(decision="").reindex(columns=list(COLUMNS))


def _with_guesses(words: Words, table: pd.DataFrame) -> pd.DataFrame:
    """Suggest the outcome a cell was read as, where that was a guess."""
    from pipeline.words.cells import TESTED

    read = words.match("outcome", table["written"].where(table["list"] == "outcome"))
    is_guess = read["is_understood"] & read["is_doubtful"]
    table = table.assign(asks=table["asks"].mask(is_guess, GUESSED))
    table["suggestion"] = table["suggestion"].astype("object").mask(is_guess, read["term"].replace(TESTED, "fixed"))
    for column in ("likeness", "second", "second_likeness"):
        table[column] = table[column].mask(is_guess)
    table.loc[is_guess & (read["term"] == TESTED), "second"] = "no fault found"
    return table


def phrases_to_review(database: Database, words: Words) -> pd.DataFrame:
    """Give the phrases of complaints that point to a cause beyond what is understood of them.

    Returns
    -------
    DataFrame
        The columns of `to_review`; ``example`` says what the phrase points to, with its interval. ``own`` makes the
        phrase a complaint of the workshop's own, a known complaint joins it to that, ``nothing`` is not asked again.
    """
    import pandas as pd

    from models.causes.phrases import find_phrases
    from pipeline.train.examples import examples
    from pipeline.train.phrases import Phrase

    query = "select written from correction where list = 'complaint' and undone_at is null"
    decided = {written for (written,) in database.connection.execute(query).fetchall()}
    records = find_phrases(examples(database), words.filler).to_dict("records")
    found = [Phrase(**{str(name): value for name, value in row.items()}) for row in records]
    rows = [
        {"written": one.phrase, "uses": one.jobs, "example": f"{one.kind}: {one.line()}"}
        for one in found
        if one.phrase not in decided
    ]
    table = pd.DataFrame(rows, columns=["written", "uses", "example"])
    return table.assign(list="complaint", asks=PHRASE, decision="").reindex(columns=list(COLUMNS))


def cures_to_decide(database: Database) -> pd.DataFrame:
    """Give causes whose cure is in question, with the part most often fitted at the visits that found them.

    Causes in use without any known cure; and causes that records cure with a part of which the lists do not say so.
    """
    return database.connection.execute(
        "with decided as (select written from correction where list = 'cure' and undone_at is null), "
        "open_cause as (select cause, count(*) as uses, min(cause_text) as example from stage_visit "
        "where cause is not null and cause_is_confirmed and cause not in (select cause from cure) "
        "and cause not in (select written from decided) group by cause), "
        "fitted as (select v.cause, p.part, count(distinct v.visit_id) as visits from stage_visit as v "
        "join stage_part as p using (visit_id) where v.outcome = 'fixed' group by all), "
        "best as (select cause, max_by(part, visits) as part, max(visits) as visits from fitted group by cause), "
        "unlisted as (select cause, max_by(part, verdicts) as part, sum(verdicts) as uses, min(job_no) as job_no "
        "from cure_to_review where cause in (select cause from cure) and part in (select part from cure) "
        "and cause not in (select written from decided) group by cause) "
        "select 'cure' as list, o.cause as written, o.uses, o.example, best.part as suggestion, "
        "round(best.visits / o.uses, 2)::double as likeness, null::varchar as second, "
        "null::double as second_likeness from open_cause as o left join best using (cause) "
        "union all select 'cure', cause, uses::bigint, 'job ' || job_no, part, null, null, null from unlisted "
        f"order by uses desc, written limit {MOST_ROWS}"
    ).df()


def write_review(database: Database, words: Words, path: Path, *, phrases: bool = False) -> int:
    """Write the words to review, or telling phrases, to a CSV file, to be decided in the last column; returns how many.

    In ``decision``: a term; ``yes`` takes the suggestion; ``own`` keeps it as the workshop's own term; ``new: term``
    makes a new term; ``nothing`` means it says nothing and is not asked again; for list ``cure`` the part (several
    split by |), or ``no part``. Empty decides nothing. Cells that a spreadsheet would take for a formula begin with an
    apostrophe.

    Raises
    ------
    FileUnusable
        The file cannot be written.
    UsageError
        It holds decisions that were not taken in.
    """
    may_write(path, COLUMNS[0].encode(), database=database)
    if open_decisions := _not_taken(database, words, path):
        raise UsageError(
            f"{shown(path)} holds {open_decisions:,} decisions that were not taken in; it was not written over.",
            f"Take them in first: priorjobs review --decisions {path}; or name another file with --out.",
        )
    table = phrases_to_review(database, words) if phrases else to_review(database, words)
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in table.itertuples(index=False):
        writer.writerow([_cell(value) for value in row])
    with whole(path) as draft:
        draft.write_text("\ufeff" + buffer.getvalue(), encoding="utf-8", newline="")
    return len(table)


def _not_taken(database: Database, words: Words, path: Path) -> int:
    """Count the decisions typed into a file that are not in force."""
    if not path.is_file() or not path.stat().st_size:
        return 0
    decided = [row for row in _read(path) if row.decision]
    if not decided:
        return 0
    terms = _terms(words)
    in_force = {
        (name, written): term
        for name, written, term in database.connection.execute(
            "select list, written, term from correction where undone_at is null order by correction_id"
        ).fetchall()
    }
    return sum(not _is_in_force(row, terms, in_force) for row in decided)


def _is_in_force(row: _Row, terms: dict[str, set[str]], in_force: dict[tuple[str, str], str | None]) -> bool:
    key = (row.list, row.written)
    try:
        return key in in_force and in_force[key] == _decided(row, terms)
    except LayoutError:
        return False


def _cell(value: Any) -> str:
    if value is None or value != value:
        return ""
    return safe_in_sheet(f"{value:.2f}" if isinstance(value, float) else str(value))


def take_decisions(database: Database, words: Words, path: Path) -> dict[str, Any]:
    """Store the decisions of a reviewed file; the caller reads every record again.

    Parameters
    ----------
    database
        An open database.
    words
        Words in force, to know the terms there are.
    path
        A file of `write_review` with decisions filled in.

    Returns
    -------
    dict
        taken, unchanged (already in force), empty, decisions: [{correction_id, list, written, term}].

    Raises
    ------
    LayoutError
        All faults of the file at once, by line, with near names; then nothing is stored.
    """
    rows = _read(path)
    terms = _terms(words)
    wanted: list[tuple[str, str, str | None]] = []
    faults: list[str] = []
    said_at: dict[tuple[str, str], tuple[int, str | None]] = {}
    empty = 0
    for row in rows:
        if not row.decision:
            empty += 1
            continue
        try:
            term = _decided(row, terms)
        except LayoutError as error:
            faults.append(f"line {row.line}: {error.what} {error.remedy.rstrip('.')}.")
            continue
        wanted.append((row.list, row.written, term))
        first, was = said_at.setdefault((row.list, " ".join(row.written.casefold().split())), (row.line, term))
        if was != term:
            faults.append(
                f"lines {first} and {row.line}: {shown(row.written)} of list {row.list} is decided twice, as "
                f"{shown(was or NOTHING)} and as {shown(term or NOTHING)}. Keep one of them."
            )
    if faults:
        told = [
            *faults[:MOST_FAULTS],
            *([f"and {len(faults) - MOST_FAULTS} more"] if len(faults) > MOST_FAULTS else []),
        ]
        raise LayoutError("\n  ".join([f"{path.name}:", *told]), "Fix these lines; nothing was taken.")
    return _store(database, wanted) | {"empty": empty}


def _read(path: Path) -> list[_Row]:
    try:
        text = small_text(path, MOST_BYTES)
    except OSError as error:
        raise file_fault(error, path) from error
    except UnicodeDecodeError:
        raise LayoutError(f"{shown(path)} is not text in UTF-8.", "Save it as CSV in UTF-8.") from None
    first = text.split("\n", 1)[0]
    reader = csv.DictReader(io.StringIO(text), delimiter=max(",;\t", key=first.count))
    missing = {"list", "written", "decision"} - set(reader.fieldnames or ())
    if missing:
        raise LayoutError(
            f"{path.name}, line 1: the column {shown(min(missing))} is missing.",
            "Keep the first line as review wrote it.",
        )
    rows = []
    try:
        for line in reader:
            cell = {key: from_sheet(line.get(key) or "") for key in ("list", "written", "suggestion")}
            rows.append(_Row(reader.line_num, decision=(line.get("decision") or "").strip(), **cell))
    except csv.Error as error:
        raise LayoutError(f"{path.name}, line {reader.line_num}: {error}.", "Save the file as CSV again.") from None
    return rows


def _terms(words: Words) -> dict[str, set[str]]:
    table = words.term_table()
    terms = {str(name): set(group) for name, group in table.groupby("list")["term"]}
    return {name: terms.get(name, set()) for name in _LISTS} | {"cure": terms.get("part", set()) | {NO_PART}}


def _decided(row: _Row, terms: dict[str, set[str]]) -> str | None:
    """Give the term that a decision means, None = it means nothing."""
    from pipeline.words.cells import own_term

    if row.list not in _LISTS or not row.written.strip():
        raise LayoutError(f"there is no list {shown(row.list)}.", "Keep the first columns as review wrote them.")
    said = " ".join(row.decision.lower().split())
    if said in SAYS_NOTHING:
        if row.list == "kind":
            raise LayoutError(
                f"{shown(row.written)} cannot mean nothing: every visit is to some kind of appliance.",
                "Write a kind, or own to keep the words as one",
            )
        return None
    if said in SAYS_YES:
        if not row.suggestion:
            raise LayoutError(f"{shown(row.written)} has no suggestion to say yes to.", "Write a term.")
        said = row.suggestion
    elif row.list == "outcome" and (said in SAYS_OWN or said.startswith(_NEW)):
        raise LayoutError("outcomes are a fixed list.", f"Choose from: {', '.join(sorted(terms['outcome']))}.")
    elif said in SAYS_OWN or said.startswith(_NEW):
        term = own_term(row.written if said in SAYS_OWN else said.removeprefix(_NEW))
        if term is None:
            raise LayoutError("a new term needs letters.", "Write new: and the term.")
        return term
    if row.list == "make":
        return row.decision.strip()
    for piece in said.split("|") if row.list == "cure" else [said]:
        if piece.strip() not in terms[row.list]:
            raise LayoutError(
                f"{shown(piece.strip())} is not a term of list {row.list}.", _hint(piece, terms[row.list])
            )
    return "|".join(piece.strip() for piece in said.split("|")) if row.list == "cure" else said


def _hint(said: str, terms: set[str]) -> str:
    from rapidfuzz.process import extract

    near = [name for name, _score, _place in extract(said, sorted(terms), limit=3, score_cutoff=60)]
    return (f"Near: {', '.join(near)}. " if near else "") + "For a new term write new: and the term"


def _store(database: Database, wanted: list[tuple[str, str, str | None]]) -> dict[str, Any]:
    """Add decisions that are not already in force; an older one on the same word is undone."""
    connection = database.connection
    in_force = {
        (name, written): (number, term)
        for number, name, written, term in connection.execute(
            "select correction_id, list, written, term from correction where undone_at is null order by correction_id"
        ).fetchall()
    }
    new = {(name, written): term for name, written, term in wanted}
    unchanged = sum(1 for key, term in new.items() if key in in_force and in_force[key][1] == term)
    decisions: list[dict[str, Any]] = []
    with database.transaction() as changing:
        (number,) = changing.execute("select coalesce(max(correction_id), 0) from correction").fetchall()[0]
        for (name, written), term in new.items():
            if (name, written) in in_force:
                if in_force[name, written][1] == term:
                    continue
                changing.execute(
                    "update correction set undone_at = now()::timestamp where correction_id = ?",
                    [in_force[name, written][0]],
                )
            number += 1
            changing.execute(
                "insert into correction values (?, now()::timestamp, ?, ?, ?, null)", [number, name, written, term]
            )
            decisions.append({"correction_id": number, "list": name, "written": written, "term": term})
    return {"taken": len(decisions), "unchanged": unchanged, "decisions": decisions}


def undo(database: Database, correction_id: int) -> dict[str, Any]:
    """Undo one decision; its row is kept and the caller reads every record again.

    Returns
    -------
    dict
        undone (its number), list, written, term.

    Raises
    ------
    UsageError
        No decision has this number, or it has already been undone.
    """
    found = database.connection.execute(
        "select list, written, term, undone_at from correction where correction_id = ?", [correction_id]
    ).fetchall()
    if not found:
        raise UsageError(
            f"There is no decision number {correction_id}.", "Their numbers: priorjobs export correction FILE."
        )
    name, written, term, undone_at = found[0]
    if undone_at is not None:
        raise UsageError(f"Decision {correction_id} has already been undone.", "Nothing is left to do.")
    with database.transaction() as changing:
        changing.execute("update correction set undone_at = now()::timestamp where correction_id = ?", [correction_id])
    return {"undone": correction_id, "list": name, "written": written, "term": term}
