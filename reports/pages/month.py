"""The owner's month as one page: figures in, a self-contained page out, each figure tied to its jobs."""

from __future__ import annotations

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
from reports.pages.advice_rows import adopted_rows, advice_rows
from reports.pages.headline import figures, sentence, state
from reports.pages.job_lists import job_block
from reports.pages.month_figures import MonthFigures
from reports.pages.month_sections import sections
from reports.pages.month_tables import quality_rows
from reports.render.page import render
from reports.render.picture import Picture
from reports.render.plain_text import plain
from reports.render.wording import Wording


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
    return render(
        "month.html",
        title=wording.say("page.title", month=month),
        language=wording.language,
        pictures=pictures,
        jobs=block,
        words=wording.section("page"),
        wording=wording,
        kicker=_kicker(made, wording),
        stamp=_stamp(made, wording),
        sentence=sentence(made.now, made.before, made.changes, made.period, wording),
        figures=shown,
        advice=[row for row in advice if not row["is_ended"]],
        ended=[row for row in advice if row["is_ended"]],
        adopted=adopted_rows(made.frames["adopted"], wording),
        cautions=list(dict.fromkeys(wording.told(text) for row in advice for text in row["cautions"])),
        advice_basis=wording.say("advice.basis", as_of=wording.date(made.as_of)),
        whose=_whose(made, wording),
        sections=sections(made, pictures, wording),
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


def _kicker(made: MonthFigures, wording: Wording) -> str:
    view, visits = _view(made, wording), wording.number(made.visits)
    if view:
        return wording.say("page.kicker_view", view=view, visits=visits)
    is_one = made.period.first == made.period.last
    return wording.say("page.kicker" if is_one else "page.kicker_period", visits=visits)


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
    return {
        "word": wording.month_name(last, short=True)
        if is_one
        else f"{wording.month_name(made.period.first, short=True)} – {wording.month_name(last, short=True)}",
        "number": f"{last.month:02d}" if is_one else f"{made.period.first.month:02d}–{last.month:02d}",
        "year": str(last.year),
        "state": state(made.now, wording),
    }


def _definitions(made: MonthFigures, wording: Wording) -> list[tuple[str, str]]:
    entries = wording.section("definitions")
    gaps = {"window": made.window_days, "waiting": made.waiting_days}
    return [
        (entries[name], wording.say(f"definitions.{name}_text", **gaps))
        for name in entries
        if not name.endswith("_text")
    ]
