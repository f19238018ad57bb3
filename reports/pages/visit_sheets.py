"""Tomorrow's round on one page: what to load, the calls, and a sheet for each that prints on one side of paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

from reports.pages.tapped_sheets import cost, percent, walks
from reports.render.currency import money
from reports.render.page import plain, render

OUTCOMES = ("fixed", "part needed", "not fixed", "no fault found", "beyond economic repair")
SHOWN_CAUSES, SHOWN_PARTS, SHOWN_ADVICE = 5, 6, 3
LONG = 29  # rows of a tree that still print beside all else in full size; found by trying
FOOTNOTE = (
    "Odds come from this workshop's cured jobs; minutes and money from its records, shrunk to the word lists. "
    "A check is listed because it pays on average, not because it is always needed."
)


def visit_sheets(
    calls: Sequence[Mapping[str, Any]],
    van: Mapping[str, Any],
    *,
    day: Mapping[str, str] | None = None,
    currency: str = "GBP",
    refused: Sequence[str] = (),
    remarks: Sequence[str] = (),
) -> str:
    """Write the page.

    Parameters
    ----------
    calls
        One object a call as in the JSON of `causes`, with ``tree`` (steps and branches), ``cautions_named`` (name and
        text), ``said`` (the complaint as written), ``tapped`` and ``record`` (see `reports.pages.tapped_sheets`)
        besides.
    van
        ``units`` (part → units to carry), ``expected_use`` (part → calls that need it), ``wanted`` (part → list of
        (call number, probability)), ``one_visit`` and ``one_visit_empty`` (expected calls that can be cured in one
        visit with this van and with none), ``all_cured`` (chance that all can).
    day
        ``number``, ``month``, ``weekday`` in words; None = the file names no single day.
    currency
        ISO 4217 code.
    refused
        Calls that could not be planned, in words.
    remarks
        What else the technician should know of the calls, in words.

    Returns
    -------
    str
        The whole page.
    """
    css, script = (
        (files("reports") / "templates" / f"visit_sheets.{of}").read_text(encoding="utf-8") for of in ("css", "js")
    )
    sheets = [_sheet(number, call, van, currency) for number, call in enumerate(calls, start=1)]
    minutes = sum(call["expected"]["minutes"] or 0 for call in calls)
    return render(
        "visit_sheets.html",
        title="Round" + (f", {day['weekday']} {day['number']} {day['month']}" if day else ""),
        css=css,
        script=script,
        walks=walks(calls, day, currency) if calls else None,
        sheets=sheets,
        van=_van(van, len(calls)),
        day=day,
        kicker=f"{_count(len(calls), 'call')}, about {minutes / 60:.1f} hours on the job and for return visits",
        headline=_headline(calls, van),
        calls_basis="What to do first at each. Tap a call for its sheet; printed, each sheet is one page.",
        refused="; ".join(plain(text) for text in refused),
        remarks="; ".join(plain(text) for text in remarks),
        outcomes=OUTCOMES,
        footnote=FOOTNOTE,
    )


def _headline(calls: Sequence[Mapping[str, Any]], van: Mapping[str, Any]) -> str:
    if not calls:
        return "No call to plan"
    units = sum(van["units"].values())
    return (
        f"Load {_count(units, 'part')}: what is needed should be aboard at {van['one_visit']:.1f} of "
        f"{_count(len(calls), 'call')}"
        if units
        else f"{_count(len(calls), 'call')}, no part to load"
    )


def _van(van: Mapping[str, Any], calls: int) -> dict[str, Any]:
    load = [
        {
            "part": part,
            "units": f"{units} ×",
            "calls": "call "
            + ", ".join(f"{number} ({p:.0%})" for number, p in van["wanted"].get(part, [])[:4] if p >= 0.005),
            "use": f"{van['expected_use'][part]:.2f} expected",
        }
        for part, units in van["units"].items()
    ]
    left = [part for part in van["expected_use"] if part not in van["units"]][:5]
    basis = (
        f"With these parts {van['one_visit']:.1f} of {_count(calls, 'call')} can be cured in one visit, without any "
        f"{van['one_visit_empty']:.1f}, once the cause is found. Chance that all can: {percent(van['all_cured'])}."
        if calls
        else ""
    )
    return {"load": load, "basis": basis, "leave": ", ".join(f"{p} ({van['expected_use'][p]:.2f})" for p in left)}


def _sheet(number: int, call: Mapping[str, Any], van: Mapping[str, Any], currency: str) -> dict[str, Any]:
    asked, expected, quote = call["asked"], call["expected"], call["quote"]
    unit = " ".join(part for part in (asked["make"], asked["model"]) if part)
    age = f"{asked['age_years']:.0f} years old" if asked["age_years"] is not None else "age not known"
    facts = [age, *(f"shows {code}" for code in asked["code"]), *(f"{seen}" for seen in asked["found"])]
    facts += [f"job {call['job_no']}"] if call["job_no"] else []
    money = _money(currency)
    has_plan = expected["minutes"] is not None
    advice = {row["part"]: f"not the cause {row['count']} of {row['of']} times" for row in call["advice"]}
    return {
        "anchor": f"call-{number}",
        "number": number,
        "unit": f"{asked['kind'].capitalize()} {unit}".strip(),
        "fault": ", ".join([*asked["complaint"], *asked["code"]]) or "complaint not understood",
        "first": _told(call["tree"]["steps"][0]),
        "first_cautions": call["tree"]["steps"][0]["caution_names"],
        "said": call["said"],
        "facts": ", ".join(facts),
        "not_understood": ", ".join(call["not_understood"]),
        "unit_history": call.get("unit_lines", []),
        "expect": (
            [
                ("minutes", f"{expected['minutes']:.0f}"),
                ("money", money(expected["money"])),
                ("visits", f"{expected['visits']:.1f}"),
            ]
            if has_plan
            else []
        ),
        "way_title": "The cheapest sound way through" if has_plan else "What to do",
        "tree": _row(call["tree"], advice, currency),
        "is_long": _lines(call["tree"]) > LONG,
        "causes": [_cause(row, call["evidence"]["similar_jobs"]) for row in call["causes"][:SHOWN_CAUSES]]
        + [_none(call["none_of_these"])] * bool(call["causes"]),
        "note": _sentence(call["evidence"]["note"]),
        "carry": [_part(row, van["units"]) for row in call["carry"][:SHOWN_PARTS]],
        "quote": (
            {"middle": money(quote["p50"]), "range": f"is the middle; {money(quote['p10'])} to {money(quote['p90'])}"}
            if quote["p50"] is not None
            else None
        ),
        "remark": _sentence(call["repair_or_replace"] or ""),
        "advice": [
            {"text": _sentence(row["text"]), "caution_names": row["caution_names"]}
            for row in call["advice"][:SHOWN_ADVICE]
        ],
        "cautions": call["cautions_named"],
    }


def _row(tree: Mapping[str, Any], advice: Mapping[str, str], currency: str) -> dict[str, Any]:
    return {
        "steps": [
            {
                "do": step["do"],
                "name": _told(step),
                "cost": cost(step, currency),
                "caution_names": step["caution_names"],
                "vain": "; ".join(advice[part] for part in step["parts"] if part in advice),
            }
            for step in tree["steps"]
        ],
        "branches": [
            {
                "label": branch["label"],
                "chance": percent(branch["chance"]),
                "leading": f"{branch['leading']} {percent(branch['leading_chance'])}",
                "then": _row(branch["then"], advice, currency) if branch["then"] else None,
            }
            for branch in tree["branches"]
        ],
    }


def _lines(tree: Mapping[str, Any]) -> int:
    """Rows that a tree takes on the sheet; a step with a look before it takes two."""
    inside = sum(1 + (_lines(branch["then"]) if branch["then"] else 0) for branch in tree["branches"])
    return sum(2 if step["look_minutes"] else 1 for step in tree["steps"]) + inside


def _told(step: Mapping[str, Any]) -> str:
    return f"{step['name']}, if faulty" if step["look_minutes"] else str(step["name"])


def _cause(row: Mapping[str, Any], similar: int) -> dict[str, Any]:
    low, high = (round(100 * row[name], 1) for name in ("low", "high"))
    jobs = ", ".join(row["jobs"][:2])
    return {
        "cause": row["cause"],
        "percent": percent(row["probability"]),
        "width": str(round(100 * row["probability"], 1)),
        "low": str(low),
        "spread": str(round(high - low, 1)) if similar else "",
        "jobs": f"{row['similar_jobs']} of {similar}: {jobs}" if jobs else "",
    }


def _none(p: float) -> dict[str, Any]:
    return {
        "cause": "none of these",
        "percent": percent(p),
        "width": str(round(100 * p, 1)),
        "low": "0",
        "spread": "",
        "jobs": "",
    }


def _part(row: Mapping[str, Any], units: Mapping[str, int]) -> dict[str, Any]:
    in_van = units.get(row.get("label", row["part"]), 0) > 0
    return {
        "part": row["part"],
        "percent": percent(row["probability"]),
        "is_in_van": in_van,
        "where": "in the van" if in_van else "not carried",
    }


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] if text else ""


def _money(currency: str) -> Any:
    return lambda amount: money(amount, currency)
