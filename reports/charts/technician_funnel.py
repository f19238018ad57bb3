"""Does anybody's share of first-time fixes differ from the rest by more than chance? A funnel, never a ranking."""

from __future__ import annotations

import altair as alt
import pandas as pd

from reports.charts.drawn import finished, said, share_axis, spread_apart
from reports.render import theme
from reports.render.picture import Picture
from reports.render.wording import Wording

NAME = "technicians"
MOST_NAMED = 12
APART = ("above", "below")
LABEL_GAP = 0.05
EDGE = ("edge_low", "edge_high")


def chart(frame: pd.DataFrame, limits: pd.DataFrame, wording: Wording) -> alt.LayerChart:
    """Draw the funnel's limits and one mark a technician.

    Parameters
    ----------
    frame
        One row a technician: known, adjusted, words, name (label), said.
    limits
        One row a number of faults: n, centre, low95, high95, low998, high998.
    wording
        Language of the labels.
    """
    rows = frame.assign(is_apart=frame["words"].isin(APART))
    if len(rows) > MOST_NAMED:
        rows["name"] = rows["name"].where(rows["is_apart"], "")
    sizes = [*limits["n"], *rows["known"]] or [0, 10]
    few, most = float(min(sizes)), float(max(sizes))
    most += (most - few) * 0.16 + 1
    levels = [*rows["adjusted"].dropna(), *limits["low998"].dropna(), *limits["high998"].dropna()] or [0.0, 1.0]
    bottom, top = max(0.0, min(levels) // 0.05 * 0.05), min(1.0, -(-max(levels) // 0.05) * 0.05)
    rows["label_at"] = spread_apart(list(rows["adjusted"]), (top - bottom) * LABEL_GAP)
    shares = share_axis(
        wording.say("technicians.axis_y"),
        titleAnchor="end",
        titleAngle=0,
        titleAlign="left",
        titleBaseline="bottom",
        titleX=0,
        titleY=-8,
    )
    scale = alt.Scale(domain=[bottom, top], nice=False, clamp=True)
    x = alt.X(
        "n:Q",
        axis=alt.Axis(title=wording.say("technicians.axis_x"), grid=False, tickCount=6),
        scale=alt.Scale(domain=[few, most], nice=False),
    )

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", axis=shares, scale=scale)

    curve = alt.Chart(limits).encode(x=x)
    layers: list[alt.Chart] = [
        curve.mark_area(color=theme.LIGHT["panel"], aria=False).encode(y=up("low95"), y2="high95:Q"),
        curve.mark_line(color=theme.LIGHT["line"], strokeWidth=1.5, aria=False).encode(y=up("centre")),
    ]
    for column, dash in (("low95", [1, 0]), ("high95", [1, 0]), ("low998", [4, 4]), ("high998", [4, 4])):
        layers.append(
            curve.mark_line(color=theme.LIGHT["soft"], strokeWidth=1, strokeDash=dash, aria=False).encode(y=up(column))
        )
    ends = limits.sort_values("n").tail(1)
    labels = pd.concat(
        [
            ends.assign(at=ends[column], label=text)
            for column, text in (
                ("low95", wording.say("technicians.label_95")),
                ("low998", wording.say("technicians.label_998")),
            )
        ]
    )
    layers.append(
        alt.Chart(labels)
        .mark_text(align="left", dx=4, fontSize=11, color=theme.LIGHT["soft"], aria=False)
        .encode(x=x, y=up("at"), text="label:N")
    )
    dots = alt.Chart(rows.assign(n=rows["known"])).encode(x=x, y=up("adjusted"))
    layers += [
        dots.mark_point(size=90, opacity=1, strokeWidth=2).encode(
            shape=alt.condition("datum.is_apart", alt.value("diamond"), alt.value("circle")),
            stroke=alt.condition("datum.is_apart", alt.value(theme.LIGHT["other"]), alt.value(theme.LIGHT["main"])),
            fill=alt.condition("datum.is_apart", alt.value(theme.LIGHT["other"]), alt.value(theme.LIGHT["main"])),
            **said(),
        ),
        dots.mark_text(align="left", dx=9, fontSize=12, limit=130, aria=False).encode(y=up("label_at"), text="name:N"),
    ]
    return alt.LayerChart(layer=layers).properties(width="container", height=theme.CHART_HEIGHT + 40)


def picture(frame: pd.DataFrame, limits: pd.DataFrame, wording: Wording) -> Picture:
    """Give the funnel with its plain words and table, technicians in alphabetical order.

    Parameters
    ----------
    frame
        One row a technician: technician, known, fixed, expected, adjusted (share with everyone's mix of jobs), low,
        high, words (inside, edge_low, edge_high, above, below, few).
    limits
        One row a number of faults: n, centre, low95, high95, low998, high998.
    wording
        Language of the page.
    """
    rows = frame.sort_values("technician").reset_index(drop=True)
    words = [wording.say(f"technicians.{word}") for word in rows["words"]]
    rows = rows.assign(
        name=[wording.term(name) for name in rows["technician"]],
        said=[
            wording.say(
                "technicians.said",
                technician=name,
                fixed=wording.number(fixed),
                n=known,
                expected=wording.number(expected, 1),
                words=text,
            )
            for name, fixed, known, expected, text in zip(
                *(rows[column] for column in ("technician", "fixed", "known", "expected")), words, strict=True
            )
        ],
    )
    drawn = rows[rows["words"] != "few"]
    apart, edge = (int(drawn["words"].isin(words).sum()) for words in (APART, EDGE))
    key = "title_few" if drawn.empty else "title_some" if apart else "title_edge" if edge else "title_none"
    title = wording.say(f"technicians.{key}", n=apart or edge)
    table = pd.DataFrame(
        {
            wording.say("columns.technician"): rows["name"],
            wording.say("columns.faults"): [wording.number(n) for n in rows["known"]],
            wording.say("columns.fixed"): [wording.number(n) for n in rows["fixed"]],
            wording.say("columns.expected"): [wording.number(n, 1) for n in rows["expected"]],
            wording.say("columns.adjusted"): [
                wording.percent(share) if word != "few" else wording.say("page.too_few")
                for share, word in zip(rows["adjusted"], rows["words"], strict=True)
            ],
            wording.say("columns.words"): words,
        }
    )
    return finished(
        NAME, chart(drawn, limits, wording), title, wording.say("technicians.alt", title=title), table, rows
    )
