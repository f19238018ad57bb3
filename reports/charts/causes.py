"""What did the complaint turn out to be? Causes within complaint, for one kind of appliance."""

from __future__ import annotations

from collections.abc import Hashable
from itertools import groupby
from typing import Any

import pandas as pd

from reports.charts.finished_chart import Spec, finished, rows_chart
from reports.render.picture import Picture
from reports.render.wording import Wording

FEWEST_FOR_RATE = 10


def chart(rows: list[Spec], wording: Wording) -> Spec:
    """Draw the complaint as a heading row and its causes as bars beneath.

    Parameters
    ----------
    rows
        In order: words, value, low, high, label, said, is_heading, is_other.
    wording
        Language of the labels.
    """
    return rows_chart(rows, value_type="bar", axis_title=wording.say("causes.axis"))


def picture(frame: pd.DataFrame, wording: Wording, kind: str, number: int) -> Picture:
    """Give the chart of one kind with its words and table.

    Parameters
    ----------
    frame
        One row a complaint and cause of this kind, in the order to show: complaint, cause (missing = all others),
        count, of (cured faults with this complaint), share, low, high.
    wording
        Language of the page.
    kind
        The kind of appliance.
    number
        Place of the kind on the page; makes the name unique.
    """
    rows = frame.assign(
        shown_cause=[
            wording.term(cause) if isinstance(cause, str) else wording.say("causes.other") for cause in frame["cause"]
        ],
        shown_complaint=[wording.term(complaint) for complaint in frame["complaint"]],
        is_other=frame["cause"].isna(),
    )
    records = rows.to_dict("records")
    said = [_line(row, wording) for row in records]
    lines: list[Spec] = []
    for complaint, of_one in groupby(zip(records, said, strict=True), key=lambda pair: pair[0]["shown_complaint"]):
        lines.append({"words": complaint, "is_heading": True, "is_other": False, "label": "", "said": complaint})
        lines += [line for _, line in of_one]
    title = _title(records, wording, wording.term(kind))
    table = pd.DataFrame(
        {
            wording.say("columns.complaint"): rows["shown_complaint"],
            wording.say("columns.cause"): rows["shown_cause"],
            wording.say("columns.count"): [wording.number(n) for n in rows["count"]],
            wording.say("columns.of_cures"): [wording.number(n) for n in rows["of"]],
            wording.say("columns.share"): [
                wording.percent(share) if of >= FEWEST_FOR_RATE else wording.say("page.too_few")
                for share, of in zip(rows["share"], rows["of"], strict=True)
            ],
        }
    )
    return finished(
        f"causes-{number}",
        chart(lines, wording),
        title,
        wording.say("causes.alt", kind=wording.term(kind), title=title),
        table,
        rows.assign(said=[line["said"] for line in said]),
    )


def _title(rows: list[dict[Hashable, Any]], wording: Wording, kind: str) -> str:
    """State the finding: the first complaint's most frequent cause, or the two that are too close to rank."""
    named = [row for row in rows if not row["is_other"] and row["of"] >= FEWEST_FOR_RATE]
    if not named:
        return wording.say("causes.title_few", kind=kind)
    first = named[0]
    other = next((row for row in named[1:] if row["complaint"] == first["complaint"]), None)
    return wording.say(
        "causes.title_close" if other is not None and not first["is_ahead"] else "causes.title",
        kind=kind,
        complaint=first["shown_complaint"],
        cause=first["shown_cause"],
        share=wording.percent(first["share"]),
        other=other["shown_cause"] if other is not None else "",
        count=wording.number(first["count"]),
        next=wording.number(other["count"] if other is not None else 0),
        of=wording.number(first["of"]),
    )


def _line(row: dict[Hashable, Any], wording: Wording) -> dict[str, Any]:
    has_rate = row["of"] >= FEWEST_FOR_RATE
    numbers = {"count": wording.number(row["count"]), "of": wording.number(row["of"])}
    return {
        "words": row["shown_cause"],
        "is_heading": False,
        "is_other": row["is_other"],
        "value": row["share"],
        "low": row["low"] if has_rate and not row["is_other"] else None,
        "high": row["high"] if has_rate and not row["is_other"] else None,
        "label": wording.say("causes.label", share=wording.percent(row["share"]), **numbers)
        if has_rate
        else wording.say("causes.label_few", **numbers),
        "said": wording.say("causes.said", complaint=row["shown_complaint"], cause=row["shown_cause"], **numbers),
    }
