"""Codes of different makes that point at the same thing, found by the faults they come with.

Every make numbers its codes in its own way and one code is seen a handful of times; behind all of them are a few
functions: draining, heating, the door. Codes are joined two groups at a time, the best fit first, as long as one rate
a way explains both groups better than two rates do; two codes of one make are never joined.
"""

from __future__ import annotations

import numpy as np

from models.causes.shrinkage import log_rising

MOST_CODES = 300  # the commonest; the others stay alone
HOLD = 0.3  # jobs by which each rate is held to what was expected; 0.1 to 1.0 fitted as well


def alike_codes(seen: np.ndarray, expected: np.ndarray, make: np.ndarray) -> np.ndarray:
    """Number the groups of codes that are alike.

    Parameters
    ----------
    seen, expected
        codes × ways: jobs, and how many were expected of the make alone.
    make
        Of each code.

    Returns
    -------
    One number a code; codes of one number are alike.
    """
    group = np.arange(len(seen))
    tried = np.sort(np.argsort(-seen.sum(axis=1), kind="stable")[:MOST_CODES])
    jobs, hoped = seen[tried].copy(), expected[tried].copy()
    makes = make[tried][:, None] == np.unique(make)[None]  # makes in each group
    alone = _evidence(jobs, hoped)
    gain = np.full((len(tried), len(tried)), -np.inf)
    for row in range(len(tried)):
        gain[row, :row] = _gain(row, slice(row), jobs, hoped, alone, makes)
    gain = np.maximum(gain, gain.T)
    while len(tried) > 1:
        one, other = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if gain[one, other] <= 0:
            break
        group[group == group[tried[other]]] = group[tried[one]]
        jobs[one] += jobs[other]
        hoped[one] += hoped[other]
        makes[one] |= makes[other]
        makes[other] = True  # it shares a make with every group now: never joined again
        alone[one] = _evidence(jobs[one], hoped[one])
        gain[other], gain[:, other] = -np.inf, -np.inf
        gain[one] = gain[:, one] = _gain(int(one), slice(None), jobs, hoped, alone, makes)
    return group


def _gain(
    row: int, others: slice, jobs: np.ndarray, hoped: np.ndarray, alone: np.ndarray, makes: np.ndarray
) -> np.ndarray:
    """Log evidence gained by joining one group with each of others; minus infinity where they share a make."""
    free = ~(makes[row] & makes[others]).any(axis=1)
    shown = np.flatnonzero((jobs[row] > 0) | (hoped[row] > 0))  # elsewhere joining changes nothing
    at = np.ix_(np.flatnonzero(free), shown)
    together = _evidence(jobs[row, shown] + jobs[others][at], hoped[row, shown] + hoped[others][at])
    gained = np.full(len(free), -np.inf)
    gained[free] = (together - alone[row, shown] - alone[others][at]).sum(axis=1)
    return gained


def _evidence(jobs: np.ndarray, hoped: np.ndarray) -> np.ndarray:
    """Log evidence of counts with a gamma-held rate, way by way, up to what joining does not change."""
    counted = log_rising(HOLD, jobs)
    return np.asarray(counted + HOLD * np.log(HOLD) - (jobs + HOLD) * np.log(hoped + HOLD))
