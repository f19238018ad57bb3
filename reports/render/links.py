"""Links out of records: what may be followed, and what is only shown."""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple
from urllib.parse import urlsplit

_SCHEME = re.compile(r"[a-z][a-z0-9+.-]*:", re.IGNORECASE)
_FILE = re.compile(r"/|\.(jpe?g|png|heic|webp|gif|tiff?|mp4|pdf)$", re.IGNORECASE)


class Link(NamedTuple):
    """One piece of a cell of links: its text, and where it leads; "" = it is only shown."""

    text: str
    href: str

    @property
    def is_web(self) -> bool:
        """Whether it leads to an address of the web, not to a file beside the page."""
        return bool(_SCHEME.match(self.href))


def links(cell: str | None) -> list[Link]:
    """Pieces of a cell, split at spaces and at "; "; only http, https and files beside the page can be followed."""
    pieces = [piece.strip(";|") for piece in re.split(r"[\s|]+|;\s+", cell or "")]
    return [Link(piece, piece if _may_follow(piece) else "") for piece in pieces if piece]


def _may_follow(piece: str) -> bool:
    if any(unicodedata.category(sign).startswith("C") for sign in piece) or any(sign in piece for sign in "\\<>\"'`"):
        return False
    if _SCHEME.match(piece):
        try:
            address = urlsplit(piece)
        except ValueError:
            return False
        return address.scheme.lower() in ("http", "https") and bool(address.hostname) and not address.username
    return not piece.startswith("/") and bool(_FILE.search(piece))
