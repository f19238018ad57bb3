"""Does age or make matter? Share fixed at the first visit by group, each with its interval."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from reports.charts.finished_chart import Spec, finished, rows_chart
from reports.render.picture import Picture
from reports.render.wording import Wording

FEWEST_FOR_RATE = 10
SURE = 0.05


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw one row a group: a point with its interval; groups too small for a rate show their count alone.

    Parameters
    ----------
    frame
        Rows in order: words, value, low, high (missing = too few), label, said.
    wording
        Language of the labels.
    """
    return rows_chart(frame, value_type="point", axis_title=wording.say("ages.axis"))


def picture(frame: pd.DataFrame, together: Mapping[str, float], wording: Wording, dimension: str) -> Picture:
    """Give the chart of one dimension with its words and table.

    Parameters
    ----------
    frame
        One row a group, in the order to show: value (missing = not known), fixed, known, rate, low, high. For makes
        rate, low and high are as with everyone's mix of jobs, partially pooled; also expected (fixed, of its jobs)
        and words (inside, edge_low, edge_high, above, below, few).
    together
        Of all groups: compared (how many), p_joint.
    wording
        Language of the page.
    dimension
        ``age`` or ``make``.
    """
    groups = [
        wording.term(value) if isinstance(value, str) else wording.say("ages.unknown") for value in frame["value"]
    ]
    numbers = _numbers(frame, wording)
    has_rate = (frame["known"] >= FEWEST_FOR_RATE) & frame["rate"].notna()
    rows = pd.DataFrame(
        {
            "words": groups,
            "value": frame["rate"].where(has_rate).astype(float).to_numpy(),
            "low": frame["low"].where(has_rate).astype(float).to_numpy(),
            "high": frame["high"].where(has_rate).astype(float).to_numpy(),
            "label": [
                wording.say(f"ages.label_{dimension}" if enough else "ages.label_few", **number)
                for enough, number in zip(has_rate, numbers, strict=True)
            ],
            "said": [
                wording.say("ages.said" if enough else "ages.said_few", value=group, **number)
                for group, enough, number in zip(groups, has_rate, numbers, strict=True)
            ],
        }
    )
    title = _title(frame, rows, together, wording, dimension)
    said_dimension = wording.say(f"ages.by_{dimension}")
    return finished(
        f"by-{dimension}",
        chart(rows, wording),
        title,
        wording.say("ages.alt", dimension=said_dimension, title=title),
        _table(frame, rows, wording, dimension),
        rows.assign(jobs=frame["jobs"].to_numpy()) if "jobs" in frame else None,
    )


def _numbers(frame: pd.DataFrame, wording: Wording) -> list[dict[str, Any]]:
    """Give the numbers that a group's label and sentence are made of."""
    expected = frame.get("expected", frame["fixed"])
    columns = (frame["fixed"], frame["known"], frame["rate"], expected, frame["low"], frame["high"])
    return [
        {
            "x": wording.number(fixed),
            "n": known,
            "rate": wording.percent(rate),
            "expected": wording.number(expected),
            "low": wording.percent(low),
            "high": wording.percent(high),
        }
        for fixed, known, rate, expected, low, high in zip(*columns, strict=True)
    ]


def _title(
    frame: pd.DataFrame, rows: pd.DataFrame, together: Mapping[str, float], wording: Wording, dimension: str
) -> str:
    """State the finding, and the test it rests on."""
    p, is_apart = wording.p_value(together["p_joint"]), together["p_joint"] < SURE
    if together["compared"] < 2:
        return wording.say(f"ages.title_{dimension}_few")
    if dimension == "make":
        return _make_title(frame, rows["words"].tolist(), p, is_apart, wording)
    return _age_title(rows[frame["value"].notna().to_numpy()], p, is_apart, wording)


def _table(frame: pd.DataFrame, rows: pd.DataFrame, wording: Wording, dimension: str) -> pd.DataFrame:
    shown = {
        wording.say(f"columns.{dimension}"): rows["words"],
        wording.say("columns.fixed"): [wording.number(fixed) for fixed in frame["fixed"]],
        wording.say("columns.known"): [wording.number(known) for known in frame["known"]],
        wording.say("columns.pooled" if dimension == "make" else "columns.rate"): [
            wording.percent(rate) if rate == rate else wording.say("page.too_few") for rate in rows["value"]
        ],
        wording.say("columns.interval"): [
            f"{wording.percent(low)} – {wording.percent(high)}" if low == low else ""
            for low, high in zip(rows["low"], rows["high"], strict=True)
        ],
    }
    if "words" in frame:
        shown[wording.say("columns.words")] = [wording.say(f"technicians.{words}") for words in frame["words"]]
    return pd.DataFrame(shown)


def _age_title(rows: pd.DataFrame, p: str, is_apart: bool, wording: Wording) -> str:
    if not is_apart:
        return wording.say("ages.title_age_flat", p=p)
    by_value = rows.dropna(subset=["value"]).sort_values("value", kind="stable")
    if by_value.empty:
        return wording.say("ages.title_age_few")
    lowest, highest = by_value.iloc[0], by_value.iloc[-1]
    return wording.say(
        "ages.title_age",
        p=p,
        low_rate=wording.percent(lowest["value"]),
        low_band=lowest["words"],
        high_rate=wording.percent(highest["value"]),
        high_band=highest["words"],
    )


def _make_title(frame: pd.DataFrame, groups: list[str], p: str, is_apart: bool, wording: Wording) -> str:
    apart = [group for group, words in zip(groups, frame["words"], strict=True) if words in ("above", "below")]
    if not apart:
        compared = int((frame["words"] != "few").sum())
        return wording.say("ages.title_make_differ" if is_apart else "ages.title_make_none", n=compared, p=p)
    return wording.say("ages.title_make_some", makes=wording.list_of(apart), p=p)
