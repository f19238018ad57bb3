"""Lines in force read into values and terms: the staged tables, and which written words were understood."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TYPE_CHECKING

from pipeline.load import identity
from pipeline.load.currency import rates_by_sign
from pipeline.load.screen import read_serials
from pipeline.store.batches import batches, frame, insert, slices
from pipeline.values import ages, durations, money, parts_line
from pipeline.values.distinct import plain
from pipeline.words.list_version import edition, remember
from sql.working import make

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import duckdb
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

STAGED = ("stage_visit", "stage_symptom", "stage_finding", "stage_part")
LONGEST_EXAMPLE = 400  # characters of a text that show a word in use
AHEAD = 2  # batches of texts fetched before they are read


def restage(database: Database, words: Words, settings: Settings) -> None:
    """Read every line in force again and rebuild all tables, in one transaction: after decisions, or with new words.

    Raises
    ------
    DatabaseUnusable
        The disk is full, or the database cannot be written.
    """
    import sql

    with database.transaction() as connection:
        for table in (*STAGED, "word_use"):
            connection.execute(f"delete from {table}")
        make(connection, "version_in_force")
        _in_force(connection)
        read_serials(connection, "visit_text")
        _stage(connection, words, settings)
        _store_words(connection, words)
        connection.execute("delete from reading")
        remember(connection, settings)
        sql.rebuild(connection)


def stage_batch(connection: duckdb.DuckDBPyConnection, words: Words, settings: Settings, batch_id: int) -> None:
    """Add the visits of a new batch to the staged tables, in place of the versions held before.

    Reads ``serial_read`` (see `pipeline.load.screen`) and ``fresh`` (see `pipeline.load.versions`), whose lines
    stand in ``raw_record``; the caller holds the transaction. Makes ``changed_visit``, from which `sql.refresh` tells
    what is to be built anew.
    """
    several, replaced = connection.execute(
        "select count(*) filter (line_in_visit > 1), count(held_id) from fresh"
    ).fetchall()[0]
    make(connection, "changed_visit")
    if replaced:
        _withdraw(connection, words, batch_id)
    if several or replaced:
        make(connection, "version_of_batch", batch=batch_id)
        _in_force(connection)
    else:
        _read_days(connection, f"(select record_id as visit_id, * from raw_record where batch_id = {batch_id})")
    _stage(connection, words, settings)
    make(connection, "changed_visit_added")
    if connection.execute("select 1 from reading where edition = ?", [edition(settings)]).fetchall():
        _find_own_terms(connection)
    else:
        _store_words(connection, words)
        remember(connection, settings)


def _withdraw(connection: duckdb.DuckDBPyConnection, words: Words, batch_id: int) -> None:
    """Take the versions held before out of the staged tables and out of the counts of words."""
    make(connection, "version_replaced", batch=batch_id)
    _in_force(connection)
    make(connection, "use_of_word", "batch_reading")
    _read_kinds(connection, words)
    _read_cells(connection, words)
    make(connection, "use_of_cell")
    _read_texts(connection, words, {}, keep=False)
    _add_uses(connection, -1)
    make(connection, "changed_visit_added")
    for table in STAGED:
        connection.execute(f"delete from {table} where visit_id in (select visit_id from visit_text)")


def _in_force(connection: duckdb.DuckDBPyConnection) -> None:
    """Make view ``visit_text``: one row a visit, its fields as text, from the lines of ``version_in_force``.

    What the file of a version has no column for stays as an earlier version said it.
    """
    make(connection, "line_in_force", "version_earlier")
    if connection.execute("select 1 from version_earlier limit 1").fetchall():
        make(connection, "batch_reading", "line_in_force_kept")
    (several,) = connection.execute("select count(*) from line_in_force where line_in_visit > 1").fetchall()[0]
    if several:
        make(connection, "line_in_force_joined")
    _read_days(connection, "line_in_force")


def _read_days(connection: duckdb.DuckDBPyConnection, lines: str) -> None:
    """Make view ``visit_text`` of lines with their visit_id."""
    make(connection, "day_of")
    connection.execute(f"create or replace temp view visit_text as select *, day_of(visit_key) as day from {lines}")


def _stage(connection: duckdb.DuckDBPyConnection, words: Words, settings: Settings) -> None:
    make(connection, "use_of_word", "batch_reading", "rate")
    rates = rates_by_sign(settings)
    insert(connection, "rate", {"w": list(rates), "r": list(rates.values())})
    _read_kinds(connection, words)
    _read_cells(connection, words)
    _read_values(connection)

    def meanwhile() -> None:
        make(connection, "stage_visit_added", currency=settings.currency)
        make(connection, "use_of_cell")

    _read_texts(connection, words, rates, keep=True, meanwhile=meanwhile)
    _add_uses(connection, 1)


def _add_uses(connection: duckdb.DuckDBPyConnection, sign: int) -> None:
    make(connection, "all_uses", sign=sign)
    connection.execute("delete from word_use")
    connection.execute("insert into word_use select * from all_uses order by list, uses desc, written")


def _read_kinds(connection: duckdb.DuckDBPyConnection, words: Words) -> None:
    make(connection, "kind_read")
    for rows in batches(connection, "select distinct appliance_kind as w from visit_text"):
        found = words.match("kind", rows["w"])
        insert(connection, "kind_read", rows.assign(t=found["term"].array, u=found["is_understood"].array))


def _read_cells(connection: duckdb.DuckDBPyConnection, words: Words) -> None:
    """Make the tables that say which term each written make, outcome and cause (of a kind) is."""
    make(connection, "make_read", "outcome_read", "cause_read", "cause_written")
    known = frame(connection, "select distinct make from stage_visit where make is not null order by 1")["make"]
    for rows in batches(connection, "select distinct make as w from visit_text where make is not null"):
        found = words.match("make", rows["w"])
        spelt = identity.make(rows["w"], known.tolist())
        understood = found.set_axis(rows.index)["is_understood"].astype(bool)
        spelt = spelt.mask(understood, found.set_axis(rows.index)["term"])
        insert(connection, "make_read", rows.assign(t=spelt.array, u=found["is_understood"].array))
    for rows in batches(connection, "select distinct outcome as w from visit_text where outcome is not null"):
        found = words.match("outcome", rows["w"])
        terms = [found[name].array for name in ("term", "is_understood", "is_doubtful")]
        insert(connection, "outcome_read", rows.assign(t=terms[0], u=terms[1], d=terms[2]))
    for rows in batches(connection, "from cause_written"):
        found = words.match("cause", rows["w"], rows["k"])
        terms = [found[name].array for name in ("term", "is_understood", "is_doubtful")]
        is_none = words.match("outcome", rows["w"])["term"].eq("no fault found").array
        insert(connection, "cause_read", rows.assign(t=terms[0], u=terms[1], d=terms[2], n=is_none))


def _read_values(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the tables that say what each written model, age, duration and amount is."""
    make(connection, "model_read", "age_read")
    known = frame(connection, "select distinct model from stage_visit where model is not null order by 1")["model"]
    for rows in batches(connection, "select distinct model as w from visit_text where model is not null"):
        models = identity.model(rows["w"], known.tolist())
        insert(connection, "model_read", rows.assign(m=models, f=identity.model_family(models)))
    for rows in batches(connection, "select distinct age as w, day as d from visit_text where age is not null"):
        years = ages.parse(rows["w"], rows["d"].astype("datetime64[s]"))["value"]
        insert(connection, "age_read", rows.assign(y=years))
    make(connection, "minutes_read", "minutes_written", "money_read", "money_written")
    for rows in batches(connection, "from minutes_written"):
        for unit, some in rows.groupby("u", sort=True):
            insert(connection, "minutes_read", some.assign(m=durations.parse(some["w"], str(unit))["value"]))
    for column in ("labour_charge", "parts_cost"):
        query = f"select w, m, n from money_written where field = '{column}' order by all"
        for rows in batches(connection, query):
            for sign, some in rows.groupby("m", sort=True):
                written = some["w"].tolist()
                amounts, currencies, _ = money.read_values(
                    [plain(w) for w in written], some["n"].tolist(), str(sign) or None
                )
                columns = {"f": [column] * len(written), "w": written, "m": some["m"].tolist(), "a": amounts}
                insert(connection, "money_read", columns | {"c": currencies})


