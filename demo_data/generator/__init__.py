"""Makes the invented workshop and the truth behind it, which only tests read. Not part of the wheel."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parents[1]
TRUTH_VISITS, TRUTH_PARTS = FOLDER / "truth_visits.csv.gz", FOLDER / "truth_parts.csv"
