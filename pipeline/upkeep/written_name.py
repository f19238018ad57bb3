"""A name in every form it is written in, as patterns: for SQL, and for what stands in files."""

from __future__ import annotations

import re
import unicodedata

SPACES, SPACES_OF_SQL = r"\s", r"[\s\pZ]"
_ACUTE = " \u0301"  # the acute accent that stands alone, as normal form KC writes it
ALIKE = {
    form: forms
    for forms in (
        ("ß", "ẞ", "ss"),
        ("ä", "a\u0308", "ae"),
        ("ö", "o\u0308", "oe"),
        ("ü", "u\u0308", "ue"),
        ("ffi", "ﬃ", "ﬀi", "fﬁ"),
        ("ffl", "ﬄ", "ﬀl", "fﬂ"),
        ("ff", "ﬀ"),
        ("fi", "ﬁ"),
        ("fl", "ﬂ"),
        (*"'’‘ʼ`´′＇", _ACUTE),
        tuple("-‐‑‒–"),
    )
    for form in forms
}
"""What is written for one another; case does not matter."""
APOSTROPHES = ALIKE["'"]
_PIECES = re.compile("|".join(sorted(map(re.escape, ALIKE), key=len, reverse=True)) + "|.", re.DOTALL | re.IGNORECASE)
_FULL_WIDTH = {ord(sign): chr(ord(sign) - ord("!") + ord("！")) for sign in map(chr, range(ord("!"), ord("~") + 1))}
_INVISIBLE = "[\u00ad\u200b\u200c\u200d\u2060\ufeff]*"  # a soft hyphen, joiners


def pattern_of_sql(written: str) -> str:
    """Pattern of a name as a word of its own; what stands before and behind it are groups 1 and 2."""
    return rf"(?i)(^|[^\pL\pN]){_any_form(written, SPACES_OF_SQL)}($|[^\pL\pN\pM])"


def pattern_of_files(written: str) -> re.Pattern[str]:
    """Pattern of a name as a word of its own."""
    return re.compile(rf"(?<!\w){_any_form(written, SPACES)}(?![\w\u0300-\u036f])", re.IGNORECASE)


def _any_form(written: str, spaces: str) -> str:
    """Pattern of the normal forms of Unicode, apostrophes, hyphens, ß and ss, ü and ue, ligatures, full width."""
    forms = dict.fromkeys(unicodedata.normalize(form, written).replace(_ACUTE, "'") for form in ("NFC", "NFKC"))
    patterns = [f"{spaces}+".join(map(_word, form.split())) for form in forms]
    return f"(?:{'|'.join(patterns)})"


def _word(word: str) -> str:
    return _INVISIBLE.join(_piece(found[0]) for found in _PIECES.finditer(word))


def _piece(piece: str) -> str:
    alike = ALIKE.get(piece, ALIKE.get(piece.lower(), (piece, unicodedata.normalize("NFD", piece))))
    full_width = [piece.translate(_FULL_WIDTH)] if piece.isascii() else []
    return f"(?:{'|'.join(map(_literal, dict.fromkeys((*alike, *full_width))))})"


def _literal(text: str) -> str:
    return "".join(c if c.isalnum() or ord(c) > 127 else rf"\x{ord(c):02x}" for c in text)
