"""What a load leaves useless though nothing of it is wrong: no causes to learn from, a language not switched on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import shown
from pipeline.load.column_evidence import header_score
from pipeline.load.guess_shape import NAMED
from pipeline.load.mapping import cell
from pipeline.store.batches import frame
from pipeline.words.vocabulary import plain

if TYPE_CHECKING:
    import duckdb
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from pipeline.load.layout import Layout
    from pipeline.settings import Settings
    from pipeline.words import Words

MAY_NAME_CAUSES = ("findings", "work_done", "outcome", "parts")  # fields; columns without a field may too
LOOKED_AT = 300  # lines
NAMES_CAUSES = 0.2  # of the texts of a column that may hold causes
_NO_CAUSES = "No line says what the cause was, so train learns nothing from this file."
_SAY_SO = "say so in the layout, cause = …"
UNDERSTOOD_BETTER = 0.1  # share of texts that another language must understand beside those understood now
MOST_VALUES = 6  # told of a column in a load's report
LEAST_GAINED = 2  # such texts: one word may be one of both languages


def without_causes(
    connection: duckdb.DuckDBPyConnection, words: Words, layout: Layout, header: tuple[str, ...]
) -> list[str]:
    """Say that nothing of the file can be learned from, and which column may hold the causes.

    Reads ``screened``, ``candidate`` and ``incoming``.
    """
    lines, causes = connection.execute(
        "select count(*), count(cause) from screened join candidate using (line_no)"
    ).fetchall()[0]
    if causes or not lines:
        return []
    said = {rule.column for f in layout.columns if f not in MAY_NAME_CAUSES for rule in layout.columns[f]}
    best, where = 0.0, "No column looks as if it held them."
    for name in (n for n in header if n not in said):
        if header_score(name, "cause") >= NAMED:
            return [f"{_NO_CAUSES} Column {shown(name)} is named as if it held them: {_SAY_SO}"]
        texts = frame(connection, f"select {cell(header, name)} as t from incoming limit {LOOKED_AT}")["t"].dropna()
        if texts.empty:
            continue
        share = words.find_causes(texts.reset_index(drop=True))["row"].nunique() / len(texts)
        if share > max(best, NAMES_CAUSES):
            best = share
            where = f"Column {shown(name)} may hold them ({best:.0%} of its texts name one): {_SAY_SO}"
    return [f"{_NO_CAUSES} {where}"]


def put_back(connection: duckdb.DuckDBPyConnection, batch: int) -> list[str]:
    """Say how many visits a batch puts back to what they were before a later file corrected them."""
    visits, corrected_by = connection.execute(
        "with again as (select visit_key, max(old.batch_id) as said_by from raw_record as new "
        "join raw_record as old using (visit_key, content_hash) "
        "where new.batch_id = $batch and old.batch_id < $batch group by visit_key), "
        "corrected as (select visit_key, max(batch_id) as batch_id from again join raw_record using (visit_key) "
        "where batch_id > said_by and batch_id < $batch group by visit_key) "
        "select count(*), (select file_name from load_batch where batch_id = max(corrected.batch_id)) from corrected",
        {"batch": batch},
    ).fetchall()[0]
    if not visits:
        return []
    return [
        f"{visits:,} of the new versions put visits back to what an earlier load said, before {shown(corrected_by)} "
        f"corrected them: an older export? To keep the corrections: priorjobs take-back {batch}"
    ]


def of_batch(connection: duckdb.DuckDBPyConnection, batch: int) -> list[str]:
    """Say what was dropped, guessed or undone when a batch was read into values."""
    asked = (unread_values, odd_amounts, parts_beyond_their_cost, units_of_unread_kinds, put_back)
    return [note for told in asked for note in told(connection, batch)]


def unread_values(connection: duckdb.DuckDBPyConnection, batch: int) -> list[str]:
    """Say which values of a batch became none, the rarest first, with line and value: they count as not recorded."""
    rows = connection.execute(
        "select column_name, count(*), sum(uses)::bigint, list({'written': written, 'uses': uses, 'line': line} "
        "order by uses, line)[:$most] from (select column_name, written, count(*) as uses, min(line_no) as line "
        "from unread_value where batch_id = $batch group by all) group by column_name order by column_name",
        {"batch": batch, "most": MOST_VALUES},
    ).fetchall()
    told = []
    for column, different, uses, first in rows:
        named = "; ".join(_value(one["written"], one["uses"], one["line"]) for one in first)
        more = f"; and {different - len(first):,} other values" if different > len(first) else ""
        told.append(f"{column}: {uses:,} became no value and count as not recorded: {named}{more}.")
    if told:
        told.append(
            "All of these: priorjobs export unread_value FILE. Correct them in the file, or say in its layout how they "
            "are written (decimal_mark, date_format)."
        )
    return told


def _value(written: str, uses: int, line: int) -> str:
    return f"{shown(written)} ({f'{uses:,} times, first ' if uses > 1 else ''}line {line:,})"


def odd_amounts(connection: duckdb.DuckDBPyConnection, batch: int) -> list[str]:
    """Say which amounts of a batch are below zero, and which words count as no charge."""
    told = []
    for column in ("labour_charge", "parts_cost"):
        for what, condition in (
            ("below zero count as credits and are taken off the sums", f"visit.{column} < 0"),
            ("in words count as 0", f"visit.{column} = 0 and not regexp_matches(raw_record.{column}, '[0-9]')"),
        ):
            amounts, line, written = connection.execute(
                f"select count(*), min(line_no), min_by(raw_record.{column}, line_no) from stage_visit as visit "
                f"join raw_record using (record_id) where batch_id = ? and {condition}",
                [batch],
            ).fetchall()[0]
            if amounts:
                told.append(
                    f"{column.replace('_', ' ')}: {amounts:,} amounts {what}, such as {shown(written)} (line {line:,})."
                )
    return told


def parts_beyond_their_cost(connection: duckdb.DuckDBPyConnection, batch: int) -> list[str]:
    """Say at how many visits the prices of the part lines add up to more than the visit's parts cost."""
    visits, line, lines_sum, cost = connection.execute(
        "with priced as (select visit_id, sum(quantity * unit_cost) as price from stage_part group by visit_id) "
        "select count(*), min(line_no), min_by(price, line_no), min_by(stage_visit.parts_cost, line_no) "
        "from stage_visit join raw_record using (record_id) join priced using (visit_id) "
        "where batch_id = ? and price > stage_visit.parts_cost + 0.005",
        [batch],
    ).fetchall()[0]
    if not visits:
        return []
    return [
        f"{visits:,} visits have part lines that add up to more than their cost of parts, first line {line:,}: "
        f"{lines_sum:,.2f} against {cost:,.2f}. Wrong parts are counted by their own lines, the visit by its cost."
    ]


