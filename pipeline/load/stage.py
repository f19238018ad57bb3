"""Lines in force read into values and terms: the staged tables, and which written words were understood."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TYPE_CHECKING

from pipeline.load import identity
from pipeline.load.layout import FIELDS
from pipeline.load.screen import read_serials
from pipeline.store.batches import batches, frame, insert, slices
from pipeline.values import ages, durations, money, parts_line
from pipeline.values.distinct import plain
from pipeline.words.edition import remember

if TYPE_CHECKING:
    from collections.abc import Callable

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
ONCE_A_VISIT = tuple(name for name in FIELDS if name != "parts")


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
        _in_force(connection, "select visit_key, max(batch_id) as batch_id from counted_record group by all")
        read_serials(connection, "visit_text")
        _stage(connection, words, settings)
        _store_words(connection, words)
        connection.execute("delete from reading")
        remember(connection, settings)
        sql.rebuild(connection)


def stage_batch(
    connection: duckdb.DuckDBPyConnection, words: Words, settings: Settings, batch_id: int, last_record: int
) -> None:
    """Add the visits of a new batch to the staged tables, in place of the versions held before.

    Reads ``serial_read`` (see `pipeline.load.screen`) and ``fresh`` (see `pipeline.load.versions`), whose lines
    stand in ``raw_record`` under ``last_record`` + line_no; the caller holds the transaction.
    """
    several, replaced = connection.execute(
        "select count(*) filter (line_in_visit > 1), count(held_id) from fresh"
    ).fetchall()[0]
    if replaced:
        _withdraw(connection, words, batch_id)
    if several:
        _in_force(connection, f"select distinct visit_key, {batch_id} as batch_id from fresh")
    elif replaced:
        connection.execute(
            "create or replace temp table line_in_force as select coalesce(held_id, record_id) as visit_id, "
            f"raw_record.* from raw_record join (select {last_record} + line_no as record_id, held_id from fresh) "
            "using (record_id) order by visit_id"
        )
        _read_days(connection, "line_in_force")
    else:
        _read_days(connection, f"(select record_id as visit_id, * from raw_record where batch_id = {batch_id})")
    _stage(connection, words, settings)
    _store_words(connection, words)
    remember(connection, settings)


def _withdraw(connection: duckdb.DuckDBPyConnection, words: Words, batch_id: int) -> None:
    """Take the versions held before out of the staged tables and out of the counts of words."""
    _in_force(
        connection,
        "select visit_key, max(batch_id) as batch_id from counted_record "
        "where visit_key in (select visit_key from fresh where held_id is not null) "
        f"and batch_id < {batch_id} group by all",
    )
    _prepare_uses(connection)
    _read_kinds(connection, words)
    _read_cells(connection, words)
    _count_cells(connection)
    _read_texts(connection, words, keep=False)
    _add_uses(connection, -1)
    for table in STAGED:
        connection.execute(f"delete from {table} where visit_id in (select visit_id from visit_text)")


def _in_force(connection: duckdb.DuckDBPyConnection, versions: str) -> None:
    """Make view ``visit_text``: one row a visit, its fields as text, from the lines of the stated versions."""
    connection.execute(
        "create or replace temp table line_in_force as select first.visit_id, counted_record.* "
        f"from counted_record join ({versions}) as version using (visit_key, batch_id) join (select visit_key, "
        "min(record_id) as visit_id from counted_record group by all) as first using (visit_key)"
    )
    (several,) = connection.execute("select count(*) from line_in_force where line_in_visit > 1").fetchall()[0]
    if several:
        once = ", ".join(f"first({n} order by line_in_visit) filter ({n} is not null) as {n}" for n in ONCE_A_VISIT)
        connection.execute(
            f"create or replace temp table line_in_force as select visit_id, min(record_id) as record_id, batch_id, "
            f"visit_key, {once}, string_agg(parts, '; ' order by line_in_visit) as parts from line_in_force "
            "group by visit_id, batch_id, visit_key"
        )
    _read_days(connection, "line_in_force")


def _read_days(connection: duckdb.DuckDBPyConnection, lines: str) -> None:
    """Make view ``visit_text`` of lines with their visit_id; the day stands at the end of the key, before "|#2"."""
    day = r"case when contains(visit_key, '|#') then regexp_replace(visit_key, '\|#[0-9]+$', '') else visit_key end"
    connection.execute(
        f"create or replace temp view visit_text as select *, right({day}, 10)::date as day from {lines}"
    )


def _stage(connection: duckdb.DuckDBPyConnection, words: Words, settings: Settings) -> None:
    _prepare_uses(connection)
    _read_kinds(connection, words)
    _read_cells(connection, words)
    _read_values(connection)

    def meanwhile() -> None:
        _stage_visits(connection, settings)
        _count_cells(connection)

    _read_texts(connection, words, keep=True, meanwhile=meanwhile)
    _add_uses(connection, 1)


def _prepare_uses(connection: duckdb.DuckDBPyConnection) -> None:
    connection.execute(
        "create or replace temp table use_of_word "
        "(list varchar, written varchar, term varchar, uses bigint, example varchar)"
    )


def _add_uses(connection: duckdb.DuckDBPyConnection, sign: int) -> None:
    connection.execute(
        "create or replace temp table all_uses as select list, written, max(term) as term, sum(uses)::bigint as uses, "
        "coalesce(min(example) filter (is_new), min(example)) as example from ("
        "select list, written, term, uses, example, false as is_new from word_use union all "
        f"select list, written, term, {sign} * uses, example, {sign > 0} from use_of_word) "
        "group by list, written having sum(uses) > 0"
    )
    connection.execute("delete from word_use")
    connection.execute("insert into word_use select * from all_uses order by list, uses desc, written")


def _read_kinds(connection: duckdb.DuckDBPyConnection, words: Words) -> None:
    connection.execute("create or replace temp table kind_read (written varchar, term varchar, is_understood boolean)")
    for rows in batches(connection, "select distinct appliance_kind as w from visit_text"):
        found = words.match("kind", rows["w"])
        insert(connection, "kind_read", rows.assign(t=found["term"].array, u=found["is_understood"].array))


def _read_cells(connection: duckdb.DuckDBPyConnection, words: Words) -> None:
    """Make the tables that say which term each written make, outcome and cause (of a kind) is."""
    connection.execute("create or replace temp table make_read (written varchar, term varchar, is_understood boolean)")
    known = frame(connection, "select distinct make from stage_visit where make is not null order by 1")["make"]
    for rows in batches(connection, "select distinct make as w from visit_text where make is not null"):
        found = words.match("make", rows["w"])
        spelt = identity.make(rows["w"], known.tolist())
        understood = found.set_axis(rows.index)["is_understood"].astype(bool)
        spelt = spelt.mask(understood, found.set_axis(rows.index)["term"])
        insert(connection, "make_read", rows.assign(t=spelt.array, u=found["is_understood"].array))
    connection.execute(
        "create or replace temp table outcome_read (written varchar, term varchar, is_understood boolean)"
    )
    for rows in batches(connection, "select distinct outcome as w from visit_text where outcome is not null"):
        found = words.match("outcome", rows["w"])
        insert(connection, "outcome_read", rows.assign(t=found["term"].array, u=found["is_understood"].array))
    connection.execute(
        "create or replace temp table cause_read "
        "(written varchar, kind varchar, term varchar, is_understood boolean, is_doubtful boolean)"
    )
    query = (
        "select distinct cause as w, kind_read.term as k from visit_text "
        "left join kind_read on kind_read.written = appliance_kind where cause is not null"
    )
    for rows in batches(connection, query):
        found = words.match("cause", rows["w"], rows["k"])
        terms = [found[name].array for name in ("term", "is_understood", "is_doubtful")]
        insert(connection, "cause_read", rows.assign(t=terms[0], u=terms[1], d=terms[2]))


def _read_values(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the tables that say what each written model, age, duration and amount is."""
    connection.execute("create or replace temp table model_read (written varchar, model varchar, family varchar)")
    known = frame(connection, "select distinct model from stage_visit where model is not null order by 1")["model"]
    for rows in batches(connection, "select distinct model as w from visit_text where model is not null"):
        models = identity.model(rows["w"], known.tolist())
        insert(connection, "model_read", rows.assign(m=models, f=identity.model_family(models)))
    connection.execute("create or replace temp table age_read (written varchar, day date, years double)")
    for rows in batches(connection, "select distinct age as w, day as d from visit_text where age is not null"):
        years = ages.parse(rows["w"], rows["d"].astype("datetime64[s]"))["value"]
        insert(connection, "age_read", rows.assign(y=years))
    connection.execute(
        "create or replace temp table money_read "
        "(field varchar, written varchar, mark varchar, amount double, currency varchar)"
    )
    connection.execute(
        "create or replace temp table batch_reading as select batch_id, "
        "coalesce(reading->>'$.decimal_mark.labour_charge', '') as labour_mark, "
        "coalesce(reading->>'$.decimal_mark.parts_cost', '') as parts_mark, reading->>'$.currency' as currency, "
        "coalesce(reading->>'$.bare_durations', 'minutes') as duration_unit from load_batch"
    )
    connection.execute("create or replace temp table minutes_read (written varchar, unit varchar, minutes double)")
    query = (
        "select distinct minutes as w, duration_unit as u from visit_text join batch_reading using (batch_id) "
        "where minutes is not null order by all"
    )
    for rows in batches(connection, query):
        for unit, some in rows.groupby("u", sort=True):
            insert(connection, "minutes_read", some.assign(m=durations.parse(some["w"], str(unit))["value"]))
    for column, mark in (("labour_charge", "labour_mark"), ("parts_cost", "parts_mark")):
        query = (
            f"select {column} as w, {mark} as m, count(*) as n from visit_text join batch_reading using (batch_id) "
            f"where {column} is not null group by all order by all"
        )
        for rows in batches(connection, query):
            for sign, some in rows.groupby("m", sort=True):
                written = some["w"].tolist()
                amounts, currencies, _ = money.read_values(
                    [plain(w) for w in written], some["n"].tolist(), str(sign) or None
                )
                columns = {"f": [column] * len(written), "w": written, "m": some["m"].tolist(), "a": amounts}
                insert(connection, "money_read", columns | {"c": currencies})


