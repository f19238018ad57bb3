"""The owner's month as one page: frames in, a self-contained page out.

The figures come ready in ``MonthFigures``; here they become pictures, tables and sentences, and each is tied to its
jobs.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from reports.charts import (
    callback_curve,
    causes,
    fix_by_month,
    next_fault,
    parts_missing,
    rates_apart,
    technicians,
    wrong_swaps,
)
from reports.pages.headline import Period, figures, sentence
from reports.pages.job_lists import job_block
from reports.render.page import render
from reports.render.picture import Picture
from reports.render.plain_text import plain
from reports.render.wording import Wording

ADVICE_FIRST = 3
MOST_PIPS = 40
CHANCE = 0.05  # a difference that chance makes less often is called one
HALF = 0.5  # of what will come to light


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


def pictures_of(made: MonthFigures, wording: Wording) -> list[Picture]:
    """Draw every chart of the page."""
    frames, together = made.frames, made.together
    drawn = [
        fix_by_month.picture(frames["fix_by_month"], wording),
        callback_curve.picture(frames["callback_curve"], wording, made.window_days),
        wrong_swaps.picture(frames["wrong_swaps"], wording),
    ]
    drawn += [
        causes.picture(group, wording, str(kind), number)
        for number, (kind, group) in enumerate(frames["causes"].groupby("kind", sort=False), start=1)
    ]
    drawn += [
        rates_apart.picture(frames["ages"], together["ages"], wording, "age"),
        rates_apart.picture(frames["makes"], together["makes"], wording, "make"),
        technicians.picture(frames["technicians"], together["technicians"], wording),
        parts_missing.picture(frames["parts"], wording),
        next_fault.picture(frames["next_fault"], frames["again"], wording),
    ]
    return drawn


def page(made: MonthFigures, pictures: list[Picture], wording: Wording) -> str:
    """Write the page.

    Parameters
    ----------
    made
        The figures.
    pictures
        The charts, as ``pictures_of`` draws them.
    wording
        Language and money.
    """
    month = made.period.name(wording)
    shown = figures(made.now, made.before, made.changes, made.period, wording, made.window_days)
    advice = advice_rows(made.frames["advice"], wording)
    titles = {figure.measure: f"{figure.label}, {month}" for figure in shown}
    titles |= {row["jobs"]: row["do"] for row in advice if row["jobs"]}
    titles |= {key: said for picture in pictures for key, said in picture.opens}
    quality = quality_rows(made.frames["quality"], wording)
    titles |= {row["jobs"]: row["words"] for row in quality if row["jobs"]}
    block = job_block(made.lists, made.units, made.visits_of_lists, titles, wording)
    ids = {key: f"j{number}" for number, key in enumerate(block["lists"])}
    block["lists"] = {ids[key]: content for key, content in block["lists"].items()}
    view = _view(made, wording)
    return render(
        "month.html",
        title=wording.say("page.title", month=month),
        language=wording.language,
        pictures=pictures,
        jobs=block,
        words=wording.section("page"),
        wording=wording,
        kicker=(
            wording.say("page.kicker_view", view=view, visits=wording.number(made.visits))
            if view
            else wording.say(
                "page.kicker" if made.period.first == made.period.last else "page.kicker_period",
                visits=wording.number(made.visits),
            )
        ),
        stamp=_stamp(made, wording),
        sentence=sentence(made.now, made.before, made.changes, made.period, wording),
        figures=shown,
        advice=[row for row in advice if not row["is_ended"]],
        ended=[row for row in advice if row["is_ended"]],
        adopted=adopted_rows(made.frames["adopted"], wording),
        cautions=list(dict.fromkeys(wording.told(text) for row in advice for text in row["cautions"])),
        advice_basis=wording.say("advice.basis", as_of=wording.date(made.as_of)),
        whose=_whose(made, wording),
        sections=_sections(made, pictures, wording),
        quality=quality,
        definitions=_definitions(made, wording),
        ids=ids,
        footer=wording.say(
            "page.footer",
            as_of=wording.date(made.as_of),
            window=made.window_days,
            definitions=wording.say("sections.definitions"),
        ),
    )


def _view(made: MonthFigures, wording: Wording) -> str:
    parts = []
    if made.kind is not None:
        parts.append(wording.say("page.view_kind", kind=wording.term(made.kind)))
    if made.technician is not None:
        parts.append(wording.say("page.view_technician", technician=plain(made.technician, 60)))
    if made.branch is not None:
        parts.append(wording.say("page.view_branch", branch=plain(made.branch, 60)))
    return ", ".join(parts)


def _whose(made: MonthFigures, wording: Wording) -> str | None:
    """Say that advice is the whole workshop's, on a page that is not."""
    if made.technician is not None:
        return wording.say("advice.whose", technician=plain(made.technician, 60))
    return wording.say("advice.whose_branch", branch=plain(made.branch, 60)) if made.branch is not None else None


