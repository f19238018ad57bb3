"""A commented word list to start from, in a language for which none is shipped."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import UsageError, file_fault, shown
from pipeline.store.atomic_write import whole_and_new

TEXT = """# Words of this workshop in the language "{language}".
# Put the file beside the database, and name it in the settings file:
#     word_lists = ["{file}"]
# The next load then reads every visit again. "term" is the word the tool uses (terms of the shipped lists are English:
# priorjobs review shows them as suggestions); "written" is how you write it. All but "term" may be left out.

[denial]                            # words that turn a complaint round: "does not leak" is no leak
words = []

# [[kind]]
# term = "washing machine"
# written = ["how you write it", "and shorter"]

# [[complaint]]
# term = "leaks"
# written = ["what customers say"]

# [[outcome]]                       # fixed, not fixed, part needed, no fault found, declined, no access, ...
# term = "fixed"
# written = ["how you write that it is done"]

# [[cause]]
# term = "drain pump seized"
# written = ["how you write it"]

# [[part]]
# term = "drain pump"
# written = ["how you write it"]
# price = 34.50

[ignore]                            # words that mean nothing and are not asked about
words = []
"""


def write_skeleton(language: str, path: Path) -> None:
    """Write a word list to fill in; a file that is there stays.

    Raises
    ------
    UsageError
        The file exists.
    FileUnusable
        The disk is full, or the place cannot be written.
    """
    try:
        with whole_and_new(path) as draft:
            draft.write_text(TEXT.format(language=language, file=path.name), encoding="utf-8")
    except FileExistsError as fault:
        raise UsageError(f"{shown(path)} already exists.", "Name another with --out.") from fault
    except OSError as fault:
        raise file_fault(fault, path) from fault
