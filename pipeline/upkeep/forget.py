"""Erase a customer's identity everywhere the workshop's data lies, and prove it by searching."""

from __future__ import annotations

import html
import re
import secrets
import shutil
import unicodedata
import zipfile
import zlib
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sql
from pipeline.errors import DatabaseUnusable, UsageError, shown
from pipeline.load.privacy import hash_customers, load_key
from pipeline.store.outputs import MANIFEST

if TYPE_CHECKING:
    import duckdb

    from pipeline.store.database import Database

ERASED = "[erased]"
MOST_SEARCHED = 64 << 20  # bytes of one file
_MATCHES = "regexp_matches({0}, $p)"
SPACES, SPACES_OF_SQL = r"\s", r"[\s\pZ]"
ALIKE = (("ß", "ẞ", "ss", "SS"), tuple("'’‘ʼ`´′＇"), tuple("-‐‑‒–"))
SHORTEST_NAME = 4  # characters: a shorter reference stands by chance in other texts, so texts are not searched for it


def forget(database: Database, customer_ref: str) -> dict[str, Any]:
    """Remove a customer from every table, raw and refused lines and review files included.

    The visits stay, for the appliance's history, under a random name that leads back to nobody. What was derived from
    the customer (the keyed hash) and the reference itself, where it was written into free text, are gone.

    Parameters
    ----------
    database
        The workshop.
    customer_ref
        Reference or name as it stands in the records; case and white space do not matter.

    Returns
    -------
    dict
        visits, raw_lines, refused_lines and texts changed; files changed; proof: places searched, found (0);
        elsewhere: other files of the workshop that hold the name or may hold it; too_short: texts that hold a name of
        fewer than four letters, which is not erased from texts, since it may be another word; and what is left to do
        by hand.

    Raises
    ------
    UsageError
        The text names nobody, such as "cash" or a blank.
    DatabaseUnusable
        The customer is still found afterwards, or the file cannot be written.
    """
    import pandas as pd

    key = load_key(database.key_file)
    hashed = hash_customers(pd.Series([customer_ref], dtype="str"), key)[0]
    if not isinstance(hashed, str):
        raise UsageError(f"{shown(customer_ref)} names no customer.", "Give the reference as it stands in the records.")
    if database.place.stat().st_nlink > 1:
        raise UsageError(
            f"{shown(database.path, 200)} has a second name (a hard link), under which the old content would stay.",
            "Remove the other name first, or copy the file; nothing was changed.",
        )
    written = " ".join(unicodedata.normalize("NFC", customer_ref).split())
    stand_in = f"erased-{secrets.token_hex(8)}"
    with database.transaction() as connection:
        counts = {"visits": 0, "raw_lines": 0, "refused_lines": 0}
        for form in {hashed, *_other_forms(connection, customer_ref, key)}:
            counts = {name: counts[name] + count for name, count in _count(connection, form).items()}
            _replace_everywhere(connection, form, stand_in)
        counts["texts"] = _erase_written(connection, written)
        if any(counts.values()):
            sql.rebuild(connection)
    files = _erase_in_files(database, hashed, written)
    database.compact()  # always: free blocks hold what was erased, also by a run that was killed before it came here
    searched = _search(database, hashed, written)
    if searched["found"]:
        raise DatabaseUnusable(
            f"The customer is still found in {', '.join(searched['found'])}.",
            "Run this again, and tell us if it stays so.",
        )
    is_known = any(counts.values()) or files
    return {
        **counts,
        "files": files,
        "proof": {"places_searched": searched["places"], "bytes_searched": searched["bytes"], "found": 0},
        "elsewhere": elsewhere(database, hashed, written),
        "too_short": _too_short(database.connection, written),
        "still_to_do": ("" if is_known else f"Nothing held {shown(customer_ref)}: is it written as in the records? ")
        + "Files named as elsewhere, exports and backups kept in other places, and the office's own files "
        "are not touched: delete or correct them; loading such a file again brings the customer back. A model named "
        "there learned from the name: run priorjobs train, then delete its folder.",
    }


