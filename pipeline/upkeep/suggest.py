"""What a word no list knows may mean: the nearest spelling, and what a classifier learned from words understood."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.store.database import Database
    from pipeline.words import Words

LEAST_LIKE = 70.0
"""Spellings less alike than this, of 100, are no suggestion."""
LEAST_LEARNED = 0.2
LEAST_TEXTS, LEAST_TERMS, LEAST_TEXTS_A_TERM = 40, 2, 3


def suggest(database: Database, words: Words, found: pd.DataFrame) -> pd.DataFrame:
    """Add the two best suggestions to words that no list knows.

    Parameters
    ----------
    database
        An open database, whose understood cells teach the classifier.
    words
        Words in force.
    found
        list, written, uses, example.

    Returns
    -------
    DataFrame
        ``found`` with suggestion, likeness, second, second_likeness. Likeness is how alike the spellings are, or the
        probability the classifier gives, whichever is higher; both between 0 and 1.
    """
    import pandas as pd

    best: list[pd.DataFrame] = []
    for name, group in found.groupby("list", sort=True):
        proposals = pd.concat([_by_spelling(words, str(name), group), _by_learning(database, words, str(name), group)])
        best.append(_two_best(proposals))
    columns = ["suggestion", "likeness", "second", "second_likeness"]
    if not best:
        return found.assign(**dict.fromkeys(columns))
    return found.join(pd.concat(best)).reindex(columns=[*found.columns, *columns])


def _two_best(proposals: pd.DataFrame) -> pd.DataFrame:
    """Give for each row of the index the two proposals of highest likeness, of different terms."""
    import pandas as pd

    ranked = proposals.sort_values(["likeness", "term"], ascending=[False, True], kind="stable")
    ranked = ranked[~ranked.reset_index().duplicated(["index", "term"]).to_numpy()]
    place = ranked.groupby(level=0).cumcount()
    first, second = ranked[place == 0], ranked[place == 1]
    table = pd.DataFrame({"suggestion": first["term"], "likeness": first["likeness"].round(2)})
    return table.join(pd.DataFrame({"second": second["term"], "second_likeness": second["likeness"].round(2)}))


def _proposals(index: list[int], terms: list[str], likeness: list[float]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(
        {"term": pd.Series(terms, dtype="str").array, "likeness": likeness}, index=pd.Index(index, name="index")
    )


def _by_spelling(words: Words, name: str, group: pd.DataFrame) -> pd.DataFrame:
    """Propose the terms whose written forms are spelt most alike."""
    from rapidfuzz.fuzz import ratio, token_sort_ratio
    from rapidfuzz.process import cdist

    forms = words.written_forms(name)
    if not forms:
        return _proposals([], [], [])
    written = [text.lower() for text in group["written"]]
    alike = cdist(written, [form for form, _term in forms], scorer=ratio if name == "complaint" else token_sort_ratio)
    index: list[int] = []
    terms: list[str] = []
    likeness: list[float] = []
    for row, scores in zip(group.index.tolist(), alike, strict=True):
        for at in np.argsort(-scores, kind="stable")[:6]:
            if scores[at] >= LEAST_LIKE:
                index.append(row)
                terms.append(forms[at][1])
                likeness.append(float(scores[at]) / 100)
    return _proposals(index, terms, likeness)


def _by_learning(database: Database, words: Words, name: str, group: pd.DataFrame) -> pd.DataFrame:
    """Propose what a classifier of texts says that learned from cells already understood."""
    import pandas as pd

    nothing = _proposals([], [], [])
    if name not in ("cause", "part", "outcome", "kind"):
        return nothing
    known = database.connection.execute(
        "select written, term, uses from word_use where list = ? and term is not null order by written, term", [name]
    ).df()
    if len(known) < LEAST_TEXTS:
        return nothing
    forms = pd.DataFrame(words.written_forms(name), columns=["written", "term"])
    texts = pd.concat([known[["written", "term"]], forms], ignore_index=True).drop_duplicates()
    texts = texts[texts.groupby("term")["term"].transform("size") >= LEAST_TEXTS_A_TERM]
    if texts["term"].nunique() < LEAST_TERMS:
        return nothing
    from models import TextCoder

    coder = TextCoder().fit(texts["written"].tolist(), texts["term"].tolist())
    odds = coder.predict_proba(group["written"].tolist())
    places = np.argsort(-odds, axis=1, kind="stable")[:, :2]
    rows = np.repeat(group.index.to_numpy(), places.shape[1])
    chosen = np.take_along_axis(odds, places, axis=1).ravel()
    is_likely = chosen >= LEAST_LEARNED
    terms = np.asarray(coder.classes_, dtype=object)[places.ravel()][is_likely]
    return _proposals(rows[is_likely].tolist(), [str(term) for term in terms], chosen[is_likely].tolist())
