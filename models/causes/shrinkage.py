"""Small counts leaning on what was expected, each table as firmly as the tables like it have deserved.

A list may be right about most ways to fail and wrong about a few, so no single strength serves: the strengths are a
mixture of Dirichlet priors, its shares found by expectation and maximisation, and every table is averaged over them
by the likelihood of its own counts.
"""

from __future__ import annotations

import numpy as np

STRENGTHS = np.geomspace(1.0, 1024.0, 11)  # pseudo-jobs tried for every table
TURNS = 15
SMALLEST = 1e-6
RARE = 0.01  # jobs of a value where nothing makes it expected
FEW_JOBS = 20.0  # that the rate of what is said in passing counts for before any job
TELLING, FEW_CELLS = 0.05, 50.0  # share of things said that tell, before any job, and the cells it counts for


def lean(seen: np.ndarray, base: np.ndarray, starts: np.ndarray, alike: np.ndarray | None = None) -> np.ndarray:
    """P(value | way) around ``base``.

    Parameters
    ----------
    seen, base
        cells × ways: weighted jobs; expected chance, adding to one within a column.
    starts
        First cell of each column, last entry the number of cells.
    alike
        columns × ways: tables whose strengths tell about one another; the others have their own. None = all together.
    """
    column = _column(starts)
    total = np.add.reduceat(seen, starts[:-1], axis=0)
    groups = [np.ones(total.shape, dtype=bool)] if alike is None else [alike, ~alike]
    part = np.full((len(STRENGTHS), *total.shape), 1 / len(STRENGTHS))
    if total.any():
        likely = _likelihoods(seen, base, total, column)
        for group in groups:
            _mix(part, likely, group, group & (total > 0))
    of_seen = (part / (total + STRENGTHS[:, None, None])).sum(axis=0)
    of_base = (part * STRENGTHS[:, None, None] / (total + STRENGTHS[:, None, None])).sum(axis=0)
    return np.asarray(np.maximum(of_seen[column] * seen + of_base[column] * base, SMALLEST))


def lean_ratio(seen: np.ndarray, expected: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Log of P(value | way) over what was expected; ``expected`` in jobs, cells × ways."""
    column = _column(starts)
    total = np.add.reduceat(expected, starts[:-1], axis=0)[column]
    size = np.diff(starts)[column][:, None]
    base = (expected + RARE / size) / (total + RARE)
    return np.where(total > 0, np.log(lean(seen, base, starts) / base), 0.0)


def lean_rates(seen: np.ndarray, jobs: np.ndarray, usual: np.ndarray, passing: np.ndarray) -> np.ndarray:
    """Chance of what is said, of which most means nothing and comes at one low rate, and some is telling.

    Parameters
    ----------
    seen, jobs
        Things said × ways: weighted jobs that said it, of those that could have.
    usual
        Things said × ways: chance around which the telling ones lie, above zero and below one.
    passing
        Things said × ways: chance where it means nothing, before any job; its size is learned, its shape is not.
    """
    told = jobs > 0  # the others have no say, and get the mean of all
    shape = len(STRENGTHS) + 1, int(told.sum())
    likely, mean, chance = np.empty((len(STRENGTHS), shape[1])), np.empty(shape), np.empty(shape)
    said, could, lead = seen[told], jobs[told], usual[told]
    for place, strength in enumerate(STRENGTHS):
        yes, no = strength * lead, strength * (1 - lead)
        likely[place] = log_rising(yes, said) + log_rising(no, could - said) - log_rising(strength, could)
        mean[place] = (yes + said) / (strength + could)
    best = likely.max(axis=0)
    chance[:-1] = np.exp(likely - best)
    before = np.append(np.full(len(STRENGTHS), TELLING / len(STRENGTHS)), 1 - TELLING)
    share, size = before, 1.0
    few = FEW_JOBS * passing.mean() + SMALLEST
    for _ in range(TURNS):
        rate = np.clip(size * passing, SMALLEST, 0.5)
        mean[-1] = rate[told]
        chance[-1] = np.exp(np.minimum(said * np.log(mean[-1]) + (could - said) * np.log1p(-mean[-1]) - best, 500.0))
        follows = chance * share[:, None]
        follows /= follows.sum(axis=0)
        share = follows.sum(axis=1) + FEW_CELLS * before
        share /= share.sum()
        alike = follows[-1]
        size = ((alike * said).sum() + few) / ((alike * could * passing[told]).sum() + few)
    rates = np.asarray((1 - share[-1]) * usual + share[-1] * rate)
    rates[told] = (follows * mean).sum(axis=0)
    return rates


def log_rising(start: np.ndarray | float, steps: np.ndarray) -> np.ndarray:
    """Log of Γ(start + steps) / Γ(start), which is 0 and costs nothing where there are no steps."""
    some = steps != 0
    begun = np.asarray(start)
    begun = np.broadcast_to(begun, steps.shape)[some] if begun.ndim else begun
    told = np.zeros(steps.shape)
    told[some] = log_gamma(begun + steps[some]) - log_gamma(begun)
    return told


def log_gamma(x: np.ndarray | float) -> np.ndarray:
    """Log of the gamma function of numbers above zero, to 1e-10; Stirling's series after six steps up."""
    x = np.asarray(x, dtype=float)
    steps = np.log(x * (x + 1) * (x + 2) * (x + 3) * (x + 4) * (x + 5))
    y = x + 6
    square = 1 / (y * y)
    series = (1 / 12 - square * (1 / 360 - square * (1 / 1260 - square / 1680))) / y
    return np.asarray((y - 0.5) * np.log(y) - y + 0.5 * np.log(2 * np.pi) + series - steps)


def even_chances(likely: np.ndarray) -> np.ndarray:
    """Chances of what is equally likely beforehand, from log likelihoods."""
    chance = np.exp(likely - likely.max())
    return np.asarray(chance / chance.sum())


def _column(starts: np.ndarray) -> np.ndarray:
    return np.repeat(np.arange(len(starts) - 1), np.diff(starts))


def _mix(part: np.ndarray, likely: np.ndarray, group: np.ndarray, told: np.ndarray) -> None:
    """Chance of each strength for the tables of one group, in place."""
    if not told.any():
        return
    share = np.full(len(STRENGTHS), 1 / len(STRENGTHS))
    mine = likely[:, told]
    for _ in range(TURNS):
        chance = share[:, None] * mine
        chance /= chance.sum(axis=0)
        share = chance.sum(axis=1) + 1 / len(STRENGTHS)
        share /= share.sum()
    chance = share[:, None] * likely[:, group]
    part[:, group] = chance / chance.sum(axis=0)


def _likelihoods(seen: np.ndarray, base: np.ndarray, total: np.ndarray, column: np.ndarray) -> np.ndarray:
    """Likelihood of each table's counts under each strength, up to a factor a table: strengths × columns × ways."""
    rows, ways = np.nonzero(seen)
    jobs, chance, table = seen[rows, ways], base[rows, ways], column[rows] * seen.shape[1] + ways
    log = np.empty((len(STRENGTHS), *total.shape))
    for place, strength in enumerate(STRENGTHS):
        told = log_rising(strength * chance, jobs)
        by_table = np.bincount(table, told, minlength=total.size).reshape(total.shape)
        log[place] = by_table - log_rising(strength, total)
    return np.asarray(np.exp(log - log.max(axis=0)))
