"""How a row of advice is said: what to do, why, what it costs, and what came of it once it was taken up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from reports.render.wording import Finding, Wording, value_of

MOST_PIPS = 40
UNRECORDED = " not recorded"  # as `models.advice.find` writes it
MOSTLY = 0.6  # of the wrong parts by one technician: that is told


def advice_rows(frame: pd.DataFrame, wording: Wording) -> list[dict[str, Any]]:
    """Say each advice row: what to do, why, and what it costs.

    Parameters
    ----------
    frame
        Rows worth most first: number, part, kind, make, complaint, code, finding, count, of, share, low, usual,
        p_adjusted, trend, recent_count, recent_of, first_date, last_date, lost, money, usually, usually_count,
        suspects, look_first, most_by_one, kinds, jobs
        (key of its list), and where known cautions (texts). A missing condition = the pattern holds whatever it is.
    wording
        Language and money.
    """
    return [_advice(row, wording) for row in frame.to_dict("records")]


def what_to_do(pattern: Mapping[Any, Any], wording: Wording, *, kinds: Sequence[str] = ()) -> str:
    """Say in one sentence what to look at before fitting which part, and where.

    Parameters
    ----------
    pattern
        part, kind, make, complaint, code, finding (missing = any) and look_first.
    wording
        Language of the sentence.
    kinds
        The kinds its jobs were of, told where the pattern names none.
    """
    where = _where(pattern, wording)
    if kinds and not isinstance(pattern["kind"], str):
        where += wording.say("advice.on_kind", kind=wording.list_of([wording.term(kind) for kind in kinds]))
    return wording.say(
        "advice.do", where=where, look=wording.told(str(pattern["look_first"])), part=wording.term(pattern["part"])
    )


def _where(pattern: Mapping[Any, Any], wording: Wording) -> str:
    has_complaint = isinstance(pattern["complaint"], str)
    key = "advice.on_complaint" if has_complaint else "advice.any_complaint"
    where = wording.say(key, complaint=wording.term(pattern["complaint"]))
    if isinstance(pattern["finding"], str):
        where += _seen(pattern["finding"], wording)
    for name in ("code", "make", "kind"):
        if isinstance(pattern[name], str):
            where += wording.say(f"advice.on_{name}", **{name: wording.term(pattern[name])})
    return where


def _seen(finding: str, wording: Wording) -> str:
    """Say "finding=value", or "finding not recorded"."""
    name, _, value = finding.partition("=")
    if value:
        return wording.tell("advice.on_finding", finding=Finding(name), value=value_of(name, value))
    return wording.tell("advice.on_unrecorded", finding=Finding(finding.removesuffix(UNRECORDED)))


def _advice(row: Mapping[Any, Any], wording: Wording) -> dict[str, Any]:
    part, count, of = wording.term(row["part"]), int(row["count"]), int(row["of"])
    usually = row["usually"] if isinstance(row["usually"], str) else ""
    suspects = list(row["suspects"])
    numbers = {"count": wording.number(count), "of": wording.number(of)}
    why = [wording.say("advice.count", **numbers)]
    if usually:
        key = "advice.usually" if len(suspects) == 1 else "advice.often"
        times = wording.number(row["usually_count"])
        why.append(wording.say(key, usually=wording.term(usually), times=times, count=numbers["count"]))
    if row["most_by_one"] >= MOSTLY * count:
        why.append(wording.say("advice.by_one", times=wording.number(row["most_by_one"]), count=numbers["count"]))
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
        "do": what_to_do(row, wording, kinds=row["kinds"]),
        "why": "; ".join(why) + ".",
        "worth": wording.say("advice.likely", p=p, **shares),
        "trend": trend,
        "is_ended": row["trend"] == "ended",
        "money": wording.whole_money(row["money"]),
        "time": wording.say("advice.lost", money=wording.whole_money(row["lost"])),
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
                "do": what_to_do(row, wording),
                "state": state,
                "counts": wording.say("adopted.counts", **gaps),
            }
        )
    return said


_COUNTED = (
    "before", "before_of", "after", "after_of", "last", "last_of", "others_before", "others_before_of", "others_after",
    "others_after_of",
)  # fmt: skip
