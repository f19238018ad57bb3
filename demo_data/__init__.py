"""An invented workshop in an invented town: its exports, tomorrow's round, and the truth that only tests read."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).parent
JOBS, OFFICE, OFFICE_LAYOUT, ROUND = (
    _HERE / name for name in ("jobs.csv", "office_export.xlsx", "office_export.toml", "round.csv")
)
TRUTH_VISITS, TRUTH_PARTS = _HERE / "truth_visits.csv.gz", _HERE / "truth_parts.csv"
FILES = {"jobs": JOBS, "office": OFFICE, "office_layout": OFFICE_LAYOUT, "round": ROUND}