def _other_forms(connection: duckdb.DuckDBPyConnection, written: str, key: bytes) -> list[str]:
    """Hashes held of the same reference with another apostrophe or hyphen."""
    import pandas as pd

    forms = {written.replace(a, b) for alike in ALIKE[1:] for a in alike for b in alike if a in written}
    hashes = hash_customers(pd.Series(sorted(forms), dtype="str"), key).dropna().tolist()
    held = connection.execute(
        "select distinct customer_ref from raw_record where list_contains(?, customer_ref)", [hashes]
    ).fetchall()
    return [form for (form,) in held]


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
    connection.execute(  # a hash of the line with the name in it would tell whether a guessed name is right
        "update raw_record set content_hash = 'erased-' || uuid()::varchar "
        "where customer_ref = $h "
        "or (starts_with(customer_ref, 'erased-') and not starts_with(content_hash, 'erased-'))",
        {"h": hashed},
    )
    for table, column, owner in (
        ("raw_record", "other_columns", "customer_ref = $h"),
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


def _erase_written(connection: duckdb.DuckDBPyConnection, written: str) -> int:
    """Erase the reference where it was written into a text, as a word of its own."""
    if len(written) < SHORTEST_NAME:
        return 0
    pattern = _pattern(written)
    holding = _holding(connection, _text_columns(connection, raw_only=True), _MATCHES, {"p": pattern})
    for table, column, _ in holding:
        connection.execute(
            f'update "{table}" set "{column}" = regexp_replace("{column}", $p, $e, \'g\') '
            f'where regexp_matches("{column}", $p)',
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


def _pattern(written: str) -> str:
    return rf"(?i)(^|[^\pL\pN]){_any_form(written, SPACES_OF_SQL)}($|[^\pL\pN\pM])"


def _any_form(written: str, spaces: str) -> str:
    """Pattern of a name in every form it is written in: Unicode forms, apostrophes, hyphens, ß and ss, spaces."""
    words = []
    for word in written.split():
        letters = re.split("(ss|SS|.)", unicodedata.normalize("NFC", word), flags=re.DOTALL)
        words.append("".join(_letter(letter) for letter in letters if letter))
    return f"{spaces}+".join(words)


def _letter(letter: str) -> str:
    for alike in ALIKE:
        if letter in alike or letter.lower() in alike:
            return f"(?:{'|'.join(map(_literal, alike))})"
    apart = unicodedata.normalize("NFD", letter)
    return _literal(letter) if apart == letter else f"(?:{_literal(letter)}|{_literal(apart)})"


def _literal(text: str) -> str:
    return "".join(c if c.isalnum() or ord(c) > 127 else rf"\x{ord(c):02x}" for c in text)


def _too_short(connection: duckdb.DuckDBPyConnection, written: str) -> int:
    """Count the texts that hold a name too short to be erased from texts."""
    if len(written) >= SHORTEST_NAME:
        return 0
    holding = _holding(connection, _text_columns(connection, raw_only=True), _MATCHES, {"p": _pattern(written)})
    return sum(rows for _, _, rows in holding)


def elsewhere(database: Database, hashed: str, written: str) -> list[str]:
    """Name the files beside the database, in the current folder and among the models that hold the customer.

    Copies of the database and backups are named whatever they hold: what is packed in them cannot be searched.
    """
    folders = {database.place.parent, database.path.parent.resolve(), Path.cwd()}
    files = {path for folder in folders for path in folder.iterdir()}
    if database.folder_of_models.is_dir():
        files |= set(database.folder_of_models.rglob("*"))
    pattern = _file_pattern(written) if len(written) >= SHORTEST_NAME else None
    return sorted(
        str(path)
        for path in files
        if path.is_file() and not path.samefile(database.place) and _may_hold(path, hashed, pattern)
    )


def _may_hold(path: Path, hashed: str, pattern: re.Pattern[str] | None) -> bool:
    if ".before-version-" in path.name:
        return True
    try:
        with path.open("rb") as file:
            held = file.read(MOST_SEARCHED)
        if held.startswith(b"PK"):
            with zipfile.ZipFile(path) as archive:
                if MANIFEST in archive.namelist():
                    return True
                held = b"\n".join(archive.read(m) for m in archive.infolist() if m.file_size < MOST_SEARCHED)
    except (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError):
        return False
    text = held.decode("utf-8", "replace")
    return hashed in text or (pattern is not None and pattern.search(html.unescape(text)) is not None)


def _review_files(database: Database) -> list[Path]:
    """Review files beside the database and in the current folder, known by their columns, whatever their name."""
    from pipeline.upkeep.review import COLUMNS

    folders = {database.path.parent.resolve(), Path.cwd()}
    found = []
    for path in sorted(p for folder in folders for p in folder.glob("*.csv") if p.is_file()):
        with path.open("rb") as file:
            start = file.read(400).removeprefix(b"\xef\xbb\xbf")
        names = start.splitlines()[0].decode("ascii", "replace") if start else ""
        if re.split("[,;\t]", names.replace('"', ""))[: len(COLUMNS)] == list(COLUMNS):
            found.append(path)
    return found


def _erase_in_files(database: Database, hashed: str, written: str) -> list[str]:
    changed = []
    for path in _review_files(database):
        text = path.read_bytes().decode("utf-8", "surrogateescape")
        cleaned = text.replace(hashed, ERASED)
        if len(written) >= SHORTEST_NAME:
            cleaned = _file_pattern(written).sub(ERASED, cleaned)
        if cleaned != text:
            draft = path.with_name(path.name + ".new")
            draft.write_bytes(cleaned.encode("utf-8", "surrogateescape"))
            shutil.copymode(path, draft)
            draft.replace(path)
            changed.append(path.name)
    return changed


def _file_pattern(written: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w){_any_form(written, SPACES)}(?![\w\u0300-\u036f])", re.IGNORECASE)


def _search(database: Database, hashed: str, written: str) -> dict[str, Any]:
    """Search every text of every table and every review file for hash and name, the database file for the hash."""
    connection = database.connection
    columns = _text_columns(connection, raw_only=False)
    condition, values = "contains({0}, $h)", {"h": hashed}
    if len(written) >= SHORTEST_NAME:
        condition += f" or {_MATCHES}"
        values["p"] = _pattern(written)
    found = [f"{table}.{column}" for table, column, _ in _holding(connection, columns, condition, values)]
    size = 0
    files = _review_files(database)
    with database.closed() as place:  # a handle on it beside DuckDB's would drop DuckDB's lock when it is closed
        for path in (place, *files):
            held = path.read_bytes()
            size += len(held)
            is_review = path.suffix == ".csv"
            names = _file_pattern(written).search(held.decode("utf-8", "replace")) if is_review else None
            if hashed.encode() in held or (names and len(written) >= SHORTEST_NAME):
                found.append(path.name)
    return {"places": len(columns) + len(files) + 1, "bytes": size, "found": found}