def _stamp(made: MonthFigures, wording: Wording) -> dict[str, str]:
    last = made.period.last
    is_one = made.period.first == last
    is_open = any(figure["is_provisional"] for figure in made.now.values())
    return {
        "word": wording.month_name(last, short=True)
        if is_one
        else f"{wording.month_name(made.period.first, short=True)} – {wording.month_name(last, short=True)}",
        "number": f"{last.month:02d}" if is_one else f"{made.period.first.month:02d}–{last.month:02d}",
        "year": str(last.year),
        "state": wording.say("page.provisional") if is_open else wording.say("columns.settled"),
    }


def advice_rows(frame: pd.DataFrame, wording: Wording) -> list[dict[str, Any]]:
    """Say each advice row: what to do, why, and what it costs.

    Parameters
    ----------
    frame
        Rows worth most first: number, part, kind, make, complaint, code, finding, count, of, share, low, usual,
        p_adjusted, trend, recent_count, recent_of, first_date, last_date, lost, money, usually, look_first, kinds, jobs
        (key of its list), and where known cautions (texts). A missing condition = the pattern holds whatever it is.
    wording
        Language and money.
    """
    return [_advice(row, wording) for row in frame.to_dict("records")]


def _where(row: Mapping[Any, Any], wording: Wording) -> str:
    has_complaint = isinstance(row["complaint"], str)
    where = wording.say(
        "advice.on_complaint" if has_complaint else "advice.any_complaint", complaint=wording.term(row["complaint"])
    )
    for name in ("finding", "code", "make", "kind"):
        if isinstance(row[name], str):
            seen = row[name].removesuffix(" not recorded")
            key = f"advice.on_{name}" if seen == row[name] else "advice.on_unrecorded"
            where += wording.say(key, **{name: wording.term(seen)})
    return where


def _advice(row: Mapping[Any, Any], wording: Wording) -> dict[str, Any]:
    part, count, of = wording.term(row["part"]), int(row["count"]), int(row["of"])
    where = _where(row, wording)
    usually = row["usually"] if isinstance(row["usually"], str) else ""
    look = row["look_first"]
    if not isinstance(look, str) or look == f"look for {usually}":
        look = wording.say("advice.look_for", cause=wording.term(usually))
    if not isinstance(row["kind"], str):
        where += wording.say("advice.on_kind", kind=wording.list_of([wording.term(kind) for kind in row["kinds"]]))
    text = wording.say("advice.do", where=where, look=wording.term(look), part=part)
    numbers = {"count": wording.number(count), "of": wording.number(of)}
    why = [wording.say("advice.count", **numbers)]
    if usually:
        why.append(wording.say("advice.usually", usually=wording.term(usually)))
    p = wording.p_value(row["p_adjusted"])
    shares = {name: wording.percent(row[name]) for name in ("share", "low", "usual")}
    trend = wording.say(
        f"advice.trend_{row['trend']}",
        count=wording.number(row["recent_count"]),
        of=wording.number(row["recent_of"]),
        before=wording.number(count - row["recent_count"]),
        before_of=wording.number(of - row["recent_of"]),
        first=wording.date(row["first_date"]),
        last=wording.date(row["last_date"]),
    )
    return {
        "number": int(row["number"]),
        "do": text,
        "why": "; ".join(why) + ".",
        "worth": wording.say("advice.likely", p=p, **shares),
        "trend": trend,
        "is_ended": row["trend"] == "ended",
        "money": wording.money(row["money"]),
        "time": wording.say("advice.lost", money=wording.money(row["lost"])),
        "pips": ["is-wrong"] * count + ["is-right"] * (of - count) if of <= MOST_PIPS else [],
        "bar": f"{200 * count / of:.1f}",
        "said": wording.say("advice.pip_alt", part=part, **numbers),
        "cautions": list(row["cautions"]) if isinstance(row.get("cautions"), list) else [],
        "jobs": row.get("jobs") if isinstance(row.get("jobs"), str) else None,
    }


