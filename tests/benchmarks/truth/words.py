"""How fast words are read: complaints, unknown words and findings of many mostly different texts, and of one.

Run: ``python -m tests.benchmarks.truth.words [TEXTS]`` (default 1,000,000); prints one line a figure, asserts nothing.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pandas as pd

from pipeline.words import Words

_SAID = (
    "not draining",
    "wont spin",
    "leaking from the door",
    "making a grinding noise",
    "stops mid cycle",
    "no power at all",
    "takes ages",
    "smells of burning",
    "not heating the water",
    "door wont open",
    "trips the electrics",
    "drains ok",
    "no leaks",
    "? leaking",
    "poss noisy",
    "error on display",
    "drum not truning",
    "leeking under machine",
    "not drianing",
    "wont swich on",
    "clothes come out wet",
    "no water coming in",
    "keeps stopping",
)
_ASIDE = (
    "since tuesday",
    "after moving house",
    "customer elderly",
    "call before arrival",
    "second visit",
    "bought at the sales",
    "very upset",
    "in the utility room",
    "neighbour heard it too",
    "has guests",
    "under the stairs",
    "key at number",
    "park at rear",
    "dog in garden",
    "daughter will be there",
)
_JOINS = (", ", " and ", ". ", " but ", "; ", " - ")


def complaints(count: int, seed: int = 3) -> pd.Series[str]:
    """Make mostly different complaint texts: one to three complaints, asides, names and numbers."""
    rng = np.random.default_rng(seed)
    first, second, third = (rng.integers(0, len(_SAID), count) for _ in range(3))
    aside, join, number = (
        rng.integers(0, len(_ASIDE), count),
        rng.integers(0, len(_JOINS), count),
        rng.integers(0, 10**6, count),
    )
    letters = rng.integers(97, 123, (count, 7), dtype=np.uint8)
    names = letters.tobytes().decode("ascii")
    several = rng.integers(1, 4, count)
    texts = []
    for row in range(count):
        said = [_SAID[first[row]], _SAID[second[row]], _SAID[third[row]]][: several[row]]
        texts.append(
            f"{_JOINS[join[row]].join(said)} {_ASIDE[aside[row]]} {names[7 * row : 7 * row + 6]} {number[row]}"
        )
    return pd.Series(texts, dtype="str")


def main(count: int) -> None:
    """Print the figures."""
    begun = time.perf_counter()
    words = Words.load()
    print(f"load of the word lists: {(time.perf_counter() - begun) * 1e3:.0f} ms")
    texts = complaints(count)
    rng = np.random.default_rng(4)
    kinds = pd.Series(
        rng.choice(["washing machine", "tumble dryer", "dishwasher", "fridge-freezer"], count), dtype="str"
    )
    print(f"texts: {count:,}, distinct {texts.nunique():,}, mean length {texts.str.len().mean():.0f}")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for name in ("find_symptoms", "unknown"):
        begun, worked = time.perf_counter(), time.process_time()
        found = getattr(words, name)(texts, kinds)
        took, work = time.perf_counter() - begun, time.process_time() - worked
        print(f"{name}: {took:.2f} s ({work:.2f} s of one core), {len(found):,} rows")
    print(f"more memory at the peak: {(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024:.0f} MB")
    one, kind = texts.iloc[:1], kinds.iloc[:1]
    begun = time.perf_counter()
    for _ in range(50):
        words.find_symptoms(one, kind)
    print(f"one text: {(time.perf_counter() - begun) / 50 * 1e3:.1f} ms")


if __name__ == "__main__":
    main(int(sys.argv[1].replace(",", "")) if len(sys.argv) > 1 else 1_000_000)
