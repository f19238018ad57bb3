"""Tomorrow's round on one page: what to load, the calls, and a sheet for each that prints on one side of paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

from reports.pages.tapped_sheets import cost, percent, walks
from reports.render.links import links
from reports.render.page import render
from reports.render.wording import Finding, Sentence, Wording, Written, sentence, several, value_of

OUTCOMES = ("fixed", "part needed", "not fixed", "no fault found", "beyond economic repair")
SHOWN_CAUSES, SHOWN_PARTS, SHOWN_ADVICE = 5, 6, 3
SELDOM = 0.1  # expected use of a part under which it stands in a line of its own, smaller
LONG = 29  # rows of a tree that still print beside all else in full size; found by trying


def visit_sheets(
    calls: Sequence[Mapping[str, Any]],
    van: Mapping[str, Any],
    *,
    day: dt.date | None = None,
    wording: Wording | None = None,
    refused: Sequence[str] = (),
    remarks: Sequence[str] = (),
    ring_first: Sequence[Mapping[str, Any]] = (),
) -> str:
    """Write the page.

    Parameters
    ----------
    calls
        One object a call as in the JSON of `causes`, with ``tree`` (steps and branches), ``cautions_named`` (name and
        text), ``note`` and ``said`` (the complaint as written), ``tapped`` and ``record`` (see
        `reports.pages.tapped_sheets`) besides.
    van
        ``names`` (label of a part → how it is told), ``units`` (label → units to carry), ``expected_use`` (label →
        calls that need it), ``wanted`` (label → list of (call number, probability)), ``one_visit`` and
        ``one_visit_empty`` (expected calls that can be cured in one visit with this van and with none), ``all_cured``
        (chance that all can).
    day
        None = the file names no single day.
    wording
        The page's language and money; English and pounds when left out.
    refused
        Calls that could not be planned, in words.
    remarks
        What else the technician should know of the calls, in words.
    ring_first
        Calls whose customer is rung before the round begins: call, kind, cautions by name, texts.

    Returns
    -------
    str
        The whole page.
    """
    wording = wording or Wording()
    css, script = (
        (files("reports") / "templates" / f"visit_sheets.{of}").read_text(encoding="utf-8") for of in ("css", "js")
    )
    minutes = sum(call["expected"]["minutes"] or 0 for call in calls)
    count = sentence("round.calls", n=len(calls))
    return render(
        "visit_sheets.html",
        title=wording.tell("round.title_day", day=Written(wording.day(day))) if day else wording.say("round.title"),
        language=wording.language,
        words=wording.section("page"),
        css=css,
        script=script,
        walks=walks(calls, day, wording) if calls else None,
        say=wording.say,
        told=wording.told,
        sheets=[_sheet(number, call, van, wording) for number, call in enumerate(calls, start=1)],
        van=_van(van, len(calls), wording),
        stamp=wording.stamp(day) if day else None,
        kicker=wording.tell("round.kicker", calls=count, hours=Written(wording.hours(minutes))),
        headline=_headline(calls, van, wording),
        ring=[_ring(row) for row in ring_first],
        refused=several(refused),
        remarks=several(remarks),
        outcomes=OUTCOMES,
    )


def _ring(row: Mapping[str, Any]) -> dict[str, Any]:
    call = sentence("round.ring_call", call=Written(str(row["call"])), kind=row["kind"], cautions=row["cautions"])
    return {"anchor": f"call-{row['call']}", "call": call, "texts": row["texts"]}


def _headline(calls: Sequence[Mapping[str, Any]], van: Mapping[str, Any], wording: Wording) -> str:
    if not calls:
        return wording.say("round.nothing")
    count, units = sentence("round.calls", n=len(calls)), sum(van["units"].values())
    if not units:
        return wording.tell("round.no_part_to_load", calls=count)
    parts, visits = sentence("round.parts", n=units), _calls(van["one_visit"], wording)
    return wording.tell("round.load", parts=parts, visits=visits, calls=count)


def _van(van: Mapping[str, Any], calls: int, wording: Wording) -> dict[str, Any]:
    use_of = van["expected_use"]
    names, use = van["names"], {part: wording.number(use, 2) for part, use in van["expected_use"].items()}

    def wanted_by(part: str) -> str:
        wanted = [(number, p) for number, p in van["wanted"].get(part, [])[:4] if p >= 0.005]
        told = ", ".join(f"{number} ({wording.percent(p)})" for number, p in wanted)
        return wording.tell("round.of_calls", calls=Written(told))

    load = [
        {
            "is_seldom": use_of[part] < SELDOM,
            "part": wording.told(names[part]),
            "units": f"{units} ×",
            "calls": wanted_by(part),
            "use_number": use[part],
            "use": wording.tell("round.expected", use=Written(use[part])),
        }
        for part, units in van["units"].items()
    ]
    left = [part for part in use if part not in van["units"]][:5]
    cured = {"visits": van["one_visit"], "without": van["one_visit_empty"]}
    basis = wording.tell(
        "round.van_basis",
        calls=sentence("round.calls", n=calls),
        all=percent(van["all_cured"], wording),
        **{name: _calls(amount, wording) for name, amount in cured.items()},
    )
    told = ", ".join(f"{wording.told(names[part])} ({use[part]})" for part in left)
    seldom = ", ".join(f"{row['units']} {row['part']} ({row['use_number']})" for row in load if row["is_seldom"])
    often = [row for row in load if not row["is_seldom"]]
    return {"load": often, "seldom": seldom, "basis": basis if calls else "", "leave": told}


def _calls(expected: float, wording: Wording) -> Sentence | Written:
    """So many calls of a round, as one counts them: an expectation has no half calls."""
    return sentence("round.under_one") if 0 < expected < 0.5 else Written(wording.number(expected))


def _sheet(number: int, call: Mapping[str, Any], van: Mapping[str, Any], wording: Wording) -> dict[str, Any]:
    asked, expected, quote, told = call["asked"], call["expected"], call["quote"], wording.told
    unit = " ".join([told(asked["kind"]), *(part for part in (asked["make"], asked["model"]) if part)])
    has_plan = expected["minutes"] is not None
    advice = {
        row["part"]: wording.tell("round.not_the_cause", count=row["count"], of=row["of"]) for row in call["advice"]
    }
    return {
        "anchor": f"call-{number}",
        "number": number,
        "unit": unit[:1].upper() + unit[1:],
        "fault": ", ".join([*map(told, asked["complaint"]), *asked["code"]])
        or wording.say("round.not_understood_complaint"),
        "first": told(_told(call["tree"]["steps"][0])),
        "first_cautions": call["tree"]["steps"][0]["caution_names"],
        "said": call["said"],
        "facts": told(_facts(call)),
        "not_understood": ", ".join(call["not_understood"]),
        "unit_history": call["unit_lines"],
        "photos": [link for cell in call.get("photos", ()) for link in links(cell)],
        "expect": (
            [
                (wording.say("round.minutes"), wording.number(expected["minutes"])),
                (wording.say("round.money"), wording.whole_money(expected["money"])),
                (wording.say("round.visits"), wording.number(expected["visits"], 1)),
            ]
            if has_plan
            else []
        ),
        "way_title": wording.say("round.way" if has_plan else "round.what_to_do"),
        "tree": _row(call["tree"], advice, wording),
        "is_long": _lines(call["tree"]) > LONG,
        "causes": [_cause(row, call["evidence"]["similar_jobs"], wording) for row in call["causes"][:SHOWN_CAUSES]]
        + [_none(call["none_of_these"], wording)] * bool(call["causes"]),
        "note": _sentence(told(call["note"])),
        "carry": [_part(row, van["units"], wording) for row in call["carry"][:SHOWN_PARTS]],
        "quote": _quote(quote, wording) if quote["p50"] is not None else None,
        "remark": _sentence(told(call["repair_or_replace"] or "")),
        "advice": [
            {"text": _sentence(told(row["text"])), "caution_names": row["caution_names"]}
            for row in call["advice"][:SHOWN_ADVICE]
        ],
        "dangers": [one for one in call["cautions_named"] if one["is_danger"]],
        "cautions": [one for one in call["cautions_named"] if not one["is_danger"]],
    }


def _facts(call: Mapping[str, Any]) -> list[Sentence]:
    """What is known of the call: age, codes, findings, job number."""
    asked = call["asked"]
    seen = [found.partition("=") for found in asked["found"]]
    facts = [sentence("round.old", age=call["age"]) if asked["age_years"] is not None else call["age"]]
    facts += [sentence("round.shows", code=Written(code)) for code in asked["code"]]
    facts += [sentence("answer.found", finding=Finding(name), value=value_of(name, value)) for name, _, value in seen]
    return facts + ([sentence("round.job", job=Written(call["job_no"]))] if call["job_no"] else [])


def _quote(quote: Mapping[str, Any], wording: Wording) -> dict[str, str]:
    ends = {name: Written(wording.whole_money(quote[point])) for name, point in (("low", "p10"), ("high", "p90"))}
    is_one = ends["low"] == ends["high"]
    told = "" if is_one else wording.tell("round.quote_range", **ends)
    basis = wording.say("answer.quote_without_call_out")
    return {"middle": wording.whole_money(quote["p50"]), "range": told, "basis": basis}


def _row(tree: Mapping[str, Any], advice: Mapping[str, str], wording: Wording) -> dict[str, Any]:
    return {
        "steps": [
            {
                "do": step["do"],
                "name": wording.told(_told(step)),
                "cost": cost(step, wording),
                "caution_names": step["caution_names"],
                "vain": "; ".join(advice[part] for part in step["parts"] if part in advice),
            }
            for step in tree["steps"]
        ],
        "branches": [
            {
                "label": wording.told(branch["label"]),
                "chance": percent(branch["chance"], wording),
                "leading": f"{wording.told(branch['leading'])} {percent(branch['leading_chance'], wording)}",
                "then": _row(branch["then"], advice, wording) if branch["then"] else None,
            }
            for branch in tree["branches"]
        ],
    }


def _lines(tree: Mapping[str, Any]) -> int:
    """Rows that a tree takes on the sheet; a step with a look before it takes two."""
    inside = sum(1 + (_lines(branch["then"]) if branch["then"] else 0) for branch in tree["branches"])
    return sum(2 if step["look_minutes"] else 1 for step in tree["steps"]) + inside


def _told(step: Mapping[str, Any]) -> Sentence | str:
    name: str = step["name"]
    return sentence("answer.if_faulty", step=name) if step["look_minutes"] else name


def _cause(row: Mapping[str, Any], similar: int, wording: Wording) -> dict[str, Any]:
    low, high = (round(100 * row[name], 1) for name in ("low", "high"))
    jobs = [Written(job) for job in row["jobs"][:2]]
    return {
        "cause": wording.told(row["cause"]),
        "percent": percent(row["probability"], wording),
        "width": str(round(100 * row["probability"], 1)),
        "low": str(low),
        "spread": str(round(high - low, 1)) if similar else "",
        "jobs": wording.tell("round.similar", count=row["similar_jobs"], of=similar, jobs=jobs) if jobs else "",
    }


def _none(p: float, wording: Wording) -> dict[str, Any]:
    return {
        "cause": wording.told("none of these"),
        "percent": wording.chance(p),
        "width": str(round(100 * p, 1)),
        "low": "0",
        "spread": "",
        "jobs": "",
    }


def _part(row: Mapping[str, Any], units: Mapping[str, int], wording: Wording) -> dict[str, Any]:
    in_van = units.get(row.get("label", row["part"]), 0) > 0
    where = "in_van" if in_van else "to_be_ordered" if row.get("is_lacking") else "not_carried"
    return {
        "part": wording.told(row["part"]),
        "percent": percent(row["probability"], wording),
        "is_in_van": in_van,
        "where": wording.say(f"round.{where}"),
    }


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
