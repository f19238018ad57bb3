"""Text in a file that a spreadsheet opens: nothing in it is calculated, and it reads back as it was."""

from __future__ import annotations

import re

_FORMULA = re.compile(r"'*[ ]*[=+\-@\t\r\n]")


def safe_in_sheet(text: str) -> str:
    """Keep a spreadsheet from calculating text: an apostrophe before what would start a formula.

    Examples
    --------
    >>> safe_in_sheet("=1+1"), safe_in_sheet("drain pump")
    ("'=1+1", 'drain pump')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def from_sheet(text: str) -> str:
    """Take away the apostrophe that `safe_in_sheet` put there.

    Examples
    --------
    >>> from_sheet("'=1+1"), from_sheet("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text
