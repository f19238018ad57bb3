"""How a workshop's jobs correct what is written of each way to fail.

Every table is a Dirichlet estimate around what is written, or, where nothing is, around what all ways show together
(`models.causes.shrinkage`). A job whose cause has several ways is shared out among them by how well each explains it,
in turns with the tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from models.causes.ageing import by_manner
from models.causes.alike_codes import alike_codes
from models.causes.encoding import NOT_KNOWN
from models.causes.failure_modes import OTHERWISE, Ways, kind_of, pair_of
from models.causes.features import FINDING
from models.causes.shrinkage import (
    FEW_JOBS,
    SMALLEST,
    STRENGTHS,
    even_chances,
    lean,
    lean_rates,
    lean_ratio,
    log_rising,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from models.causes.encoding import Column
    from models.causes.failure_modes import Places
    from models.causes.listed_modes import Written

GIVEN = {"make": ("kind",), "age_years": ("kind",), "model_family": ("kind", "make")}  # circumstances, given others
BORROWED = (0.0, 0.1, 0.3, 1.0)  # what a job of another kind with the same way may be worth
DOUBTED = {0.02: 0.8, 0.3: 0.15, 1.0: 0.05}  # part of the written shares that is spread evenly, and how likely before
FIRST_JOB = 1.0  # jobs of a written group of complaints before any was met
ELSEWHERE = 0.2  # jobs of ways in a kind that nothing writes of and none was met of
IN_PASSING = 0.01  # chance of anything else said that means nothing (common practice, no source)
RARELY, NEVER = 0.003, 1e-4  # chance of saying something beside the main complaint: to begin with; at least
SOUND_JOBS = 4.0  # by which what is usual leans on the words of a sound appliance
ROUNDS = 3


@dataclass(frozen=True)
class Heard:
    """Coded jobs beside what is written, and one entry a job and way of its cause.

    Attributes
    ----------
    job, way
        Of each entry.
    weight
        Of the entry's job.
    """

    written: Written
    columns: Sequence[Column]
    starts: np.ndarray
    places: Places
    codes: np.ndarray
    at: np.ndarray
    job: np.ndarray
    way: np.ndarray
    weight: np.ndarray

    @property
    def ways(self) -> int:
        """How many ways there are."""
        return len(self.written.cause)

    def count(self, values: np.ndarray, size: int, part: np.ndarray) -> np.ndarray:
        """Weighted jobs by value (of each job; negative = not known) and way."""
        value = values[self.job].astype(np.int64)
        known = value >= 0
        flat = value[known] * self.ways + self.way[known]
        return np.bincount(flat, part[known], minlength=size * self.ways).reshape(size, self.ways)


def fit_ways(
    written: Written,
    columns: Sequence[Column],
    starts: np.ndarray,
    places: Places,
    codes: np.ndarray,
    at: np.ndarray,
    cause: np.ndarray,
    weight: np.ndarray,
) -> Ways:
    """Correct what is written by jobs; with no jobs it stands as it is.

    Parameters
    ----------
    codes, at
        Jobs × columns: codes, and positions among all cells.
    cause, weight
        Of each job.
    """
    order = np.argsort(written.cause, kind="stable")
    first = np.searchsorted(written.cause[order], np.arange(written.cause.max() + 2))
    many = np.diff(first)[cause]
    job = np.repeat(np.arange(len(cause)), many)
    step = np.arange(len(job)) - np.repeat(np.cumsum(many) - many, many)
    way = order[first[cause[job]] + step]
    heard = Heard(written, columns, starts, places, codes, at, job, way, weight[job])
    found = _tables(heard, _first_parts(heard), None)
    for _ in range(ROUNDS - 1 if len(cause) else 0):
        found = _tables(heard, _parts(heard, found), found)
    return found


def _first_parts(heard: Heard) -> np.ndarray:
    """Part of each job that each way of its cause gets by what is written of kind and complaint."""
    written, places = heard.written, heard.places
    kind = kind_of(heard.codes, places)[heard.job]
    score = np.ones(len(heard.job))
    if places.kinds:
        score = np.where(kind >= 0, written.share[kind, heard.way], 0.0) + SMALLEST
    is_said = (heard.codes[:, places.said] == places.yes)[heard.job]
    return _shared_out(heard, score * ((is_said * written.main.T[heard.way]).sum(axis=1) + OTHERWISE))


def _parts(heard: Heard, found: Ways) -> np.ndarray:
    """Part of each job that each way of its cause gets by the tables found so far."""
    score = np.ones(len(heard.job))
    several = np.bincount(heard.job)[heard.job] > 1
    rows, back = np.unique(heard.job[several], return_inverse=True)
    chance = found.chances(heard.codes[rows], heard.at[rows], heard.places)
    score[several] = chance[back, heard.way[several]] + SMALLEST**2
    return _shared_out(heard, score)


def _shared_out(heard: Heard, score: np.ndarray) -> np.ndarray:
    return np.asarray(score / np.bincount(heard.job, score)[heard.job] * heard.weight)


def _tables(heard: Heard, part: np.ndarray, before: Ways | None) -> Ways:
    ratio = np.zeros((int(heard.starts[-1]), heard.ways))
    names = [column.name for column in heard.columns]
    for name, given in GIVEN.items():
        if name in names and heard.columns[names.index(name)].size and set(given) <= set(names):
            position = names.index(name)
            mine = slice(heard.starts[position], heard.starts[position + 1])
            ratio[mine] = _circumstance(heard, part, position, [names.index(other) for other in given])
    found = [p for p, column in enumerate(heard.columns) if column.name.startswith(FINDING) and column.size >= 2]
    if found:
        cells, told = _findings(heard, part, found)
        ratio[cells] = told
    main, extra = _complaints(heard, part, before)
    pairs, pair_ratio = _codes(heard, part)
    return Ways(heard.written.cause, _log_shares(heard, part), ratio, main, extra, pairs, pair_ratio)


def _log_shares(heard: Heard, part: np.ndarray) -> np.ndarray:
    """Log share of each way within each kind: its own jobs, those of kinds with the same way, and what is written."""
    written, kinds = heard.written, max(heard.places.kinds, 1)
    own = heard.count(kind_of(heard.codes, heard.places), kinds, part)
    base = written.share if heard.places.kinds else np.ones((1, heard.ways))
    is_listed = base > 0
    is_counted = is_listed & ~written.is_handed_on
    seen = np.where(is_counted, own, 0.0)
    mass = _leaning_on_lists(seen, own.sum(axis=0) - own, np.where(is_counted, base, 0.0), written.group)
    mass *= _within(seen, written.group) + FIRST_JOB
    mass += np.where(is_listed & ~is_counted, _uncounted(own, mass, base, written), 0.0)
    by_way = own.sum(axis=0)
    mass += np.where(is_listed, 0.0, own + ELSEWHERE * by_way / max(by_way.sum(), 1.0)) + SMALLEST
    mass = mass / mass.sum(axis=1, keepdims=True)
    by_kind = own.sum(axis=1, keepdims=True) + FIRST_JOB
    return np.asarray(np.log(np.vstack([mass, (mass * by_kind).sum(axis=0) / by_kind.sum()])))


def _uncounted(own: np.ndarray, mass: np.ndarray, base: np.ndarray, written: Written) -> np.ndarray:
    """Jobs of ways that are handed on: as many as their written share beside the others, for few are ever cured."""
    handed_on = np.where(written.is_handed_on, base, 0.0)
    share = np.minimum(_within(handed_on, written.group), 0.9)
    others = np.maximum(_within(mass, written.group), FIRST_JOB)
    return np.asarray(np.maximum(own, handed_on / (1 - share) * others))


def _leaning_on_lists(seen: np.ndarray, others: np.ndarray, base: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Share of each way within its group, kind by kind, averaged over how far lists and other kinds are believed."""
    is_listed = base > 0
    even = is_listed / np.maximum(_within(is_listed.astype(float), group), 1.0)
    tried = list(product(STRENGTHS, BORROWED, DOUBTED))
    # a prior is so much of what is written, of even shares and of the jobs of other kinds
    amounts = np.array([(size * (1 - doubted), size * doubted, borrowed) for size, borrowed, doubted in tried])
    priors = np.stack([np.where(is_listed, one, 0.0) for one in (base, even, others)])
    likely = np.log([DOUBTED[doubted] for _, _, doubted in tried]) + _likelihoods(seen, amounts, priors, group)
    mass = np.zeros(base.shape)
    for amount, chance in zip(amounts, even_chances(likely), strict=True):
        if chance > 1e-4:
            both = np.tensordot(amount, priors, axes=1) + seen
            mass += chance * both / np.maximum(_within(both, group), SMALLEST)
    return mass


