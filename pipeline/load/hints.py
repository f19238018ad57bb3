"""What a load leaves useless though nothing of it is wrong: no causes to learn from, a language not switched on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import shown
from pipeline.load.column_evidence import header_score
from pipeline.load.guess_shape import NAMED
from pipeline.load.mapping import cell
from pipeline.store.batches import frame

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


def unread_amounts(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Say which amounts and minutes hold a figure that could not be read: they count as not recorded.

    Reads ``money_read`` and ``minutes_read``.
    """
    rows = connection.execute(
        "select field, count(*), min(written) from ("
        "select field, written, amount from money_read union all select 'minutes', written, minutes from minutes_read"
        ") where amount is null and regexp_matches(written, '[0-9]') group by field order by field"
    ).fetchall()
    return [
        f"{field}: {texts:,} texts with a figure could not be read and count as not recorded, such as {shown(first)}. "
        "Correct them in the file, or say in its layout how they are written (decimal_mark)."
        for field, texts, first in rows
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
    for language in off if now.size else ():
        then = _understood(Lists.load((language,)), rows) & ~now
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
    """Tell of every kind, complaint, cause and outcome written whether the lists understand it."""
    import numpy as np

    told = []
    for name, column in (("kind", "appliance_kind"), ("cause", "cause"), ("outcome", "outcome")):
        told.append(words.match(name, rows[column].dropna())["is_understood"].to_numpy(dtype=bool))
    texts = rows["complaint"].dropna().reset_index(drop=True)
    said = words.find_symptoms(texts, texts.where(texts.isna()))["row"]
    return np.concatenate([*told, np.isin(np.arange(len(texts)), said)])
