"""Erase a customer's identity everywhere the workshop's data lies, and prove it by searching."""

from __future__ import annotations

import mmap
import re
import secrets
import unicodedata
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sql
from pipeline.errors import DatabaseUnusable, UsageError, shown
from pipeline.load.hashes import hash_customers, load_key
from pipeline.store.atomic_write import whole
from pipeline.upkeep.bearers import bearers, lines_of_bearers
from pipeline.upkeep.files_naming_customer import elsewhere
from pipeline.upkeep.own_texts import erase_words, what_stays
from pipeline.upkeep.written_name import APOSTROPHES, pattern_of_files, pattern_of_sql

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb

    from pipeline.store.database import Database

ERASED = "[erased]"
_MATCHES = "regexp_matches({0}, $p)"
LONGEST_NAME = 1000  # characters: a pattern of many more is refused by DuckDB
SHORTEST_NAME = 4  # characters: a shorter reference stands by chance in other texts, so texts are not searched for it

SHORTEST_WORD = 3  # characters of a word of a name that is looked for in the customer's own texts


@dataclass(frozen=True)
class Customer:
    """Who is forgotten.

    Attributes
    ----------
    hashed
        What stands for the customer in the tables.
    written
        The reference, white space made plain.
    in_tables, in_files
        Patterns that find it where it is written into a text; None where it is too short to be told from other words.
    """

    hashed: str
    written: str
    in_tables: str | None
    in_files: re.Pattern[str] | None


def forget(
    database: Database, customer_ref: str, called: Sequence[str] = (), *, several: bool = False
) -> dict[str, Any]:
    """Remove a customer from every table, raw and refused lines and review files included.

    The visits stay, for the appliance's history, under a random name that leads back to nobody. What was derived from
    the customer (the keyed hash) and the reference itself, where it was written into free text, are gone. A name that
    stands beside the customer's own reference takes that reference, and every other hash on these lines, with it. The
    words of the name, and what the customer is ``called``, go from the texts of the customer's own visits alone.

    Parameters
    ----------
    database
        The workshop.
    customer_ref
        Reference or name as it stands in the records; case and white space do not matter.
    called
        Other words the customer goes by in notes, a first name say.
    several
        Forget all customers who bear the name; otherwise a name of several is refused.

    Returns
    -------
    dict
        visits, raw_lines, refused_lines and texts changed; files changed; proof: places searched, what for, found (0);
        stays: what of the customer's visits is kept, and texts of theirs that may still name somebody;
        elsewhere: other files of the workshop that hold the name or may hold it; too_short: texts that hold a name of
        fewer than four letters, which is not erased from texts, since it may be another word; and what is left to do
        by hand.

    Raises
    ------
    UsageError
        The text names nobody, such as "cash" or a blank; a word the customer is called by has no letter; or several
        customers bear the name.
    DatabaseUnusable
        The customer is still found afterwards, or the file cannot be written.
    """
    key = load_key(database.key_file)
    customer = _customer(customer_ref, key)
    if nameless := [word for word in called if not any(map(str.isalpha, word))]:
        raise UsageError(f"{shown(nameless[0])} is not a name.", "Give a name with --called; nothing was changed.")
    if database.place.stat().st_nlink > 1:
        raise UsageError(
            f"{shown(database.path, 200)} has a second name (a hard link), under which the old content would stay.",
            "Remove the other name first, or copy the file; nothing was changed.",
        )
    with database.transaction() as connection:
        hashes = [customer.hashed, *_other_forms(connection, customer_ref, key)]
        if not several:
            bearers(connection, hashes).refuse_several(customer.written)
        own = lines_of_bearers(connection, hashes)
        counts = _erase(connection, customer, hashes[1:])
        _take_references_along(connection, own, hashes)
        words = [*called, *_words_of(customer.written)]
        counts["texts"] += erase_words(connection, [record for record, _ in own], words)
        _forget_content_hashes(connection)
        if any(counts.values()):
            sql.rebuild(connection)
        kept = what_stays(connection, [record for record, _ in own], words)
    _write_anew(database)
    files = _erase_in_files(database, customer)
    searched = _search(database, customer)
    if searched["found"]:
        raise DatabaseUnusable(
            f"The customer is still found in {', '.join(searched['found'])}.",
            "Run this again; report it if it stays so.",
        )
    return {
        **counts,
        "files": files,
        "proof": {
            "places_searched": searched["places"],
            "bytes_searched": searched["bytes"],
            "searched_for": "the reference and its hash everywhere"
            + (f"; {', '.join(words)} in the customer's own visits" if own and words else ""),
            "found": 0,
        },
        "stays": kept,
        "elsewhere": elsewhere(database, customer.hashed, customer.in_files),
        "too_short": _too_short(database.connection, customer),
        "still_to_do": _still_to_do(customer, is_known=bool(any(counts.values()) or files)),
    }


