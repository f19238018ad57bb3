"""How many texts of repair records the masks change, to be looked at by eye: most hold no personal data.

Run: python -m tests.benchmarks.robustness.false_masks COLUMN FILE.csv...   (records published as open data, say)

Prints each text that is changed around what was masked, and their share of the distinct texts.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd

from pipeline.load.personal_data import mask_contacts

AROUND = 60  # characters shown before and after a mask


def main(column: str, files: list[Path]) -> int:
    """Mask the texts of a column of all files; prints what changed."""
    held = [pd.read_csv(file, dtype="str", usecols=[column], on_bad_lines="skip")[column] for file in files]
    texts = pd.concat(held).dropna().drop_duplicates().reset_index(drop=True)
    masked = mask_contacts(texts)
    changed = masked != texts
    for before, after in zip(texts[changed], masked[changed], strict=True):
        start = max(next(at for at, (a, b) in enumerate(zip(before, after, strict=False)) if a != b) - AROUND, 0)
        print(f"- {before[start : start + 2 * AROUND]!r}\n  {after[start : start + 2 * AROUND]!r}")
    print(f"{changed.sum():,} of {len(texts):,} distinct texts changed: {changed.mean():.3%}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], [Path(name) for name in sys.argv[2:]]))
