"""How far a probability may be off: read from models that learned from different halves of the jobs.

Two models of half the jobs each differ, on a job neither has seen, by twice what the model of all jobs is off (variance
falls as jobs rise). What 95 % of those differences stay below, by how likely the cause was called, is the half-width.
Shrinkage pulls all models the same way, towards being less sure than the truth, which no difference shows: the interval
is widened for it, upwards most, and the more the likelier the cause was called.
"""

from __future__ import annotations

import numpy as np

BANDS = (0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97)  # of the probability called; a width each from the first on
FEWEST = 40  # differences of a band, or it takes the width of all bands
DOWN, UP = 1.5, 8.0  # times the width, upwards times the probability as well; chosen on made towns, reported on others
SURE, SMALLEST = 0.95, 1e-6


def learn_width(called: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Half-width in log-odds of each band.

    Parameters
    ----------
    called
        Jobs × causes: probability by the pool of all parts.
    one, other
        The same from models of half the jobs each.
    """
    shown = called >= BANDS[0]
    apart = np.abs(log_odds(one[shown]) - log_odds(other[shown])) / 2
    if len(apart) < FEWEST:
        return np.zeros(0)
    band = np.searchsorted(BANDS, called[shown], side="right") - 1
    overall = np.quantile(apart, SURE)
    parts = [apart[band == number] for number in range(len(BANDS))]
    return np.array([np.quantile(part, SURE) if len(part) >= FEWEST else overall for part in parts])


def log_odds(chance: np.ndarray) -> np.ndarray:
    """Log-odds, kept finite."""
    kept = np.clip(chance, SMALLEST, 1 - SMALLEST)
    return np.asarray(np.log(kept) - np.log1p(-kept))


def around(chance: np.ndarray, width: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """95 % interval of probabilities from the widths learned."""
    half = width[np.maximum(np.searchsorted(BANDS, chance, side="right") - 1, 0)]
    middle = log_odds(chance)
    low, high = (1 / (1 + np.exp(-(middle + times * half))) for times in (-DOWN, np.maximum(DOWN, UP * chance)))
    return np.minimum(low, chance), np.maximum(high, chance)