def _write_anew(database: Database) -> None:
    """Write the file anew, always: free blocks hold what was erased, also by a run that was killed before this."""
    try:
        database.compact()
    except DatabaseUnusable as fault:
        raise DatabaseUnusable(
            f"{fault.what} The customer is erased from the tables; old content still lies in free blocks of the file.",
            fault.remedy,
        ) from fault


def _customer(reference: str, key: bytes) -> Customer:
    import pandas as pd

    is_text = len(reference) <= LONGEST_NAME and not any("\ud800" <= sign <= "\udfff" for sign in reference)
    hashed = hash_customers(pd.Series([reference if is_text else None], dtype="str"), key)[0]
    if not isinstance(hashed, str):
        raise UsageError(f"{shown(reference)} names no customer.", "Give the reference as it stands in the records.")
    written = " ".join(unicodedata.normalize("NFC", reference).split())
    if len(written) < SHORTEST_NAME:
        return Customer(hashed, written, None, None)
    return Customer(hashed, written, pattern_of_sql(written), pattern_of_files(written))


def _still_to_do(customer: Customer, *, is_known: bool) -> str:
    told = "" if is_known else f"Nothing held {shown(customer.written)}: is it written as in the records? "
    if customer.in_files is None:
        told += "So short a name was not looked for in other files. "
    return (
        f"{told}Files named as elsewhere hold the customer, or are packed and may hold it. They, exports and backups "
        "kept in other places, and the office's own files are not touched: delete or correct them; loading such a file "
        "again brings the customer back. Pictures, sound and film are not searched. A model named there learned from "
        "the name: run priorjobs train, then delete its folder."
    )


def _other_forms(connection: duckdb.DuckDBPyConnection, written: str, key: bytes) -> list[str]:
    """Hashes held of the same reference with another apostrophe, as customers or beside them."""
    import pandas as pd

    forms = {written.replace(a, b) for a in APOSTROPHES for b in APOSTROPHES if a in written}
    hashes = hash_customers(pd.Series(sorted(forms), dtype="str"), key).dropna().tolist()
    held = connection.execute(
        "select h from (select unnest($hashes) as h) where exists "
        "(from raw_record where customer_ref = h or contains(other_columns, h))",
        {"hashes": hashes},
    ).fetchall()
    return [form for (form,) in held]


def _erase(connection: duckdb.DuckDBPyConnection, customer: Customer, forms: list[str]) -> dict[str, int]:
    """Erase the customer from the tables that loads fill; returns how many rows of each sort changed."""
    stand_in = f"erased-{secrets.token_hex(8)}"
    counts = {"visits": 0, "raw_lines": 0, "refused_lines": 0}
    for form in {customer.hashed, *forms}:
        counts = {name: counts[name] + count for name, count in _count(connection, form).items()}
        _replace_everywhere(connection, form, stand_in)
    return {**counts, "texts": _erase_written(connection, customer.in_tables)}


def _count(connection: duckdb.DuckDBPyConnection, hashed: str) -> dict[str, int]:
    visits, lines, refused = connection.execute(
        "select (select count(*) from stage_visit where customer_hash = $h), "
        "(select count(*) from raw_record where customer_ref = $h or contains(coalesce(other_columns, ''), $h)), "
        "(select count(*) from rejected_record where contains(line_text, $h))",
        {"h": hashed},
    ).fetchall()[0]
    return {"visits": visits, "raw_lines": lines, "refused_lines": refused}


