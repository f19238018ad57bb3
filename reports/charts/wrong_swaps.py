"""Which part is fitted when it was something else? The pair, what it cost, and how often."""

from __future__ import annotations

import pandas as pd

from reports.charts.finished_chart import Spec, finished, rows_chart
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "wrong-swaps"
ROWS_SHOWN = 8


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw one row a pair: the words above, the money as a bar, count and base after it.

    Parameters
    ----------
    frame
        One row a pair, dearest first: words, money, label, said.
    wording
        Language of the labels.
    """
    return rows_chart(
        frame.assign(value=frame["money"].astype(float)),
        value_type="bar",
        axis_title=f"{wording.say('swaps.axis')}, {wording.currency}",
        currency_axis=True,
        colour="other",
    )


def picture(frame: pd.DataFrame, wording: Wording) -> Picture:
    """Give the chart with its words and table.

    Parameters
    ----------
    frame
        One row a part and what it really was: part, instead_of (the true cause), count, of (verdicts on this part
        known), money, minutes, is_ahead (of the next row, by more than chance).
    wording
        Language of the page.
    """
    rows = frame.sort_values(["money", "part", "instead_of"], ascending=[False, True, True]).reset_index(drop=True)
    parts = [wording.term(part) for part in rows["part"]]
    causes = [
        wording.term(cause) if isinstance(cause, str) else wording.say("swaps.unknown_cause")
        for cause in rows["instead_of"]
    ]
    numbers = [
        {"money": wording.money(money), "count": wording.number(count), "of": wording.number(of)}
        for money, count, of in zip(rows["money"], rows["count"], rows["of"], strict=True)
    ]
    pairs = [{"part": part, "cause": cause} for part, cause in zip(parts, causes, strict=True)]
    rows = rows.assign(
        words=[wording.say("swaps.pair", **pair) for pair in pairs],
        label=[wording.say("swaps.label", **number) for number in numbers],
        said=[wording.say("swaps.said", **pair, **number) for pair, number in zip(pairs, numbers, strict=True)],
    )
    title = (
        wording.say(
            "swaps.title" if rows["is_ahead"].iloc[0] else "swaps.title_close",
            **pairs[0],
            n=int(rows["count"].iloc[0]),
            money=numbers[0]["money"],
        )
        if len(rows)
        else wording.say("swaps.title_none")
    )
    table = pd.DataFrame(
        {
            wording.say("columns.part"): parts,
            wording.say("columns.cause"): causes,
            wording.say("columns.count"): [number["count"] for number in numbers],
            wording.say("columns.of"): [number["of"] for number in numbers],
            wording.say("columns.money"): [number["money"] for number in numbers],
            wording.say("columns.time"): [wording.hours(minutes) for minutes in rows["minutes"]],
        }
    )
    return finished(
        NAME, chart(rows.head(ROWS_SHOWN), wording), title, wording.say("swaps.alt", title=title), table, rows
    )
