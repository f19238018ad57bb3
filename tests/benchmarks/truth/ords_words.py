"""What share of real problem texts the word lists understand, by product category.

Run: ``python -m tests.benchmarks.truth.ords_words FOLDER`` with a folder of Open Repair Data Standard v0.3 files (CSV,
open data of the Open Repair Alliance, CC BY-SA 4.0). A text counts as understood when at least one
complaint or cause was found in it: said, denied or doubtful; "surely" leaves out the doubtful and the
denied. Texts of fewer than three letters are
left out of the share.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pandas as pd

from pipeline.words import Words


def understood(words: Words, records: pd.DataFrame) -> pd.DataFrame:
    """Give per text whether a complaint or a cause was understood, and whether a complaint was surely there.

    Parameters
    ----------
    words
        Words in force.
    records
        product_category and problem.
    """
    kinds = words.match("kind", records["product_category"])["term"]
    found = words.find_symptoms(records["problem"], kinds)
    surely = found.loc[~found["is_negated"] & ~found["is_doubtful"], "row"].unique()
    complaints = found["row"].unique()
    causes = words.find_causes(records["problem"], kinds)["row"].unique()
    place = pd.RangeIndex(len(records))
    columns = {"complaint": complaints, "cause": causes, "surely": surely}
    return pd.DataFrame({name: place.isin(rows) for name, rows in columns.items()}, index=records.index)


def main(folder: Path) -> None:
    """Print the figures."""
    words = Words.load(("en", "de"))
    for path in sorted(folder.glob("OpenRepairData_v0.3_*.csv")):
        every = pd.read_csv(path, dtype="str")
        records = every[every["problem"].fillna("").str.count(r"[^\W\d_]") >= 3]
        begun = time.perf_counter()
        found = understood(words, records)
        either = found[["complaint", "cause"]].any(axis=1)
        print(
            f"{path.name}: {len(every):,} lines, {len(records):,} problem texts, understood {either.mean():.1%} "
            f"(complaint {found['complaint'].mean():.1%}, surely {found['surely'].mean():.1%}, "
            f"cause {found['cause'].mean():.1%}); "
            f"{time.perf_counter() - begun:.1f} s"
        )
        by = either.groupby(records["product_category"]).agg(["size", "mean"]).sort_values("size", ascending=False)
        for category, row in by.iterrows():
            print(f"    {category:36} {int(row['size']):6,}  {row['mean']:6.1%}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