def adopted_rows(frame: pd.DataFrame, wording: Wording) -> list[dict[str, str]]:
    """Say of each advice taken up since when, what came of it, and the counts behind that.

    Parameters
    ----------
    frame
        One row an advice taken up: adopted_on (text, YYYY-MM-DD), the conditions and look_first as for `advice_rows`,
        before, before_of, after, after_of, last, last_of, others_before, others_before_of, others_after,
        others_after_of, expected_anyway, state.
    wording
        Language of the page.
    """
    said = []
    for row in frame.to_dict("records"):
        expected = row["expected_anyway"]
        gaps = {name: wording.number(row[name]) for name in _COUNTED} | {"expected": wording.percent(expected)}
        state = wording.say(f"adopted.{str(row['state']).replace(' ', '_')}", **gaps)
        said.append(
            {
                "since": wording.date(dt.date.fromisoformat(row["adopted_on"])),
                "do": wording.say(
                    "advice.do",
                    where=_where(row, wording),
                    look=wording.term(row["look_first"]),
                    part=wording.term(row["part"]),
                ),
                "state": state,
                "counts": wording.say("adopted.counts", **gaps),
            }
        )
    return said


_COUNTED = (
    "before", "before_of", "after", "after_of", "last", "last_of", "others_before", "others_before_of", "others_after",
    "others_after_of",
)  # fmt: skip


def quality_rows(frame: pd.DataFrame, wording: Wording) -> list[dict[str, Any]]:
    """Say each line of the section on records: what, how many, of how many, share."""
    rows = []
    for name, count, of in zip(frame["name"], frame["count"], frame["of"], strict=True):
        has_base = pd.notna(of) and of > 0
        rows.append(
            {
                "words": wording.say(f"quality.{name}"),
                "count": wording.number(count),
                "of": wording.number(of) if has_base else "",
                "share": wording.percent(count / of, 1) if has_base else "",
                "jobs": f"quality-{name}" if name in ("no_cause", "left_truncated") else None,
            }
        )
    return rows


def _sections(made: MonthFigures, pictures: list[Picture], wording: Wording) -> list[Section]:
    month = wording.month(made.period.last)
    names = [picture.name for picture in pictures]

    def section(name: str, shown: Callable[[str], bool], basis: str, **more: Any) -> Section:
        return Section(
            name, wording.say(f"sections.{name}"), basis, [picture for picture in names if shown(picture)], **more
        )

    again = [
        wording.say(
            "next_fault.again",
            kind=wording.term(kind),
            chance=wording.percent(chance),
            low=wording.percent(low),
            high=wording.percent(high),
        )
        for kind, chance, low, high in zip(
            *(made.frames["again"][name] for name in ("kind", "chance", "low", "high")), strict=True
        )
        if chance == chance
    ]
    fix_basis = wording.say("fix.basis", months=len(made.frames["fix_by_month"]), window=made.window_days)
    sections = [
        section("fix", fix_by_month.NAME.__eq__, fix_basis),
        section(
            "callbacks",
            callback_curve.NAME.__eq__,
            wording.say("callbacks.basis", window=made.window_days),
            lines=_late(made, wording),
        ),
        section(
            "swaps",
            wrong_swaps.NAME.__eq__,
            wording.say("swaps.basis", month=month)
            + wording.say("swaps.billed" if made.is_labour_billed else "swaps.lost", **_costs(made, wording)),
            table=swaps_table(made, wording),
            lines=_bounds(made, wording),
        ),
        section("causes", lambda name: name.startswith("causes-"), wording.say("causes.basis", month=month)),
        section("ages", lambda name: name.startswith("by-"), wording.say("ages.basis", month=month)),
        section(
            "technicians",
            technicians.NAME.__eq__,
            wording.say("technicians.basis"),
            lines=technicians.notes(list(made.frames["technicians"]["words"]), made.together["technicians"], wording),
        ),
        section("parts", parts_missing.NAME.__eq__, wording.say("parts.basis", month=month)),
        section("next_fault", next_fault.NAME.__eq__, wording.say("next_fault.basis", month=month), lines=again),
    ]
    sections += [
        Section(name, wording.say(f"sections.{name}"), wording.say(f"{name}.basis", **gaps), table=table)
        for name, table, gaps in (
            ("people_swaps", people_swaps(made, wording), {}),
            ("margins", margins(made, wording), _costs(made, wording)),
            ("families", families(made, wording), {"months": len(made.frames["fix_by_month"])}),
            ("seasons", seasons(made, wording), {}),
        )
        if len(table)
    ]
    if len(compared := branches(made, wording)):
        basis = wording.say("branches.basis", window=made.window_days)
        title = wording.say("sections.branches")
        sections.append(Section("branches", title, basis, table=compared, lines=_of_branches(made, wording)))
    if made.is_against:
        basis = wording.say("compare.basis", this=made.period.name(wording), other=made.period.before_name(wording))
        sections.insert(0, Section("compare", wording.say("compare.heading"), basis, table=comparison(made, wording)))
    return sections