def _text_columns(connection: duckdb.DuckDBPyConnection, *, raw_only: bool) -> list[tuple[str, str]]:
    """Table and column of every text; with ``raw_only`` those that are not rebuilt from others."""
    rebuilt = {file.table for file in sql.table_files() if not file.folder.startswith("10_")}
    rows = connection.execute(
        "select table_name, column_name from duckdb_columns() where schema_name = 'main' and not internal "
        "and table_name in (select table_name from duckdb_tables() where not temporary) "
        "and data_type like 'VARCHAR%' order by all"
    ).fetchall()
    return [(t, c) for t, c in rows if not (raw_only and t in rebuilt)]


def _replace_everywhere(connection: duckdb.DuckDBPyConnection, hashed: str, stand_in: str) -> None:
    for table, column, owner in (
        ("raw_record", "other_columns", "customer_ref = $h or contains(other_columns, $h)"),
        ("rejected_record", "line_text", "contains(line_text, $h)"),
    ):  # phones and addresses of the same customer are hashed too
        connection.execute(
            f"update {table} set {column} = regexp_replace(replace({column}, $h, $s), '\"[0-9a-f]{{32}}\"', $e, 'g') "
            f"where {owner}",
            {"h": hashed, "s": stand_in, "e": f'"{ERASED}"'},
        )
    for table, column in _text_columns(connection, raw_only=True):
        connection.execute(
            f'update "{table}" set "{column}" = replace("{column}", $h, $s) where contains("{column}", $h)',
            {"h": hashed, "s": stand_in},
        )


def _take_references_along(
    connection: duckdb.DuckDBPyConnection, own: Sequence[tuple[int, str | None]], hashes: Sequence[str]
) -> None:
    """Put a random name for the customer's own reference on the lines that bore the name: it leads back to them."""
    for reference in sorted(
        {held for _, held in own if held and held not in hashes and not held.startswith("erased-")}
    ):
        change = {
            "r": reference,
            "s": f"erased-{secrets.token_hex(8)}",
            "lines": [record for record, held in own if held == reference],
        }
        connection.execute(
            "update raw_record set customer_ref = $s, visit_key = replace(visit_key, $r, $s), "
            "other_columns = replace(other_columns, $r, $s) where list_contains($lines, record_id)",
            change,
        )
        connection.execute(
            "update stage_visit set customer_hash = $s where customer_hash = $r and list_contains($lines, record_id)",
            change,
        )


def _forget_content_hashes(connection: duckdb.DuckDBPyConnection) -> None:
    """Put random hashes on every line of whose visit something is erased: one of the content tells a right guess at it.

    Whose the line is does not matter, a name may stand in another customer's text; nor which run erased it.
    """
    texts = ", ".join(f'"{c}"' for t, c in _text_columns(connection, raw_only=True) if t == "raw_record")
    connection.execute(
        "update raw_record set content_hash = 'erased-' || uuid()::varchar where not starts_with(content_hash, "
        "'erased-') and content_hash in (select content_hash from raw_record "
        f"where starts_with(customer_ref, 'erased-') or contains(concat_ws('|', {texts}), $e))",
        {"e": ERASED},
    )


def _words_of(written: str) -> list[str]:
    """Words of a name of several, each of which may stand alone in a note; none of a number."""
    words = written.split()
    is_name = len(words) > 1 and all(any(map(str.isalpha, word)) and not any(map(str.isdigit, word)) for word in words)
    return [word for word in words if len(word) >= SHORTEST_WORD] if is_name else []


def _erase_written(connection: duckdb.DuckDBPyConnection, pattern: str | None) -> int:
    """Erase the reference where it was written into a text, as a word of its own."""
    if pattern is None:
        return 0
    holding = _holding(connection, _text_columns(connection, raw_only=True), _MATCHES, {"p": pattern})
    for table, column, _ in holding:
        once = "regexp_replace({}, $p, $e, 'g')"
        twice = once.format(once.format(f'"{column}"'))  # of two side by side, the second shares what stands between
        connection.execute(
            f'update "{table}" set "{column}" = {twice} where regexp_matches("{column}", $p)',
            {"p": pattern, "e": rf"\1{ERASED}\2"},
        )
    return sum(rows for _, _, rows in holding)


