"""An invented workshop in an invented town: its two exports and tomorrow's round, as ``priorjobs demo`` reads them."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).parent
JOBS, OFFICE, OFFICE_LAYOUT, ROUND = (
    _HERE / name for name in ("jobs.csv", "office_export.xlsx", "office_export.toml", "round.csv")
)
FILES = {"jobs": JOBS, "office": OFFICE, "office_layout": OFFICE_LAYOUT, "round": ROUND}
