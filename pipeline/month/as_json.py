"""A report's numbers as JSON: names and meanings that scripts may rely on."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from pipeline.month.scope import Scope
    from reports.pages.month_figures import MonthFigures


SWAPS = ("part", "instead_of", "count", "of", "money", "minutes")
_RATES = ("rate", "low", "high")
ROWS: dict[str, tuple[str, tuple[str, ...]]] = {  # key -> frame and its columns; none named = all
    "advice": ("advice", ()),
    "by_month": ("fix_by_month", ()),
    "adopted": ("adopted", ()),
    "swaps_by_month": ("swaps_by_month", ()),
    "swaps_by_technician": ("swaps_by_technician", ()),
    "model_families": ("model_families", ()),
    "technicians": ("technicians", ("technician", "known", "fixed", "expected", "adjusted", *_RATES, "words")),
    "branches": ("branches", ()),
    "kinds": ("kinds", ("kind", "fixed", "known", "not_yet_known", *_RATES)),
    "makes": ("makes", ("value", "fixed", "known", *_RATES, "words")),
    "ages": ("ages", ("value", "fixed", "known", *_RATES)),
    "causes": ("causes", ("kind", "complaint", "cause", "count", "of", "share", "low", "high")),
    "parts": ("parts", ("part", "fitted", "cured", "missing", "days_waited", "trip_money")),
    "next_fault": ("again", ("kind", "chance", "low", "high")),
}


def report_json(scope: Scope, figures: MonthFigures) -> dict[str, Any]:
    """Give the figures of a report.

    Returns
    -------
    dict
        month, window_days, as_of, first_time_fix, callbacks, wrong_swaps, days_to_cure, advice, technicians, kinds,
        ...; shares from 0 to 1, money in the workshop's currency, None where a figure is not known or too few for a
        rate.
    """
    now, frames = figures.now, figures.frames
    made = {
        "month": f"{scope.last:%Y-%m}",
        "first_month": f"{scope.first:%Y-%m}",
        "compared_with": [f"{scope.before_first:%Y-%m}", f"{scope.before_last:%Y-%m}"],
        "kind": scope.kind,
        "technician": scope.technician,
        "branch": scope.branch,
        "window_days": scope.window_days,
        "as_of": scope.as_of,
        "visits": figures.visits,
        **_four(now, frames["month_swaps"]),
        "changes": {
            measure: {"difference": change[0], "low": change[1], "high": change[2]}
            for measure, change in figures.changes.items()
        },
        "year": {
            "from": scope.weighed_from,
            "wrong_swaps": _records(frames["wrong_swaps"], SWAPS),
        },
        "together": figures.together,
        **{key: _records(frames[name], columns) for key, (name, columns) in ROWS.items()},
        "data_quality": {
            row["name"]: {"count": row["count"], "of": row["of"]}
            for row in _records(frames["quality"], ("name", "count", "of"))
        },
    }
    plain: dict[str, Any] = _plain(made)
    return plain


def _four(now: Mapping[str, Mapping[str, Any]], month_swaps: pd.DataFrame) -> dict[str, Any]:
    fix, back, swaps = now["first_time_fix"], now["callbacks"], now["wrong_swaps"]
    is_open = fix["is_provisional"]
    return {
        "first_time_fix": {
            "fixed": fix["fixed"],
            "known": fix["known"],
            "not_yet_known": fix["not_yet_known"],
            "rate": None if is_open else fix["value"],
            "low": fix["low"],
            "high": fix["high"],
            "provisional_rate": fix["value"] if is_open else None,
        },
        "callbacks": {
            "fixes": back["fixes"],
            "returns": back["returns"],
            "rate": back["value"],
            "low": back["low"],
            "high": back["high"],
            "is_provisional": back["is_provisional"],
            "by_day": back["by_day"],
        },
        "wrong_swaps": {
            "parts": swaps["parts"],
            "judged": swaps["judged"],
            "not_yet_judged": swaps["open"],
            "to_review": swaps["to_review"],
            "waiting": swaps["waiting"],
            "money": swaps["value"],
            "low": swaps["low"],
            "high": swaps["high"],
            "labour": swaps["labour"],
            "labour_is_billed": swaps["is_labour_billed"],
            "trips": swaps["trips"],
            "minutes": swaps["minutes"],
            "to_come": swaps["to_come"],
            "is_provisional": swaps["is_provisional"],
            "rows": _records(month_swaps, SWAPS),
        },
        "days_to_cure": {
            "faults": now["days_to_cure"]["faults"],
            "open": now["days_to_cure"]["open"],
            "median": now["days_to_cure"]["half"],
            "low": now["days_to_cure"]["half_low"],
            "high": now["days_to_cure"]["half_high"],
            "nine_in_ten": now["days_to_cure"]["value"],
        },
    }


def _records(frame: pd.DataFrame, columns: tuple[str, ...]) -> list[dict[str, Any]]:
    """Rows of these columns; of all but the key of its list of jobs where none is named."""
    wanted = list(columns) or [name for name in frame.columns if name != "jobs"]
    return [
        {str(name): value for name, value in row.items()} for row in frame[wanted].astype(object).to_dict("records")
    ]


def _plain(value: Any) -> Any:
    """Turn numbers of any library into JSON's own, dates into ISO text, NaN and infinity into None."""
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if value is None or value is True or value is False or isinstance(value, str):
        return value
    if isinstance(value, dt.date):
        return value.isoformat()[:10]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, int):
        return value
    return float(value) if isinstance(value, float) and math.isfinite(value) else None