def blank_lines(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Say how many lines between others hold no cell: they are no records and are not counted as read.

    Reads ``blank_line`` and ``incoming``.
    """
    lines, first = connection.execute(
        "select count(*), min(line_no) from blank_line where line_no < (select max(line_no) from incoming)"
    ).fetchall()[0]
    return [f"{lines:,} lines with no cell filled are not counted as read, first line {first:,}."] if lines else []


def units_of_unread_kinds(connection: duckdb.DuckDBPyConnection, batch: int) -> list[str]:
    """Say which visits of a kind no list knows were taken for visits to a unit of another kind, by its serial."""
    visits, first, other = connection.execute(
        "select count(*), min(kind), min_by(other_kind, kind) from (select visit.kind, max(other.kind) as other_kind "
        "from visit join visit as other on other.appliance_id = visit.appliance_id and other.kind <> visit.kind "
        "join term on term.list = 'kind' and term.term = visit.kind and term.origin = 'own' "
        "where visit.batch_id = ? group by visit.visit_id, visit.kind)",
        [batch],
    ).fetchall()[0]
    if not visits:
        return []
    return [
        f"{visits:,} visits of a kind no list knows, such as {shown(first)}, have the serial of an "
        f"appliance of another kind, such as {shown(other)}: they count as visits to that appliance. "
        "Say in review what the words mean."
    ]


def another_language(connection: duckdb.DuckDBPyConnection, words: Words, settings: Settings) -> list[str]:
    """Say that the file, or a part of it, is written in a shipped language that is not switched on.

    Reads ``screened`` and ``candidate``.
    """
    from pipeline.words import Words as Lists
    from pipeline.words.lists import shipped_languages

    off = [name for name in shipped_languages() if name not in settings.languages]
    rows = frame(
        connection,
        "select appliance_kind, complaint, cause, outcome from screened join candidate using (line_no) "
        f"limit {LOOKED_AT}",
    )
    now = _understood(words, rows)
    left = ~now
    may_gain = left.sum() >= LEAST_GAINED and left.mean() >= UNDERSTOOD_BETTER
    for language in off if may_gain else ():
        then = _understood(Lists.load((language,)), rows) & left
        if then.sum() >= LEAST_GAINED and then.mean() >= UNDERSTOOD_BETTER:
            on = ", ".join(f'"{name}"' for name in (*settings.languages, language))
            return [
                f"This file looks written in the language {language!r}, at least in part, whose words are shipped but "
                f"not switched on: {now.mean():.0%} of its kinds, complaints, causes and outcomes are understood, "
                f"{(now | then).mean():.0%} would be. Write languages = [{on}] in the settings file; the next load "
                "then reads every visit again."
            ]
    return []


def _understood(words: Words, rows: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell of every kind, complaint, cause and outcome written whether the languages of the lists understand it."""
    import numpy as np

    kinds = rows["appliance_kind"].dropna()
    is_of_another = kinds.map(lambda kind: plain(kind).strip() in words.lists.foreign_kinds).to_numpy(dtype=bool)
    told = [words.match("kind", kinds)["is_understood"].to_numpy(dtype=bool) & ~is_of_another]
    for name, column in (("cause", "cause"), ("outcome", "outcome")):
        told.append(words.match(name, rows[column].dropna())["is_understood"].to_numpy(dtype=bool))
    texts = rows["complaint"].dropna().reset_index(drop=True)
    said = words.find_symptoms(texts, texts.where(texts.isna()))["row"]
    return np.concatenate([*told, np.isin(np.arange(len(texts)), said)])
