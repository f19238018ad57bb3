"""Which edition of word lists, of what reads them, and of rates of money is in force? Its fingerprint."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

    from pipeline.settings import Settings

WORDS = Path(__file__).parent


def edition(settings: Settings) -> str:
    """Fingerprint of the shipped lists of the languages asked for, the workshop's own, their readers, and of rates."""
    shipped = [path for language in sorted({"en", *settings.languages}) for path in (WORDS / language).glob("*.*")]
    digest = hashlib.blake2b(digest_size=16)
    for path in (*sorted(shipped), *sorted(WORDS.glob("*.*")), *settings.word_lists):
        if path.is_file():
            digest.update(hashlib.blake2b(path.read_bytes()).digest())
    if settings.rates:
        digest.update(repr(sorted(settings.rates.items())).encode())
    return digest.hexdigest()


def is_outdated(connection: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Tell whether there are staged lines that were read with another edition than the one in force."""
    if connection.execute("select 1 from reading where edition = ?", [edition(settings)]).fetchall():
        return False
    return bool(connection.execute("select 1 from stage_visit limit 1").fetchall())


def remember(connection: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Note the edition in force as the one that the staged lines were read with, unless one is noted."""
    connection.execute("insert into reading select ? where not exists (from reading)", [edition(settings)])
