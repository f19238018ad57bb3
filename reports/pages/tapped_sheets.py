"""What lets a page of visit sheets be tapped through: each call's decision tree, and the record its taps make."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from reports.render.plain_text import plain
from reports.render.wording import NO_BREAK, Wording, Written

OUTCOMES = (
    "fixed",
    "part needed",
    "not fixed",
    "no fault found",
    "declined",
    "beyond economic repair",
    "advice only",
    "no access",
)


def walks(calls: Sequence[Mapping[str, Any]], day: dt.date | None, wording: Wording) -> dict[str, Any]:
    """Gather what the page's script needs, each tree once however many calls share it.

    Parameters
    ----------
    calls
        Each with ``tapped`` (a tree; see `pipeline.on_site.tapped_tree`) and ``record``: ``line`` (column
        → text), ``findings`` (pairs known before the visit).
    day
        As for the page.
    wording
        As for the page.
    """
    places: dict[str, int] = {}
    trees: list[dict[str, Any]] = []
    told = []
    for call in calls:
        tree = _tree(call["tapped"], wording)
        text = json.dumps(tree)
        if text not in places:
            places[text] = len(trees)
            trees.append(tree)
        line = {name: plain(value, 1000) for name, value in call["record"]["line"].items() if value}
        told.append({"tree": places[text], "record": line, "findings": call["record"]["findings"]})
    whole = json.dumps([told, trees], sort_keys=True)
    return {
        "id": hashlib.sha256(whole.encode()).hexdigest()[:16],
        "name": f"visits-{day.isoformat() if day else 'round'}",
        "fields": list(calls[0]["record"]["line"]),
        "outcomes": [[name, wording.told(name)] for name in OUTCOMES],
        "words": wording.section("tapped"),
        "calls": told,
        "trees": trees,
        "danger_texts": {name: text for call in calls for name, text in call["tapped"]["danger_texts"].items()},
    }


def _tree(tapped: Mapping[str, Any], wording: Wording) -> dict[str, Any]:
    """Write a tree in the short form that the script reads: points are lists, not objects."""
    return {
        "steps": [_step(step, wording) for step in tapped["steps"]],
        "points": [
            [
                point["step"],
                *([point["ahead"][0], wording.whole_money(point["ahead"][1])] if point["ahead"] else [None, None]),
                [number for row in point["odds"] for number in row],
                point["leads_to"],
            ]
            for point in tapped["points"]
        ],
        "causes": [[plain(text) for text in names] for names in tapped["causes"]],
        "cautions": tapped["cautions"],
        "burnt": {seen: [plain(what), causes] for seen, (what, causes) in tapped["burnt"].items()},
        "looks": [[plain(look), heed] for look, heed in tapped["looks"]],
        "dangers": [[plain(name), plain(label), heed] for name, label, heed in tapped["dangers"]],
    }


def _step(step: Mapping[str, Any], wording: Wording) -> dict[str, Any]:
    return {
        "do": step["do"],
        "told": plain(step["told"]),
        "cost": cost(step, wording),
        "heed": step["caution_names"],
        "vain": [plain(text) for text in step["vain"]],
        "parts": step["parts"],
        "keys": [[plain(label), does, plain(text), cause] for label, does, text, cause in step["keys"]],
    }


def cost(step: Mapping[str, Any], wording: Wording) -> str:
    """Minutes of a step where known, money where a part is fitted, and how often it cures where that is told."""
    if step["do"] in ("hand over", "ask"):
        return ""
    look, minutes = round(step["look_minutes"]), round(step["minutes"])
    time = wording.tell("answer.look_fit" if look else "answer.minutes", look=look, minutes=minutes)
    pieces = time.split(", ") if look or minutes else []
    pieces += [wording.whole_money(step["money"])] if step["parts"] else []
    if step.get("cures_probability"):
        pieces.append(wording.tell("answer.cures", chance=percent(step["cures_probability"], wording)))
    return ", ".join(piece.replace(" ", NO_BREAK) for piece in pieces)


def percent(p: float, wording: Wording) -> Written:
    """Write a probability; what is small is not told as nothing."""
    return Written(wording.chance(p))
