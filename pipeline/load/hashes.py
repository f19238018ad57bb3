"""Customers, and names where settings ask for it, as keyed hashes; and the key, which is the workshop's own."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
from typing import TYPE_CHECKING

from pipeline.errors import DatabaseUnusable, shown
from pipeline.store.atomic_write import take_free_name
from pipeline.values.distinct import NOT_KNOWN, distinct

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

KEY_BYTES = 32
HASH_BYTES = 16
_PUT_BACK = "Put it back from a backup: customers hashed with another key would no longer be recognised."

NO_CUSTOMER = NOT_KNOWN | {
    *("cash", "cash customer", "cash sale", "walk in", "walk-in", "customer", "misc", "various", "no name"),
    *("kunde", "barverkauf"),
}


def load_key(path: Path) -> bytes:
    """Read the workshop's secret key, made on first use.

    Parameters
    ----------
    path
        Key file; created with mode 600 where it does not exist, and set back to it where others may read it.

    Returns
    -------
    bytes
        32 random bytes.

    Raises
    ------
    DatabaseUnusable
        The file cannot be read or written, or does not hold a key.
    """
    try:
        if not path.exists():
            _create_key(path)
        if path.stat().st_mode & 0o077:
            path.chmod(0o600)
        text = path.read_text(encoding="ascii").strip()
        key = bytes.fromhex(text)
    except (OSError, UnicodeDecodeError, ValueError) as fault:
        raise DatabaseUnusable(
            f"The key file {shown(path.name)} cannot be used: {_why(fault)}.",
            "Run this as the user it belongs to." if isinstance(fault, PermissionError) else _PUT_BACK,
        ) from fault
    if len(key) != KEY_BYTES:
        raise DatabaseUnusable(f"The key file {shown(path.name)} does not hold a key of {KEY_BYTES} bytes.", _PUT_BACK)
    return key


def _why(fault: Exception) -> str:
    return (fault.strerror or "it cannot be read") if isinstance(fault, OSError) else "it does not hold a key"


def _create_key(path: Path) -> None:
    """Write a new key so that a second process starting at the same moment ends with the same one."""
    draft = path.with_name(f"{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(KEY_BYTES) + "\n")
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            take_free_name(draft, path)
    finally:
        draft.unlink(missing_ok=True)


def hash_customers(written: pd.Series[str], key: bytes) -> pd.Series[str]:
    """Replace customer references by keyed hashes (BLAKE2b, 128 bits).

    Parameters
    ----------
    written
        References as written; case, white space and compatibility characters do not matter.
    key
        See :func:`load_key`.

    Returns
    -------
    Series of str
        32 hexadecimal digits; missing where the reference is missing or names nobody ("n/a", "cash").

    Examples
    --------
    >>> import pandas as pd
    >>> hashed = hash_customers(pd.Series(["Ann  Example", "ann example", "cash"]), bytes(32))
    >>> hashed[0] == hashed[1], len(hashed[0]), bool(hashed.isna()[2])
    (True, 32, True)
    """
    column = distinct(written)
    keyed = hashlib.blake2b(key=key, digest_size=HASH_BYTES)
    hashed: list[str | None] = []
    for folded in map(str.casefold, column.values):
        if folded in NO_CUSTOMER:
            hashed.append(None)
            continue
        digest = keyed.copy()
        digest.update(folded.encode("utf-8", "replace"))
        hashed.append(digest.hexdigest())
    return column.texts(hashed).rename("customer_hash")
