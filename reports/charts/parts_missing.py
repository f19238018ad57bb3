"""Which parts are used, and which were missing from the van? Visits that fitted them, visits that waited."""

from __future__ import annotations

import pandas as pd

from reports.charts.finished_chart import Spec, finished, rows_chart
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "parts"
ROWS_SHOWN = 10


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw one row a part: a pale bar for visits that fitted it, a dark one for visits that missed it.

    Parameters
    ----------
    frame
        One row a part, in order: words, value (missing), pale (fitted), label, said.
    wording
        Language of the labels.
    """
    return rows_chart(frame, value_type="bar", axis_title=wording.say("parts.axis"), currency_axis=True, colour="other")


def picture(frame: pd.DataFrame, wording: Wording) -> Picture:
    """Give the chart with its words and table.

    Parameters
    ----------
    frame
        One row a part: part, fitted (visits), cured (of them, known), missing (visits that ended in "part needed"
        and had this part fitted later), days_waited, trip_money (of those second trips), is_ahead (of the next part,
        by more than chance).
    wording
        Language of the page.
    """
    rows = frame.sort_values(["missing", "fitted", "part"], ascending=[False, False, True]).reset_index(drop=True)
    parts = [wording.term(part) for part in rows["part"]]
    numbers = [
        {"fitted": wording.number(fitted), "missing": wording.number(missing)}
        for fitted, missing in zip(rows["fitted"], rows["missing"], strict=True)
    ]
    rows = rows.assign(
        words=parts,
        value=rows["missing"].astype(float),
        pale=rows["fitted"].astype(float),
        label=[wording.say("parts.label", **number) for number in numbers],
        said=[wording.say("parts.said", part=part, **number) for part, number in zip(parts, numbers, strict=True)],
    )
    most = int(rows["missing"].iloc[0]) if len(rows) else 0
    title = wording.say("parts.title_none")
    if most:
        is_close = len(rows) > 1 and rows["missing"].iloc[1] > 0 and not rows["is_ahead"].iloc[0]
        title = wording.say(
            "parts.title_close" if is_close else "parts.title",
            part=parts[0],
            n=most,
            other=parts[1] if len(parts) > 1 else "",
            next=wording.number(rows["missing"].iloc[1] if len(rows) > 1 else 0),
        )
    table = pd.DataFrame(
        {
            wording.say("columns.part"): parts,
            wording.say("columns.fitted"): [number["fitted"] for number in numbers],
            wording.say("columns.cured"): [wording.number(cured) for cured in rows["cured"]],
            wording.say("columns.missing"): [number["missing"] for number in numbers],
            wording.say("columns.days_waited"): [wording.number(days) for days in rows["days_waited"]],
            wording.say("columns.trip_money"): [wording.money(money) for money in rows["trip_money"]],
        }
    )
    return finished(
        NAME, chart(rows.head(ROWS_SHOWN), wording), title, wording.say("parts.alt", title=title), table, rows
    )
