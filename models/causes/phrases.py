"""Phrases of complaints that point to a cause beyond what the complaint understood says, found by search.

Every run of two to five words of a clause, and every whole clause, that enough jobs share is tested; a run of words
that name nothing ("in the") is none. Each is tested against what the
same kind and complaints lead to anyway; of many findings only those are kept that a false-discovery rate of 5 % bears
(Benjamini & Hochberg 1995).
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    import pandas as pd

COLUMNS = ("kind", "phrase", "jobs", "cause", "count", "expected", "low", "high")
FEWEST_JOBS = 5
FEWEST_OF_CAUSE = 3
LONGEST = 5  # words of a run
MOST_SHARE = 0.5  # of a kind's jobs: what half of them say tells nothing
SAME_JOBS = 0.9  # a phrase within a longer one that nearly all its jobs say is not listed beside it
FALSE_FINDS = 0.05
HELD_BY = 2.0  # jobs that the kind's own share of a cause weighs against those of the same complaints
_CLAUSE = re.compile(r"[,;.!?\n()]+|\s-\s")
_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")


def runs_of(text: str, filler: Collection[str] = ()) -> set[str]:
    """Every run of two to five words within a clause, not all of them filler, and every whole clause; small letters.

    Examples
    --------
    >>> sorted(runs_of("Clonks loudly, dead"))
    ['clonks loudly', 'dead']
    """
    return {run for clause in _CLAUSE.split(text.lower()) for run in _runs(_WORD.findall(clause), filler)}


def _runs(words: list[str], filler: Collection[str]) -> Iterator[str]:
    if words and len(words) <= 2 * LONGEST:
        yield " ".join(words)
    for length in range(2, LONGEST + 1):
        for start in range(len(words) - length + 1):
            run = words[start : start + length]
            if any(word.replace("'", "") not in filler for word in run):
                yield " ".join(run)


def find_phrases(jobs: pd.DataFrame, filler: Collection[str] = ()) -> pd.DataFrame:
    """Find the phrases that point to a cause beyond chance.

    Parameters
    ----------
    jobs
        One row a cured job: kind, complaint (text; missing = none), symptoms (list of what was understood), cause.
    filler
        Words that name nothing.

    Returns
    -------
    DataFrame
        kind, phrase, jobs (that say it), cause (it points to most), count (of them), expected (share to expect of the
        same kind and complaints), low and high (95 % Wilson interval of count / jobs); the strongest evidence first.
    """
    import numpy as np
    import pandas as pd
    from scipy.stats import binom

    from models.statistics.intervals import benjamini_hochberg, wilson

    told = jobs[jobs["complaint"].notna()]
    found: list[tuple[str, str, int, str, int, float]] = []
    looked_at = 0
    for kind, of_kind in told.groupby("kind"):
        rows, pairs = _tested(str(kind), of_kind, filler)
        found += rows
        looked_at += pairs
    table = pd.DataFrame(found, columns=["kind", "phrase", "jobs", "cause", "count", "expected"])
    if table.empty:
        return table.reindex(columns=list(COLUMNS))
    table["p"] = binom.sf(table["count"] - 1, table["jobs"], table["expected"].clip(upper=1.0))
    not_promising = np.ones(looked_at - len(table))
    adjusted = benjamini_hochberg(np.append(table["p"].to_numpy(), not_promising))[: len(table)]
    kept = table[adjusted <= FALSE_FINDS]
    kept = kept.sort_values(["p", "phrase"], kind="stable").drop_duplicates(["kind", "phrase"])
    low, high = wilson(kept["count"].to_numpy(dtype=float), kept["jobs"].to_numpy(dtype=float))
    kept = kept.assign(low=low, high=high)
    return kept.reindex(columns=list(COLUMNS)).reset_index(drop=True)


def _tested(
    kind: str, jobs: pd.DataFrame, filler: Collection[str]
) -> tuple[list[tuple[str, str, int, str, int, float]], int]:
    """Phrases of one kind with each cause that enough of their jobs had, the share to expect; and the pairs tested."""
    causes = jobs["cause"].tolist()
    complaints = ["|".join(sorted(symptoms)) for symptoms in jobs["symptoms"]]
    of_kind = Counter(causes)
    of_complaint = Counter(complaints)
    both = Counter(zip(complaints, causes, strict=True))
    saying: dict[str, list[int]] = defaultdict(list)
    for number, text in enumerate(jobs["complaint"]):
        for run in runs_of(str(text), filler):
            saying[run].append(number)
    enough = {run: said for run, said in saying.items() if FEWEST_JOBS <= len(said) <= MOST_SHARE * len(causes)}
    rows = []
    phrases = _longest(enough)
    for phrase, said in phrases.items():
        for cause, count in Counter(causes[n] for n in said).items():
            if count < FEWEST_OF_CAUSE:
                continue
            share = of_kind[cause] / len(causes)
            expected = [
                (both[complaints[n], cause] - (causes[n] == cause) + HELD_BY * share)
                / (of_complaint[complaints[n]] - 1 + HELD_BY)
                for n in said
            ]
            rows.append((kind, phrase, len(said), cause, count, sum(expected) / len(expected)))
    return rows, len(phrases) * len(of_kind)


def _longest(saying: dict[str, list[int]]) -> dict[str, list[int]]:
    """Leave out phrases that nearly always come within a longer one."""
    inner: dict[str, int] = {}
    for phrase, said in saying.items():
        words = phrase.split()
        for start in range(len(words)):
            for end in range(start + 1, len(words) + 1):
                if end - start < len(words):
                    part = " ".join(words[start:end])
                    inner[part] = max(inner.get(part, 0), len(said))
    return {phrase: said for phrase, said in saying.items() if inner.get(phrase, 0) < SAME_JOBS * len(said)}
