"""Causes written in different words that the lists read as one: shown, so that one decision takes them apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.words.vocabulary import split

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.store.database import Database
    from pipeline.words import Words

COLUMNS = ("list", "written", "uses", "example", "suggestion")


def joined_causes(database: Database, words: Words) -> pd.DataFrame:
    """Give the wordings of causes that became a term of other words, the most used first.

    "Faulty drain pump" and "drain pump faulty" are one wording, "bad pump" another; doubt ("? pump") makes no other
    wording. A wording that people decided on in review is not shown.

    Parameters
    ----------
    database
        An open database.
    words
        Words in force.

    Returns
    -------
    DataFrame
        list (cause), written (the wording in its shortest form), uses (visits), example, suggestion (the term it
        became); one row a term and wording with words that the term has not.
    """
    import pandas as pd

    found = database.connection.execute(
        "select written, uses, example, term from word_use where list = 'cause' and term is not null "
        "and not exists (select 1 from correction as c where c.list = 'cause' and c.written = word_use.written "
        "and c.undone_at is null) order by uses desc, written"
    ).fetchall()
    rows: dict[tuple[str, frozenset[str]], list[tuple[str, int, str]]] = {}
    for written, uses, example, term in found:
        wording = _wording(words, written)
        if not wording or wording <= _wording(words, term):
            continue
        held = rows.setdefault((term, wording), [])
        held.append((written, int(uses), example))
    table = pd.DataFrame(
        [
            ("cause", min((form[0] for form in forms), key=len), sum(form[1] for form in forms), forms[0][2], term)
            for (term, _wording_), forms in rows.items()
        ],
        columns=list(COLUMNS),
    )
    table = table.astype({"list": "str", "written": "str", "uses": "int64", "example": "str", "suggestion": "str"})
    return table.sort_values(["uses", "written"], ascending=[False, True], kind="stable").reset_index(drop=True)


def _wording(words: Words, text: str) -> frozenset[str]:
    """Give the words of a text that tell something, their order and spelling mistakes aside."""
    lexicon = words.lexicons[0]
    written = split(text)
    bases = [base if base is not None else raw for raw, base in zip(written, lexicon.base_words(written), strict=True)]
    return frozenset(base for base in bases if any(map(str.isalnum, base)) and base not in lexicon.effects)
