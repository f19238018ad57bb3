"""What a month's page is made from: every number and frame it shows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from reports.pages.headline import Period


@dataclass(frozen=True)
class MonthFigures:
    """Everything a month's page shows, as numbers and frames; what each holds is said where it is made into a picture.

    Attributes
    ----------
    period
        The months of the report and those it is compared with.
    as_of, window_days, waiting_days
        Day up to which visits are known; callback window and waiting time, days.
    visits
        Visits made in the period.
    costs
        An hour of labour, a further trip (money), and its minutes, as the settings have them.
    is_labour_billed
        Customers pay the labour of wrong parts, so that it is not lost.
    kind, technician, branch
        What the report is narrowed to; None = all.
    is_against
        The other period was named by the reader: show both side by side.
    now, before, changes
        The four figures, those of the other period, and the differences; see ``headline.figures``.
    frames
        Name -> frame: fix_by_month, callback_curve, wrong_swaps, month_swaps, causes, ages, makes, technicians,
        branches, parts, next_fault, again, quality, advice, adopted, swaps_by_month, swaps_by_technician, margins,
        model_families, seasons. A column ``jobs`` holds the key of a row's list of jobs.
    together
        technicians, makes, ages -> what is said of all groups together: compared (groups), p_joint, and for the
        first two units, unnamed, widened. branches -> compared, unnamed, p_joint, p_returns. verdicts -> judged, share,
        least, most, at_5, at_10.
    lists, units, visits_of_lists
        The lists of jobs; see ``job_lists.job_block``.
    """

    period: Period
    as_of: dt.date
    window_days: int
    waiting_days: int
    visits: int
    costs: tuple[float, float, float]
    is_labour_billed: bool
    kind: str | None
    technician: str | None
    branch: str | None
    is_against: bool
    now: Mapping[str, Mapping[str, Any]]
    before: Mapping[str, Mapping[str, Any]]
    changes: Mapping[str, tuple[float, float, float]]
    frames: Mapping[str, pd.DataFrame]
    together: Mapping[str, Mapping[str, float]]
    lists: pd.DataFrame
    units: pd.DataFrame
    visits_of_lists: pd.DataFrame
