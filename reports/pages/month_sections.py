"""The sections of a month's page, and what each says beside its charts and tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from reports.charts import callback_curve, fix_by_month, next_fault, parts_missing, technicians, wrong_swaps
from reports.pages import month_tables as tables
from reports.pages.month_figures import MonthFigures
from reports.render.picture import Picture
from reports.render.wording import Wording

CHANCE = 0.05  # a difference that chance makes less often is called one


@dataclass(frozen=True)
class Section:
    """One section of the page: its pictures, a note, and further lines of text."""

    name: str
    title: str
    basis: str
    pictures: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    table: pd.DataFrame | None = None
    keys: tuple[str, ...] = ()


def sections(made: MonthFigures, pictures: list[Picture], wording: Wording) -> list[Section]:
    """Give the sections in the order of the page; one that would have nothing but an empty table is left out."""
    names = [picture.name for picture in pictures]
    shown = [*_drawn(made, names, wording), *_tabled(made, wording)]
    if made.is_against:
        basis = wording.say("compare.basis", this=made.period.name(wording), other=made.period.before_name(wording))
        table = tables.comparison(made, wording)
        shown.insert(0, Section("compare", wording.say("compare.heading"), basis, table=table))
    return shown


def _drawn(made: MonthFigures, names: list[str], wording: Wording) -> list[Section]:
    month = wording.month(made.period.last)

    def section(name: str, is_its: Callable[[str], bool], basis: str = "", **more: Any) -> Section:
        basis = basis or wording.say(f"{name}.basis", month=month)
        return Section(
            name, wording.say(f"sections.{name}"), basis, [chart for chart in names if is_its(chart)], **more
        )

    fix_basis = wording.say("fix.basis", months=len(made.frames["fix_by_month"]), window=made.window_days)
    whose_labour = wording.say("swaps.billed" if made.is_labour_billed else "swaps.lost", **_costs(made, wording))
    people = technicians.notes(list(made.frames["technicians"]["words"]), made.together["technicians"], wording)
    return [
        section("fix", fix_by_month.NAME.__eq__, fix_basis),
        section(
            "callbacks",
            callback_curve.NAME.__eq__,
            wording.say("callbacks.basis", window=made.window_days),
            lines=[*_late(made, wording), *_not_understood(made, wording)],
        ),
        section(
            "swaps",
            wrong_swaps.NAME.__eq__,
            wording.say("swaps.basis", month=month) + whose_labour,
            table=tables.swaps_table(made, wording),
            lines=_bounds(made, wording),
        ),
        section("causes", lambda name: name.startswith("causes-")),
        section("ages", lambda name: name.startswith("by-")),
        section("technicians", technicians.NAME.__eq__, lines=people),
        section("parts", parts_missing.NAME.__eq__),
        section("next_fault", next_fault.NAME.__eq__, lines=_again(made, wording)),
    ]


def _tabled(made: MonthFigures, wording: Wording) -> list[Section]:
    months = len(made.frames["fix_by_month"])
    every: tuple[tuple[str, pd.DataFrame, dict[str, Any], list[str]], ...] = (
        ("people_swaps", tables.people_swaps(made, wording), {}, _spread_of_swaps(made, wording)),
        ("margins", tables.margins(made, wording), _costs(made, wording), _assumed(made, wording)),
        ("families", tables.families(made, wording), {"months": months}, _stand_out(made, wording)),
        ("seasons", tables.seasons(made, wording), {}, _uneven(made, wording)),
        ("branches", tables.branches(made, wording), {"window": made.window_days}, _of_branches(made, wording)),
    )
    return [
        Section(name, wording.say(f"sections.{name}"), wording.say(f"{name}.basis", **gaps), table=table, lines=lines)
        for name, table, gaps, lines in every
        if len(table)
    ]


def _assumed(made: MonthFigures, wording: Wording) -> list[str]:
    """Say so where nobody has set what an hour and a trip cost."""
    return [wording.say("margins.assumed")] if made.now["wrong_swaps"]["assumed"] else []


def _stand_out(made: MonthFigures, wording: Wording) -> list[str]:
    """Say which model families have more faults than chance allows."""
    frame, table = made.frames["model_families"], tables.families(made, wording)
    is_more = ((frame["p"] < CHANCE) & (frame["faults"] > frame["usual"])).to_numpy()
    if not is_more.any():
        return [wording.say("families.none", n=len(frame))]
    return [wording.say("families.some", families=wording.list_of(table.loc[is_more].iloc[:, 1].tolist()))]


def _uneven(made: MonthFigures, wording: Wording) -> list[str]:
    """Say of which kinds the quarters of the year differ by more than chance."""
    frame = made.frames["seasons"]
    kinds = [wording.term(kind) for kind in frame.loc[frame["p"] < CHANCE, "kind"]]
    if not kinds:
        return [wording.say("seasons.none", n=len(frame))]
    return [wording.say("seasons.some", kinds=wording.list_of(kinds))]


def _again(made: MonthFigures, wording: Wording) -> list[str]:
    """Say of each kind how likely another repair within a year is."""
    rows = made.frames["again"].dropna(subset=["chance"]).to_dict("records")
    return [
        wording.say(
            "next_fault.again",
            kind=wording.term(row["kind"]),
            **{name: wording.percent(row[name]) for name in ("chance", "low", "high")},
        )
        for row in rows
    ]


def _spread_of_swaps(made: MonthFigures, wording: Wording) -> list[str]:
    """Say whether all together differ by more than chance, and so where the limits are wider than chance draws them."""
    p, widened = made.frames["swaps_by_technician"][["p_joint", "widened"]].max()
    said = [wording.say(f"people_swaps.{'differ' if p < CHANCE else 'alike'}", p=wording.p_value(p))] if p == p else []
    return said + ([wording.say("technicians.widened", times=wording.number(widened, 1))] if widened > 1 else [])


def _not_understood(made: MonthFigures, wording: Wording) -> list[str]:
    """Say how many visits tell their complaint in words by which no return is seen."""
    counted = made.frames["quality"].set_index("name")[["count", "of"]].to_dict("index")["no_complaint"]
    n, of = int(counted["count"]), counted["of"]
    return [wording.say("callbacks.not_understood", n=n, of=wording.number(of))] if n else []


def _bounds(made: MonthFigures, wording: Wording) -> list[str]:
    """Say what the year's share of wrong parts could be were the books worse than they look."""
    told = made.together["verdicts"]
    if told["share"] != told["share"]:
        return []
    shares = {name: wording.percent(told[name], 1) for name in ("share", "least", "most", "at_5", "at_10")}
    key = "swaps.bounds" if shares["least"] != shares["most"] else "swaps.bounds_alone"
    return [wording.say(key, judged=wording.number(told["judged"]), **shares)]


def _late(made: MonthFigures, wording: Wording) -> list[str]:
    late = int(made.frames["callback_curve"]["late"].max()) if len(made.frames["callback_curve"]) else 0
    return [wording.say("callbacks.late", n=late, window=made.window_days)] if late else []


def _costs(made: MonthFigures, wording: Wording) -> dict[str, str]:
    hour, trip, minutes = made.costs
    return {"hour": wording.money(hour), "trip": wording.money(trip), "minutes": wording.number(minutes)}


def _of_branches(made: MonthFigures, wording: Wording) -> list[str]:
    """Say whether the branches differ by more than chance, and which faults are no branch's."""
    told = made.together["branches"]
    said = []
    for name, p in (("fix", told["p_joint"]), ("back", told["p_returns"])):
        state = "few" if p != p else "differ" if p < CHANCE else "alike"
        said.append(wording.say(f"branches.{name}_{state}", p=wording.p_value(p)))
    if told["unnamed"]:
        said.append(wording.say("branches.unnamed", n=int(told["unnamed"])))
    return said
