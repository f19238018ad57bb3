"""What did the complaint turn out to be? Causes within complaint, for one kind of appliance."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import pandas as pd

from reports.charts.drawn import Spec, finished, rows_chart
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
    lines: list[Spec] = []
    for complaint, group in rows.groupby("shown_complaint", sort=False):
        lines.append({"words": complaint, "is_heading": True, "is_other": False, "label": "", "said": complaint})
        lines += [_line(row, wording) for row in group.to_dict("records")]
    named = rows[~rows["is_other"] & (rows["of"] >= FEWEST_FOR_RATE)]
    title = wording.say("causes.title_few", kind=wording.term(kind))
    if len(named):
        first = named.iloc[0]
        others = named[named["complaint"] == first["complaint"]].iloc[1:]
        is_close = len(others) > 0 and not first["is_ahead"]
        title = wording.say(
            "causes.title_close" if is_close else "causes.title",
            kind=wording.term(kind),
            complaint=first["shown_complaint"],
            cause=first["shown_cause"],
            share=wording.percent(first["share"]),
            other=others["shown_cause"].iloc[0] if len(others) else "",
            count=wording.number(first["count"]),
            next=wording.number(others["count"].iloc[0] if len(others) else 0),
            of=wording.number(first["of"]),
        )
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
        rows.assign(said=[_line(row, wording)["said"] for row in rows.to_dict("records")]),
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