def _read_texts(
    connection: duckdb.DuckDBPyConnection,
    words: Words,
    rates: Mapping[str, float],
    *,
    keep: bool,
    meanwhile: Callable[[], None] = lambda: None,
) -> None:
    """Read complaints, codes, findings and parts a batch of visits at a time; keep them, or count their words only.

    Prices of parts are converted by ``rates``.

    Words take one core and SQL the other: the connection is left to one thread, which does what is to be done
    ``meanwhile``, fetches what is read next and stores what was read last, in the order asked.
    """
    checks = set(words.checks()["finding"])
    make(connection, "text_to_read")
    within = slices(connection, "visit_text", "visit_id")
    with ThreadPoolExecutor(1) as beside:
        asked: deque[Future[pd.DataFrame | None]] = deque(
            beside.submit(_texts, connection, condition) for condition in islice(within, AHEAD)
        )
        asked.append(beside.submit(meanwhile))
        while asked:
            rows = asked.popleft().result()
            if rows is None:
                continue
            asked.extend(beside.submit(_texts, connection, condition) for condition in islice(within, 1))
            asked.append(beside.submit(_keep, connection, _read_batch(words, rows, checks, rates), with_tables=keep))


def _texts(connection: duckdb.DuckDBPyConnection, condition: str) -> pd.DataFrame:
    rows = frame(connection, f"from text_to_read where {condition}").astype({"kind": "category", "make": "category"})
    if not rows["visit_id"].is_monotonic_increasing:
        rows = rows.sort_values("visit_id", ignore_index=True)
    return rows


