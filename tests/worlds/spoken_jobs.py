"""Calls in invented words: phrases of one to three words that share their words with other causes' phrases, and typos."""

from __future__ import annotations

import numpy as np
import pandas as pd

CAUSES, FAMILIES, WORDS, PHRASES, LENGTH = 20, 5, 50, 3, 3
OWN, TYPO = (
    0.7,
    0.15,
)  # chance that a call is told in a phrase of its own cause, else of one alike; that a letter is lost
LETTERS = np.array(list("abdefgiklmnoprstuv"))


def spoken_jobs(number: int, seed: int) -> tuple[pd.DataFrame, np.ndarray]:
    """Draw jobs of one world: kind, make and complaint; and the cause of each."""
    of_all, rng = np.random.default_rng(7), np.random.default_rng([seed, number])
    words = np.array(["".join(of_all.choice(LETTERS, of_all.integers(4, 8))) for _ in range(WORDS)])
    phrases = words[of_all.integers(0, WORDS, (CAUSES, PHRASES, LENGTH))]
    share = of_all.dirichlet(np.full(CAUSES, 1.0))
    cause = rng.choice(CAUSES, number, p=share)
    alike = cause % FAMILIES + FAMILIES * rng.integers(0, CAUSES // FAMILIES, number)
    teller = np.where(rng.random(number) < OWN, cause, alike)
    said = [_call(rng, words, phrases[one, rng.integers(PHRASES)]) for one in teller]
    makes = [f"make {one}" for one in rng.integers(0, 6, number)]
    return pd.DataFrame({"kind": "thing", "make": makes, "complaint": said}), np.char.add("cause ", cause.astype(str))


def _call(rng: np.random.Generator, words: np.ndarray, phrase: np.ndarray) -> str:
    return " ".join(_typed(rng, word) for word in [rng.choice(words), *phrase, rng.choice(words)])


def _typed(rng: np.random.Generator, word: str) -> str:
    lost = int(rng.integers(len(word)))
    return word[:lost] + word[lost + 1 :] if rng.random() < TYPO else word
