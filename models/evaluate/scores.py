"""How good probabilities were: log-loss, Brier with its three parts, top-k, calibration."""

from __future__ import annotations

from typing import Any

import numpy as np


def log_loss(chance: np.ndarray, cause: np.ndarray, weight: np.ndarray | None = None, least: float = 1e-12) -> float:
    """Mean −log probability given to the true cause, nats.

    Parameters
    ----------
    chance
        jobs × causes, rows adding to one.
    cause
        Column of each job's true cause; −1 = a cause the model does not know, scored at ``least``.
    weight
        Weight of each job; None = one.
    least
        Probabilities below it count as it.
    """
    return float(np.average(-np.log(np.maximum(_right(chance, cause), least)), weights=weight))


def _right(chance: np.ndarray, cause: np.ndarray) -> np.ndarray:
    picked: np.ndarray = np.where(cause >= 0, chance[np.arange(len(cause)), np.maximum(cause, 0)], 0.0)
    return picked


def top(chance: np.ndarray, cause: np.ndarray, k: int) -> float:
    """Share of jobs whose true cause is among the first ``k``; ties count against."""
    right = _right(chance, cause)
    better = (chance >= right[:, None]).sum(axis=1)
    return float(np.mean((cause >= 0) & (better <= k)))


def brier(chance: np.ndarray, cause: np.ndarray) -> float:
    """Mean over jobs of Σ (probability − outcome)² over causes: Brier's original, between 0 and 2."""
    return float(np.mean((chance**2).sum(axis=1) - 2 * _right(chance, cause) + 1.0))


def brier_parts(forecast: np.ndarray, happened: np.ndarray, bins: int = 15) -> dict[str, float]:
    """Split the binary Brier score (Murphy 1973): reliability − resolution + uncertainty, plus what lies within bins.

    Parameters
    ----------
    forecast
        Probabilities of an event.
    happened
        0 or 1.
    bins
        Equal bins of the forecast; forecasts that are all equal within a bin leave ``within`` at zero
        (Stephenson, Coelho & Jolliffe 2008).
    """
    happened = happened.astype(float)
    place = _bin(forecast, bins)
    count = np.bincount(place, minlength=bins)
    used = count > 0
    count = count[used]
    said = np.bincount(place, weights=forecast, minlength=bins)[used] / count
    came = np.bincount(place, weights=happened, minlength=bins)[used] / count
    share, base = count / count.sum(), happened.mean()
    score = float(np.mean((forecast - happened) ** 2))
    reliability = float((share * (said - came) ** 2).sum())
    resolution = float((share * (came - base) ** 2).sum())
    uncertainty = float(base * (1 - base))
    return {
        "brier": score,
        "reliability": reliability,
        "resolution": resolution,
        "uncertainty": uncertainty,
        "within": score - (reliability - resolution + uncertainty),
    }


def _bin(forecast: np.ndarray, bins: int) -> np.ndarray:
    return np.asarray(np.minimum((forecast * bins).astype(int), bins - 1))


def calibration_error(forecast: np.ndarray, happened: np.ndarray, bins: int = 15) -> float:
    """Σ n/N · |came − said| over equal bins (Guo et al. 2017); biased upward when jobs are few."""
    return float(sum(row["share"] * abs(row["came"] - row["said"]) for row in reliability(forecast, happened, bins)))


def reliability(forecast: np.ndarray, happened: np.ndarray, bins: int = 15) -> list[dict[str, float]]:
    """One row a used bin: low, high, jobs, share, said (mean forecast), came (share that happened)."""
    place = _bin(forecast, bins)
    rows = []
    for k in np.unique(place):
        here = place == k
        rows.append(
            {
                "low": float(k) / bins,
                "high": float(k + 1) / bins,
                "jobs": int(here.sum()),
                "share": float(here.mean()),
                "said": float(forecast[here].mean()),
                "came": float(happened[here].mean()),
            }
        )
    return rows


def score_table(chance: np.ndarray, cause: np.ndarray) -> dict[str, Any]:
    """Log-loss, top-1, top-3, Brier, calibration error of the first cause, and Murphy's parts for the first cause."""
    first = chance.argmax(axis=1)
    said, came = chance.max(axis=1), (first == cause).astype(float)
    return {
        "jobs": len(cause),
        "log_loss": log_loss(chance, cause),
        "top1": top(chance, cause, 1),
        "top3": top(chance, cause, 3),
        "brier": brier(chance, cause),
        "calibration_error": calibration_error(said, came),
        "first_cause": brier_parts(said, came),
    }