def _read_batch(
    words: Words, rows: pd.DataFrame, checks: set[str], rates: Mapping[str, float]
) -> dict[str, list[pd.DataFrame]]:
    """Give what is to be added to each table, the uses of words among them."""
    symptoms, uses_in_complaints = _read_complaints(words, rows)
    findings, uses_in_findings = _read_findings(words, rows, checks)
    parts, uses_in_parts = _read_parts(words, rows, rates)
    return {
        "stage_symptom": [symptoms, _read_codes(words, rows)],
        "stage_finding": [findings],
        "stage_part": [parts],
        "use_of_word": [uses_in_complaints, uses_in_findings, uses_in_parts],
    }


def _keep(connection: duckdb.DuckDBPyConnection, read: dict[str, list[pd.DataFrame]], *, with_tables: bool) -> None:
    for table, frames in read.items():
        for rows in frames if with_tables or table == "use_of_word" else ():
            insert(connection, table, rows)


def _visit_ids(rows: pd.DataFrame, found: pd.DataFrame) -> NDArray[np.int64]:
    ids: NDArray[np.int64] = rows["visit_id"].to_numpy()[found["row"].to_numpy()]
    return ids


def _read_complaints(words: Words, rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    import pandas as pd

    found = words.find_symptoms(rows["complaint"], rows["kind"])
    unknown = words.unknown(rows["complaint"], rows["kind"])
    found = found.assign(visit_id=_visit_ids(rows, found), source="complaint")
    uses = _uses("complaint", rows["complaint"], unknown)
    again = rows.loc[words.says_again(rows["complaint"]), ["visit_id"]]
    again = again.assign(symptom="as before", source="again", is_negated=False, is_doubtful=False)
    columns = ["visit_id", "symptom", "source", "is_negated", "is_doubtful"]
    return pd.concat([found[columns], again[columns]], ignore_index=True), uses


def _uses(name: str, texts: pd.Series[str], found: pd.DataFrame) -> pd.DataFrame:
    """Count in how many texts each word stands, as in ``use_of_word``.

    found: row, ascending, word, and its term (missing = not understood).
    """
    import numpy as np
    import pandas as pd

    which, words = pd.factorize(found["word"])
    row = found["row"].to_numpy()
    is_first = ~pd.Series(row * max(1, len(words)) + which).duplicated().to_numpy()
    first = np.zeros(len(words), dtype=np.int64)
    first[which[::-1]] = row[::-1]
    terms: list[str | None] = [None] * len(words)
    if "term" in found:
        for at, term in found.assign(which=which).dropna(subset="term").groupby("which")["term"].max().items():
            terms[int(str(at))] = term
    return pd.DataFrame(
        {
            "list": name,
            "written": words,
            "term": terms,
            "uses": np.bincount(which[is_first], minlength=len(words)),
            "example": _starts(texts, first),
        }
    )


def _starts(texts: pd.Series[str], rows: np.ndarray) -> pd.api.extensions.ExtensionArray:
    """The beginnings of the texts of some rows: many words of one endless cell must not repeat it whole."""
    import numpy as np

    distinct, at = np.unique(rows, return_inverse=True)
    return texts.take(distinct).str.slice(0, LONGEST_EXAMPLE).take(at).array


def _read_codes(words: Words, rows: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    shown = words.codes(rows["fault_code"], rows["make"])
    said = words.said_codes(rows["complaint"], rows["make"])
    found = pd.concat([shown, said]).drop_duplicates(ignore_index=True)
    symptoms = pd.DataFrame({"visit_id": _visit_ids(rows, found), "symptom": found["code"].array})
    return symptoms.assign(source="code", is_negated=False, is_doubtful=False)


def _read_findings(words: Words, rows: pd.DataFrame, checks: set[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    found = words.find_findings(rows["findings"], rows["kind"])
    own = found.loc[~found["finding"].isin(checks), ["row", "finding"]].rename(columns={"finding": "word"})
    found = found.assign(visit_id=_visit_ids(rows, found))
    return found[["visit_id", "finding", "value", "is_doubtful"]], _uses("finding", rows["findings"], own)


def _read_parts(words: Words, rows: pd.DataFrame, rates: Mapping[str, float]) -> tuple[pd.DataFrame, pd.DataFrame]:
    split = parts_line.split(rows["parts"]).reset_index(drop=True)
    kinds = rows["kind"].take(split["row"].to_numpy()).reset_index(drop=True)
    matched = words.match("part", split["part_text"], kinds)
    understood = matched["term"].where(matched["is_understood"].astype(bool))
    uses = _uses("part", rows["parts"], split[["row"]].assign(word=split["part_text"], term=understood))
    if rates:
        written = split["currency"].fillna(rows["currency"].take(split["row"].to_numpy()).reset_index(drop=True))
        split["unit_cost"] *= written.map(rates).astype(float).fillna(1.0)
    split = split.assign(
        visit_id=_visit_ids(rows, split),
        part=matched["term"],
        quantity=split["quantity"].fillna(1.0),
    ).dropna(subset="part")  # words decided to be no part
    return split[["visit_id", "part_no", "part", "quantity", "unit_cost", "as_written"]], uses


def _store_words(connection: duckdb.DuckDBPyConnection, words: Words) -> None:
    """Replace the tables of words: term with the workshop's own ones, cure, symptom_group."""
    for table, rows in (
        ("cure", words.cure_table()),
        ("symptom_group", words.symptom_group_table()),
        ("term", words.term_table()),
    ):
        connection.execute(f"delete from {table}")
        insert(connection, table, rows)
    _find_own_terms(connection)


def _find_own_terms(connection: duckdb.DuckDBPyConnection) -> None:
    connection.execute("delete from term where origin = 'own'")
    make(connection, "own_terms")
