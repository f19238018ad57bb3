"""Ways to fail: what is written of them, corrected by a workshop's own jobs, answers what lies behind a complaint.

A *way* is one entry of a word list: a cause under one group of complaints, its rough share among them, and what checks
are expected to show. A cause may have several ways; a cause no list names has one of its own.

One job is told as: way given the kind → make and age given the kind → one main complaint and perhaps others beside it
→ code given the make → each check given the way. So what a make writes on its display is not taken for a cause, and a
make that shows no codes is not blamed for showing none. How the tables are found: `models.causes.fit_failure_modes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes.encoding import NOT_KNOWN, gather
from models.causes.features import CODE, SYMPTOM
from models.causes.shrinkage import SMALLEST

if TYPE_CHECKING:
    from collections.abc import Sequence

    from models.causes.encoding import Column

SCOPE, WITHIN = "kind", "make"
OTHERWISE = 0.03  # chance of a complaint or finding that nothing written foresees (common practice, no source)
AT_ONCE = 1_000  # jobs, few enough to stay near the processor


@dataclass(frozen=True)
class Places:
    """Where the columns with a part of their own stand; −1 = there is none.

    Attributes
    ----------
    scope, within, code
        Kind of appliance; make; fault code.
    said, yes
        Of the complaints, and the code of "yes" in each.
    kinds, codes
        How many values kinds and fault codes have.
    """

    scope: int
    within: int
    code: int
    said: np.ndarray
    yes: np.ndarray
    kinds: int
    codes: int


def places_of(columns: Sequence[Column]) -> Places:
    """Find the columns with a part of their own by their names."""
    at = {column.name: position for position, column in enumerate(columns) if column.size and not column.is_number}
    said = [position for name, position in at.items() if name.startswith(SYMPTOM) and "yes" in columns[position].values]
    scope, within, code = (at.get(name, -1) for name in (SCOPE, WITHIN, CODE))
    return Places(
        scope,
        within,
        code,
        np.array(said, dtype=int),
        np.array([columns[position].values.index("yes") for position in said], dtype=int),
        columns[scope].size if scope >= 0 else 0,
        columns[code].size if code >= 0 else 0,
    )


def is_unheard(codes: np.ndarray, columns: Sequence[Column], texts: Sequence[str]) -> np.ndarray:
    """Of each job: whether it is told in own words only, of which neither complaint nor code is known."""
    unheard = np.array([bool(text.strip()) for text in texts], dtype=bool)
    for position, column in enumerate(columns):
        if column.name.startswith(SYMPTOM) and "yes" in column.values:
            unheard &= codes[:, position] != column.values.index("yes")
        elif column.name == CODE:
            none = column.values.index("none") if "none" in column.values else NOT_KNOWN
            unheard &= np.isin(codes[:, position], (NOT_KNOWN, none))
    return unheard


def kind_of(codes: np.ndarray, places: Places) -> np.ndarray:
    """Kind of each job, −1 when not known; all of one kind where the jobs have no such column."""
    return codes[:, places.scope].astype(np.int64) if places.scope >= 0 else np.zeros(len(codes), dtype=np.int64)


def pair_of(codes: np.ndarray, places: Places) -> np.ndarray:
    """Make and code of each job as one number, −1 when either is not known."""
    if places.within < 0 or places.code < 0:
        return np.full(len(codes), -1)
    make, code = codes[:, places.within].astype(np.int64), codes[:, places.code]
    return np.where((make != NOT_KNOWN) & (code != NOT_KNOWN), make * places.codes + code, -1)


@dataclass(frozen=True)
class Ways:
    """The fitted tables.

    Attributes
    ----------
    cause
        Of each way; every cause has one at least.
    log_share
        (kinds + 1) × ways: log share within the kind; the last row is for a kind not known.
    ratio
        cells × ways: log P(value | way) − log P(value) of circumstances and findings; 0 where a column says nothing.
    main, extra
        said columns × ways: chance of being the main complaint; of being said beside it.
    pairs
        Make and code as one number, rising.
    pair_ratio
        pairs × ways, as ``ratio`` among the codes of the make.
    """

    cause: np.ndarray
    log_share: np.ndarray
    ratio: np.ndarray
    main: np.ndarray
    extra: np.ndarray
    pairs: np.ndarray
    pair_ratio: np.ndarray

    def scores(self, codes: np.ndarray, at: np.ndarray, places: Places, causes: int) -> np.ndarray:
        """Log probability of each cause, jobs × causes."""
        order = np.argsort(self.cause, kind="stable")
        first = np.searchsorted(self.cause[order], np.arange(causes))
        told = np.empty((len(codes), causes))
        for begin in range(0, len(codes), AT_ONCE):
            part = slice(begin, begin + AT_ONCE)
            chance = np.add.reduceat(self.chances(codes[part], at[part], places)[:, order], first, axis=1)
            told[part] = np.log(np.maximum(chance, SMALLEST**2))
        return told

    def chances(self, codes: np.ndarray, at: np.ndarray, places: Places) -> np.ndarray:
        """Probability of each way, jobs × ways."""
        total = self.log_share[kind_of(codes, places)] + gather(self.ratio, at)
        if len(places.said):
            total += self.said(codes[:, places.said] == places.yes, codes[:, places.said] != NOT_KNOWN)
        if len(self.pairs):
            pair = pair_of(codes, places)
            place = np.minimum(np.searchsorted(self.pairs, pair), len(self.pairs) - 1)
            known = np.flatnonzero(self.pairs[place] == pair)
            total[known] += self.pair_ratio[place[known]]
        chance = np.exp(total - total.max(axis=1, keepdims=True))
        return np.asarray(chance / chance.sum(axis=1, keepdims=True))

    def said(self, is_said: np.ndarray, is_told: np.ndarray) -> np.ndarray:
        """Log chance of what is said: one main complaint, unless it is vague, and perhaps others beside it."""
        beside = is_said @ np.log(self.extra / (1 - self.extra)) + np.log1p(-self.extra).sum(axis=0)
        main = OTHERWISE + (1 - OTHERWISE) * (is_said @ (self.main / self.extra))
        return np.where(np.any(is_told, axis=1, keepdims=True), beside + np.log(main), 0.0)