def _holding(
    connection: duckdb.DuckDBPyConnection, columns: list[tuple[str, str]], condition: str, values: dict[str, str]
) -> list[tuple[str, str, int]]:
    """Columns of which a text meets a condition, each with its table and how many rows do.

    The texts of a row are searched as one first: to make a pattern ready takes longer than to search a small table.
    """
    found = []
    for table, of_table in groupby(columns, itemgetter(0)):
        names = [f'"{column}"::varchar' for _, column in of_table]
        row = f"concat_ws('|', {', '.join(names)})"
        if connection.execute(f'select 1 from "{table}" where {condition.format(row)} limit 1', values).fetchall():
            counts = ", ".join(f"count(*) filter ({condition.format(name)})" for name in names)
            rows = connection.execute(f'select {counts} from "{table}"', values).fetchall()[0]
            found += [(table, name.split('"')[1], n) for name, n in zip(names, rows, strict=True) if n]
    return found


def _too_short(connection: duckdb.DuckDBPyConnection, customer: Customer) -> int:
    """Count the texts that hold a name too short to be erased from texts."""
    if customer.in_tables is not None:
        return 0
    columns, pattern = _text_columns(connection, raw_only=True), pattern_of_sql(customer.written)
    return sum(rows for _, _, rows in _holding(connection, columns, _MATCHES, {"p": pattern}))


def _review_files(database: Database) -> list[Path]:
    """Review files beside the database and in the current folder, known by their columns, whatever their name.

    A file that may not be read is told among those elsewhere.
    """
    from pipeline.upkeep.review import COLUMNS

    folders = {database.path.parent.resolve(), Path.cwd()}
    found = []
    for path in sorted(p for folder in folders for p in folder.glob("*.csv") if p.is_file()):
        try:
            with path.open("rb") as file:
                start = file.read(400).removeprefix(b"\xef\xbb\xbf")
        except OSError:
            continue
        names = start.splitlines()[0].decode("ascii", "replace") if start else ""
        if re.split("[,;\t]", names.replace('"', ""))[: len(COLUMNS)] == list(COLUMNS):
            found.append(path)
    return found


def _erase_in_files(database: Database, customer: Customer) -> list[str]:
    changed = []
    for path in _review_files(database):
        text = path.read_bytes().decode("utf-8", "surrogateescape")
        cleaned = text.replace(customer.hashed, ERASED)
        if customer.in_files is not None:
            cleaned = customer.in_files.sub(ERASED, cleaned)
        if cleaned != text:
            with whole(path) as draft:
                draft.write_bytes(cleaned.encode("utf-8", "surrogateescape"))
            changed.append(path.name)
    return changed


def _search(database: Database, customer: Customer) -> dict[str, Any]:
    """Search every text of every table and every review file for hash and name, the database file for the hash."""
    columns = _text_columns(database.connection, raw_only=False)
    condition, values = "contains({0}, $h)", {"h": customer.hashed}
    if customer.in_tables is not None:
        condition += f" or {_MATCHES}"
        values["p"] = customer.in_tables
    holding = _holding(database.connection, columns, condition, values)
    found = [f"{table}.{column}" for table, column, _ in holding]
    size = 0
    files = _review_files(database)
    with database.closed() as place:  # a handle on it beside DuckDB's would drop DuckDB's lock when it is closed
        for path in (place, *files):
            with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as held:
                size += len(held)
                is_held = held.find(customer.hashed.encode()) >= 0
                if path != place and customer.in_files is not None:
                    is_held |= customer.in_files.search(held[:].decode("utf-8", "replace")) is not None
            if is_held:
                found.append(path.name)
    return {"places": len(columns) + len(files) + 1, "bytes": size, "found": found}
