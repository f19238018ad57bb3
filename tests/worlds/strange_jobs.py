"""A workshop some of whose jobs have a cause of their own, which strange makes, codes and words foretell."""

from __future__ import annotations

import numpy as np
import pandas as pd

COMMON, USUAL_MAKES, USUAL_CODES, WORDS = 8, 6, 10, 60
STRANGE = {True: 0.5, False: 0.03}  # chance that make, code or text is strange, by whether the cause is
LETTERS = np.array(list("abdefgiklmnoprstuv"))


def strange_jobs(number: int, rate: float, seed: int) -> tuple[pd.DataFrame, np.ndarray]:
    """Draw jobs of two kinds, ``rate`` of them with a cause that no other job has.

    Returns
    -------
    kind, make, code, complaint; and the cause of each, ``strange ...`` where no other job has it.
    """
    rng = np.random.default_rng([seed, number])
    of_all = np.random.default_rng(5)
    spoken = np.array([_word(of_all) for _ in range(WORDS)])
    meant = of_all.dirichlet(np.full(WORDS, 0.1), COMMON)
    rows, causes = [], []
    for job in range(number):
        is_strange = bool(rng.random() < rate)
        makes, codes, words = rng.random(3) < STRANGE[is_strange]
        one = int(rng.integers(COMMON))
        said = [_word(rng) for _ in range(5)] if words else rng.choice(spoken, 5, p=meant[one])
        rows.append(
            {
                "kind": ("washer", "dryer")[one % 2],
                "make": f"make {seed} {job}" if makes else f"make {rng.integers(USUAL_MAKES)}",
                "code": f"code {seed} {job}" if codes else f"code {(one + rng.integers(3)) % USUAL_CODES}",
                "complaint": " ".join(said),
            }
        )
        causes.append(f"strange {seed} {job}" if is_strange else f"cause {one}")
    return pd.DataFrame(rows), np.array(causes)


def _word(rng: np.random.Generator) -> str:
    return "".join(rng.choice(LETTERS, 6))