def _bounds(made: MonthFigures, wording: Wording) -> list[str]:
    """Say what the year's share of wrong parts could be were the books worse than they look."""
    told = made.together["verdicts"]
    if told["share"] != told["share"]:
        return []
    shares = {name: wording.percent(told[name], 1) for name in ("share", "least", "most", "at_5", "at_10")}
    return [wording.say("swaps.bounds", judged=wording.number(told["judged"]), **shares)]


def _late(made: MonthFigures, wording: Wording) -> list[str]:
    late = int(made.frames["callback_curve"]["late"].max()) if len(made.frames["callback_curve"]) else 0
    return [wording.say("callbacks.late", n=late, window=made.window_days)] if late else []


def _costs(made: MonthFigures, wording: Wording) -> dict[str, str]:
    hour, trip, minutes = made.costs
    return {"hour": wording.money(hour), "trip": wording.money(trip), "minutes": wording.number(minutes)}


def swaps_table(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show the share of wrong parts by month; a month of which less than half has come to light says so."""
    frame = made.frames["swaps_by_month"]
    is_known = frame["rate"].notna()
    return pd.DataFrame(
        {
            wording.say("columns.month"): [wording.month(month) for month in frame["month"]],
            wording.say("columns.wrong"): [wording.number(n) for n in frame["wrong"]],
            wording.say("columns.judged"): [wording.number(n) for n in frame["judged"]],
            wording.say("columns.shown"): [wording.percent(share) for share in frame["shown"]],
            wording.say("columns.rate"): [
                f"{wording.percent(rate, 1)} ({wording.percent(low)} – {wording.percent(high)})"
                if known
                else wording.say("page.too_few" if share >= HALF else "swaps.too_early")
                for rate, low, high, known, share in zip(
                    *(frame[name] for name in ("rate", "low", "high")), is_known, frame["shown"], strict=True
                )
            ],
        }
    )


def people_swaps(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show wrong parts by technician, like work with like."""
    frame = made.frames["swaps_by_technician"]
    return pd.DataFrame(
        {
            wording.say("columns.technician"): [wording.term(name) for name in frame["technician"]],
            wording.say("columns.wrong"): [wording.number(n) for n in frame["wrong"]],
            wording.say("columns.judged"): [wording.number(n) for n in frame["judged"]],
            wording.say("columns.expected"): [wording.number(n, 1) for n in frame["expected"]],
            wording.say("columns.words"): [wording.say(f"technicians.{words}") for words in frame["words"]],
            wording.say("columns.together"): [wording.p_value(p) for p in frame["p_joint"]],
        }
    )


def branches(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show first-time fixes and returns by branch."""
    frame = made.frames["branches"]

    def shares(hits: str, of: str, *limits: str) -> list[str]:
        said = []
        for n, m, *values in zip(*(frame[name] for name in (hits, of, *limits)), strict=True):
            counted = wording.say("units.per_cent_of", x=wording.number(n), y=wording.number(m))
            rate, low, high = (wording.percent(value) for value in values)
            few = wording.say("page.too_few")
            said.append(f"{counted}: {few if values[0] != values[0] else f'{rate} ({low} – {high})'}")
        return said

    return pd.DataFrame(
        {
            wording.say("columns.branch"): [plain(name, 60) for name in frame["branch"]],
            wording.say("sections.fix"): shares("fixed", "known", "rate", "low", "high"),
            wording.say("columns.expected"): [wording.number(n, 1) for n in frame["expected"]],
            wording.say("columns.words"): [wording.say(f"technicians.{words}") for words in frame["words"]],
            wording.say("sections.callbacks"): shares("returns", "fixes", "back", "back_low", "back_high"),
        }
    )


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


def margins(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show what a visit brings over its hours and its road, by kind."""
    frame = made.frames["margins"]
    return pd.DataFrame(
        {
            wording.say("columns.kind"): [wording.term(kind) for kind in frame["kind"]],
            wording.say("columns.visits"): [
                wording.say("units.per_cent_of", x=wording.number(visits), y=wording.number(of))
                for visits, of in zip(frame["visits"], frame["of"], strict=True)
            ],
            wording.say("columns.charged"): [wording.money(money) for money in frame["charged"]],
            wording.say("columns.cost"): [wording.money(money) for money in frame["cost"]],
            wording.say("columns.margin"): [
                f"{wording.money(money)} ({wording.money(low)} – {wording.money(high)})"
                for money, low, high in zip(frame["margin"], frame["low"], frame["high"], strict=True)
            ],
        }
    )


def families(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show faults by model family against what is usual for the kind."""
    frame = made.frames["model_families"]
    return pd.DataFrame(
        {
            wording.say("columns.kind"): [wording.term(kind) for kind in frame["kind"]],
            wording.say("columns.family"): [
                " ".join(plain(text, 40) for text in pair if isinstance(text, str))
                for pair in zip(frame["make"], frame["model_family"], strict=True)
            ],
            wording.say("columns.units"): [wording.number(n) for n in frame["units"]],
            wording.say("columns.faults"): [wording.number(n) for n in frame["faults"]],
            wording.say("columns.usual"): [wording.number(n, 1) for n in frame["usual"]],
            wording.say("columns.complaint"): [
                f"{wording.term(complaint)} ({wording.number(times)})" if isinstance(complaint, str) else ""
                for complaint, times in zip(frame["complaint"], frame["times"], strict=True)
            ],
            wording.say("columns.chance"): [wording.p_value(p) for p in frame["p"]],
        }
    )


def seasons(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Show faults by kind and quarter of the year."""
    frame = made.frames["seasons"]
    quarters = {
        wording.say("columns.quarter", n=number): [wording.number(n) for n in frame[f"q{number}"]]
        for number in range(1, 5)
    }
    return pd.DataFrame(
        {
            wording.say("columns.kind"): [wording.term(kind) for kind in frame["kind"]],
            **quarters,
            wording.say("columns.years"): [wording.number(n) for n in frame["years"]],
            wording.say("columns.chance"): [wording.p_value(p) for p in frame["p"]],
        }
    )


def comparison(made: MonthFigures, wording: Wording) -> pd.DataFrame:
    """Put two periods side by side: each figure with its interval, and whether the difference is more than chance."""
    now = figures(made.now, made.before, made.changes, made.period, wording, made.window_days)
    other = figures(made.before, made.now, {}, made.period, wording, made.window_days)
    verdicts = []
    for figure in now:
        change = made.changes.get(figure.measure)
        if change is None or any(part != part for part in change):
            verdicts.append(wording.say("compare.unknown"))
        else:
            verdicts.append(wording.say("compare.chance" if change[1] <= 0 <= change[2] else "compare.real"))
    return pd.DataFrame(
        {
            wording.say("columns.figure"): [figure.label for figure in now],
            made.period.name(wording): [f"{figure.value} ({figure.interval})" for figure in now],
            made.period.before_name(wording): [f"{figure.value} ({figure.interval})" for figure in other],
            wording.say("columns.change"): verdicts,
        }
    )


def _definitions(made: MonthFigures, wording: Wording) -> list[tuple[str, str]]:
    entries = wording.section("definitions")
    gaps = {"window": made.window_days, "waiting": made.waiting_days}
    return [
        (entries[name], wording.say(f"definitions.{name}_text", **gaps))
        for name in entries
        if not name.endswith("_text")
    ]