def _stage_visits(connection: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    connection.execute(
        "insert into stage_visit select v.visit_id, v.record_id, v.day, k.term, v.job_no, v.customer_ref, m.term, "
        "model_read.model, model_read.family, serial_read.serial, "
        "age_read.years, "
        "v.complaint, v.findings, c.term, v.cause, case when c.term is not null then not c.is_doubtful end, "
        "v.work_done, case when o.is_understood then o.term else 'unknown' end, v.technician, minutes_read.minutes, "
        "labour.amount, parts.amount, "
        "coalesce(labour.currency, parts.currency, batch_reading.currency, $currency), v.callback_of "
        "from visit_text as v join kind_read as k on k.written = v.appliance_kind "
        "join batch_reading using (batch_id) "
        "left join make_read as m on m.written = v.make "
        "left join model_read on model_read.written = v.model "
        "left join serial_read on serial_read.written = v.serial "
        "left join age_read on age_read.written = v.age and age_read.day = v.day "
        "left join cause_read as c on c.written = v.cause and c.kind = k.term "
        "left join outcome_read as o on o.written = v.outcome "
        "left join minutes_read on minutes_read.written = v.minutes "
        "and minutes_read.unit = batch_reading.duration_unit "
        "left join money_read as labour on labour.field = 'labour_charge' and labour.written = v.labour_charge "
        "and labour.mark = batch_reading.labour_mark "
        "left join money_read as parts on parts.field = 'parts_cost' and parts.written = v.parts_cost "
        "and parts.mark = batch_reading.parts_mark",
        {"currency": settings.currency},
    )


def _count_cells(connection: duckdb.DuckDBPyConnection) -> None:
    for name, column, table in (
        ("kind", "appliance_kind", "kind_read"),
        ("make", "make", "make_read"),
        ("outcome", "outcome", "outcome_read"),
        ("cause", "cause", "cause_read"),
    ):
        is_of_kind = " and r.kind = k.term" if table == "cause_read" else ""
        connection.execute(
            f"insert into use_of_word select '{name}', v.{column}, max(r.term) filter (r.is_understood), count(*), "
            f"min(v.complaint) from visit_text as v join kind_read as k on k.written = v.appliance_kind "
            f"join {table} as r on r.written = v.{column}{is_of_kind} group by v.{column}"
        )


def _read_texts(
    connection: duckdb.DuckDBPyConnection, words: Words, *, keep: bool, meanwhile: Callable[[], None] = lambda: None
) -> None:
    """Read complaints, codes, findings and parts a batch of visits at a time; keep them, or count their words only.

    Words take one core and SQL the other: the connection is left to one thread, which does what is to be done
    ``meanwhile``, fetches what is read next and stores what was read last, in the order asked.
    """
    checks = set(words.checks()["finding"])
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
            asked.append(beside.submit(_keep, connection, _read_batch(words, rows, checks), with_tables=keep))


def _texts(connection: duckdb.DuckDBPyConnection, condition: str) -> pd.DataFrame:
    rows = frame(
        connection,
        "select v.visit_id, v.complaint, v.fault_code, v.findings, v.parts, k.term as kind, m.term as make "
        "from visit_text as v join kind_read as k on k.written = v.appliance_kind "
        f"left join make_read as m on m.written = v.make where {condition}",
    ).astype({"kind": "category", "make": "category"})
    if not rows["visit_id"].is_monotonic_increasing:
        rows = rows.sort_values("visit_id", ignore_index=True)
    return rows


def _read_batch(words: Words, rows: pd.DataFrame, checks: set[str]) -> dict[str, list[pd.DataFrame]]:
    """Give what is to be added to each table, the uses of words among them."""
    symptoms, uses_in_complaints = _read_complaints(words, rows)
    findings, uses_in_findings = _read_findings(words, rows, checks)
    parts, uses_in_parts = _read_parts(words, rows)
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
    found = words.find_symptoms(rows["complaint"], rows["kind"])
    unknown = words.unknown(rows["complaint"], rows["kind"])
    found = found.assign(visit_id=_visit_ids(rows, found), source="complaint")
    uses = _uses("complaint", rows["complaint"], unknown)
    return found[["visit_id", "symptom", "source", "is_negated", "is_doubtful"]], uses


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


def _read_parts(words: Words, rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    split = parts_line.split(rows["parts"]).reset_index(drop=True)
    kinds = rows["kind"].take(split["row"].to_numpy()).reset_index(drop=True)
    matched = words.match("part", split["part_text"], kinds)
    understood = matched["term"].where(matched["is_understood"].astype(bool))
    uses = _uses("part", rows["parts"], split[["row"]].assign(word=split["part_text"], term=understood))
    split = split.assign(
        visit_id=_visit_ids(rows, split),
        part=matched["term"],
        quantity=split["quantity"].fillna(1.0),
    )
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
    connection.execute(
        "insert into term select list, term, 'own' from ("
        "select 'kind' as list, kind as term from stage_visit union select 'make', make from stage_visit "
        "union select 'outcome', outcome from stage_visit union select 'cause', cause from stage_visit "
        "union select 'part', part from stage_part union select 'finding', finding from stage_finding) as own "
        "where term is not null and not exists (select 1 from term as known "
        "where known.list = own.list and known.term = own.term) order by all"
    )