def _likelihoods(seen: np.ndarray, amounts: np.ndarray, priors: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Log likelihood of counts within groups under each Dirichlet prior: so much of each of the three, row by row."""
    met, jobs = seen > 0, _alike(seen, group)
    some = jobs > 0
    own = amounts @ priors[:, met]
    total = amounts @ np.stack([_alike(prior, group)[some] for prior in priors])
    told = log_rising(own, np.broadcast_to(seen[met], own.shape)).sum(axis=1)
    return np.asarray(told - log_rising(total, np.broadcast_to(jobs[some], total.shape)).sum(axis=1))


def _circumstance(heard: Heard, part: np.ndarray, position: int, given: list[int]) -> np.ndarray:
    """How far a way departs from others in the same circumstances: make given the kind, age given the kind."""
    key = np.zeros(len(heard.codes), dtype=np.int64)
    for other in given:
        key = key * (heard.columns[other].size + 1) + heard.codes[:, other] + 1
    size = heard.columns[position].size
    seen, expected = _against(heard, part, heard.codes[:, position], key, size)
    if heard.columns[position].is_number:
        return by_manner(seen, expected)
    return lean_ratio(seen, expected, np.array([0, size]))


def _against(
    heard: Heard, part: np.ndarray, value: np.ndarray, key: np.ndarray, size: int
) -> tuple[np.ndarray, np.ndarray]:
    """Jobs by value and way, and how many the keys alone would make expect."""
    value = value.astype(np.int64)
    known = value >= 0
    keys, key = np.unique(key, return_inverse=True)
    weight = np.bincount(heard.job, part, minlength=len(value))
    counts = np.bincount(key[known] * size + value[known], weight[known], minlength=len(keys) * size)
    usual = counts.reshape(len(keys), size).astype(float)
    usual = usual / np.maximum(usual.sum(axis=1, keepdims=True), SMALLEST)
    by_key = heard.count(np.where(known, key, -1), len(keys), part)
    return heard.count(value, size, part), usual.T @ by_key


def _findings(heard: Heard, part: np.ndarray, found: list[int]) -> tuple[np.ndarray, np.ndarray]:
    """Cells of the findings, and the log of P(value | way) over what is usual where nothing is written."""
    sizes = [heard.columns[position].size for position in found]
    begin = np.concatenate([[0], np.cumsum(sizes)])
    column = np.repeat(np.arange(len(found)), sizes)
    cells = np.concatenate([np.arange(heard.starts[position], heard.starts[position + 1]) for position in found])
    seen = np.concatenate(
        [heard.count(heard.codes[:, position], size, part) for position, size in zip(found, sizes, strict=True)]
    )
    stated = heard.written.stated[cells]
    named = np.add.reduceat(stated, begin[:-1], axis=0)
    is_stated = named > 0
    usual = np.where(is_stated[column], 0.0, seen).sum(axis=1)
    usual += SOUND_JOBS * heard.written.usual[cells]
    usual /= np.add.reduceat(usual, begin[:-1])[column]
    rest = np.where(stated > 0, 0.0, usual[:, None])
    rest /= np.maximum(np.add.reduceat(rest, begin[:-1], axis=0)[column], SMALLEST)
    left = np.maximum(1 - named, OTHERWISE)[column]
    base = np.where(is_stated[column], np.where(stated > 0, stated, left * rest), usual[:, None])
    base = np.maximum(base, 1e-3)
    base /= np.add.reduceat(base, begin[:-1], axis=0)[column]
    return cells, np.log(lean(seen, base, begin, is_stated)) - np.log(usual)[:, None]


def _complaints(heard: Heard, part: np.ndarray, before: Ways | None) -> tuple[np.ndarray, np.ndarray]:
    """Main complaints and those said beside them, by way: said columns × ways each."""
    places, listed = heard.places, heard.written.main
    said = len(places.said)
    if not said:
        return listed, listed
    if before is None:
        main, extra = (1 - OTHERWISE) * listed + OTHERWISE / said, np.full(listed.shape, RARELY)
    else:
        main, extra = before.main, before.extra
    complaint = heard.codes[:, places.said]
    part = part * (complaint != NOT_KNOWN).any(axis=1)[heard.job]
    is_said = (complaint == places.yes)[heard.job]
    is_main = np.where(is_said, (main / extra).T[heard.way], 0.0)
    is_main /= (is_main.sum(axis=1) + OTHERWISE / (1 - OTHERWISE))[:, None]
    mains = _by_way(heard, is_main * part[:, None])
    beside = _by_way(heard, np.where(is_said, 1 - is_main, 0.0) * part[:, None])
    own = heard.count(kind_of(heard.codes, places), max(places.kinds, 1), part)
    jobs = own.sum(axis=0)
    where = own + ((heard.written.share > 0).astype(float) if places.kinds else 1.0) + SMALLEST
    where = where / where.sum(axis=0)  # kinds × ways: kinds in which a way is met
    by_kind = (mains + listed + SMALLEST) @ where.T
    usual_main = (by_kind / by_kind.sum(axis=0)) @ where
    usual = ((beside @ where.T + IN_PASSING * FEW_JOBS) / (jobs @ where.T + FEW_JOBS)) @ where
    main = _mains(mains, listed, usual_main)
    is_complaint = (by_kind > SMALLEST * len(jobs)) @ where > 0.5  # of most of the kinds in which the way is met
    could = np.where(is_complaint, np.maximum(jobs - mains, 0.0), 0.0)
    extra = lean_rates(np.minimum(beside, could), could, np.clip(usual, NEVER, 0.9), np.full(usual.shape, IN_PASSING))
    return main, np.where(is_complaint, np.clip(extra, NEVER, 0.9), NEVER)


def _mains(seen: np.ndarray, listed: np.ndarray, usual: np.ndarray) -> np.ndarray:
    """Chance of each main complaint: those written of the way share what others, mistaken or telling, leave."""
    inside, column = listed > 0, np.array([0, len(seen)])
    is_written = inside.any(axis=0)
    other = np.where(inside, 0.0, usual)
    other /= np.maximum(other.sum(axis=0), SMALLEST)
    is_other = is_written & ~inside
    seen_other, jobs = np.where(is_other, seen, 0.0), np.where(is_other, seen.sum(axis=0), 0.0)
    told = np.where(is_other, lean_rates(seen_other, jobs, np.clip(other, NEVER, 0.9), OTHERWISE * other), 0.0)
    of_listed = lean(np.where(inside, seen, 0.0), listed, column, np.atleast_2d(inside.sum(axis=0) > 1))
    left = np.maximum(1 - told.sum(axis=0), OTHERWISE)
    unwritten = lean(seen, usual, column, np.atleast_2d(~is_written))
    main = np.where(is_written, told + left * np.where(inside, of_listed, 0.0), unwritten)
    return main + SMALLEST


def _codes(heard: Heard, part: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Codes within each make: what codes like it, of all makes, come with, then what it comes with itself."""
    places = heard.places
    pair = pair_of(heard.codes, places)
    pairs = np.unique(pair[pair >= 0])
    if not len(pairs):
        return pairs, np.zeros((0, heard.ways))
    make = heard.codes[:, places.within].astype(np.int64) + 1
    key = make * (places.kinds + 2) + kind_of(heard.codes, places) + 1
    value = np.where(pair >= 0, np.searchsorted(pairs, pair), -1)
    seen, expected = _against(heard, part, value, key, len(pairs))
    of_make = pairs // places.codes
    begin = np.concatenate([np.flatnonzero(np.diff(of_make, prepend=-1)), [len(pairs)]])
    shows = np.repeat(np.diff(begin) > 1, np.diff(begin))  # a make without codes tells nothing
    kinds = np.where(shows, alike_codes(seen * shows[:, None], expected * shows[:, None], of_make), -1)
    kinds = np.where(shows, kinds, np.arange(len(pairs)))
    ratio = _by_likeness(heard, _alike(seen.T, kinds).T[kinds], _alike(expected.T, kinds).T[kinds], begin)
    ratio += lean_ratio(seen, expected * np.exp(ratio), begin)
    return pairs, np.log((1 - OTHERWISE) * np.exp(ratio) + OTHERWISE)  # any fault may show any code of the make


def _by_likeness(heard: Heard, seen: np.ndarray, expected: np.ndarray, begin: np.ndarray) -> np.ndarray:
    """Log ratio by the way's complaints, then by the parts it needs, then by the way itself."""
    ratio = np.zeros(seen.shape)
    for like in (heard.written.group, heard.written.part, np.arange(heard.ways)):
        wanted = expected * np.exp(ratio)
        ratio += lean_ratio(_alike(seen, like), _alike(wanted, like), begin)[:, like]
    return ratio


def _by_way(heard: Heard, values: np.ndarray) -> np.ndarray:
    """Sum columns of entries by way: columns × ways."""
    return np.stack([np.bincount(heard.way, column, minlength=heard.ways) for column in values.T])


def _within(values: np.ndarray, group: np.ndarray) -> np.ndarray:
    """For each way the sum over its group, row by row."""
    return _alike(values, group)[:, group]


def _alike(values: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Add up the columns of each group."""
    size = int(group.max()) + 1
    place = np.arange(len(values))[:, None] * size + group
    return np.bincount(place.ravel(), values.ravel(), minlength=len(values) * size).reshape(-1, size)
