"""Does anybody's share of first-time fixes differ from the rest by more than chance? Limits, never a ranking."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from reports.charts.finished_chart import Spec, finished, rows_chart
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "technicians"
MOST_SHOWN = 20
SURE = 0.05
APART, EDGE = ("above", "below"), ("edge_low", "edge_high")


def chart(frame: pd.DataFrame, wording: Wording) -> Spec:
    """Draw one row a technician: a mark within the limits that his own jobs allow.

    Parameters
    ----------
    frame
        One row a technician: words (the name), crude, low_95, high_95, low_998, high_998, label, said, is_other.
    wording
        Language of the labels.
    """
    rows = frame.assign(value=frame["crude"], low=frame["low_95"], high=frame["high_95"])
    rows = rows.assign(least=frame["low_998"], most=frame["high_998"])
    return rows_chart(rows, value_type="point", axis_title=wording.say("technicians.axis"))


def picture(frame: pd.DataFrame, together: Mapping[str, float], wording: Wording) -> Picture:
    """Give the rows with their plain words and table, technicians in alphabetical order.

    Parameters
    ----------
    frame
        One row a technician: technician, known, fixed, expected, crude, low_998, low_95, high_95, high_998, adjusted
        (share with everyone's mix of jobs), words (inside, edge_low, edge_high, above, below, few).
    together
        Of all together: units, compared, unnamed, p_joint, widened.
    wording
        Language of the page.
    """
    rows = frame.sort_values("technician").reset_index(drop=True)
    verdicts = in_words(rows["words"], together["widened"], wording)
    names = [wording.term(name) for name in rows["technician"]]
    numbers = [
        {"technician": name, "fixed": wording.number(fixed), "n": known, "expected": wording.number(expected, 1)}
        for name, fixed, known, expected in zip(
            names, *(rows[column] for column in ("fixed", "known", "expected")), strict=True
        )
    ]
    rows = rows.assign(
        label=[wording.say("technicians.label", **number) for number in numbers],
        said=[
            wording.say("technicians.said", words=text, **number)
            for number, text in zip(numbers, verdicts, strict=True)
        ],
        is_other=rows["words"].isin(APART + EDGE),
    )
    table = pd.DataFrame(
        {
            wording.say("columns.technician"): names,
            wording.say("columns.faults"): [wording.number(n) for n in rows["known"]],
            wording.say("columns.fixed"): [number["fixed"] for number in numbers],
            wording.say("columns.expected"): [number["expected"] for number in numbers],
            wording.say("columns.adjusted"): [
                wording.percent(share) if word != "few" else wording.say("page.too_few")
                for share, word in zip(rows["adjusted"], rows["words"], strict=True)
            ],
            wording.say("columns.words"): verdicts,
        }
    )
    drawn = rows.assign(words=names)[rows["words"] != "few"]
    if len(drawn) > MOST_SHOWN:
        drawn = drawn[drawn["is_other"]]
    title = title_of(list(rows["words"]), together, wording)
    return finished(NAME, chart(drawn, wording), title, wording.say("technicians.alt", title=title), table, rows)


def in_words(words: Iterable[str], widened: float, wording: Wording) -> list[str]:
    """Say each verdict; within limits that were widened nobody is said to be inside what chance allows."""
    is_spread = widened > 1
    return [
        wording.say("technicians.inside_spread" if word == "inside" and is_spread else f"technicians.{word}")
        for word in words
    ]


def title_of(words: list[str], together: Mapping[str, float], wording: Wording) -> str:
    """State what the tests say: of all together, and of those who stand out; nothing where nobody can be compared."""
    compared, units = int(together["compared"]), int(together["units"])
    if units == 0:
        return wording.say("technicians.title_unnamed")
    if compared < 2:
        return wording.say("technicians.title_alone" if units == 1 else "technicians.title_few", n=units)
    apart, edge = (sum(word in group for word in words) for group in (APART, EDGE))
    p = wording.p_value(together["p_joint"])
    is_differing = together["p_joint"] < SURE
    if is_differing and not apart and not edge:
        return wording.say("technicians.title_differ", n=compared, p=p)
    key = "title_apart" if apart else "title_edge" if edge else "title_inside"
    title = wording.say(
        f"technicians.{key}", n=apart or edge or compared, of=compared, chance=wording.number(0.05 * compared, 1)
    )
    return title + wording.say("technicians.differ" if is_differing else "technicians.alike", p=p)


def notes(words: list[str], together: Mapping[str, float], wording: Wording) -> list[str]:
    """Say what the picture leaves out and how its limits are drawn."""
    said = []
    if together["widened"] > 1:
        said.append(wording.say("technicians.widened", times=wording.number(together["widened"], 1)))
    left_out = sum(word == "few" for word in words)
    if left_out and together["compared"] > 1:
        said.append(wording.say("technicians.left_out", n=left_out))
    if together["compared"] > MOST_SHOWN:
        said.append(wording.say("technicians.not_drawn", n=sum(word == "inside" for word in words)))
    if together["unnamed"]:
        said.append(wording.say("technicians.unnamed", n=int(together["unnamed"])))
    return said
