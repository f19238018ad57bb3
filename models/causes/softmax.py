"""Probabilities from log scores."""

from __future__ import annotations

import numpy as np


def softmax(scores: np.ndarray) -> np.ndarray:
    """Probabilities from log scores, row by row."""
    powers = np.exp(scores - scores.max(axis=1, keepdims=True))
    shares: np.ndarray = powers / powers.sum(axis=1, keepdims=True)
    return shares


def log_softmax(scores: np.ndarray) -> np.ndarray:
    """Log probabilities from log scores, row by row."""
    apart = scores - scores.max(axis=1, keepdims=True)
    return np.asarray(apart - np.log(np.exp(apart).sum(axis=1, keepdims=True)))
