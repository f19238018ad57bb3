"""What lets a page of visit sheets be tapped through: each call's decision tree, and the record its taps make."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from reports.render.currency import money
from reports.render.page import plain

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
NO_BREAK = "\N{NO-BREAK SPACE}"
WORDS = {
    "ahead": "about {minutes} min and {money} still ahead",
    "all_calls": "All calls",
    "undo": "Undo",
    "end_now": "End the visit here",
    "how_ended": "How did it end?",
    "really_was": "What it really was",
    "or_else": "or, in your words",
    "in_own_words": "as you would write it",
    "not_known": "not known",
    "minutes": "Minutes on the job",
    "begun": "begun",
    "ask_again": "Ask again from here",
    "ask_again_how": (
        "This way was too rare to go into this page. Telephone, or ask with priorjobs causes -i what comes next; "
        "or end the visit below. What you tapped is kept."
    ),
    "finished": "{done} of {calls} calls ended.",
    "unfinished": "Begun and not ended, so not in the file: call {which}.",
    "kept": "Kept in this phone, also when the page is closed. No customer's name or reference is in it.",
    "not_kept": "This browser keeps nothing: save or copy before you close the page.",
    "save": "Save as CSV",
    "copy": "Copy as text",
    "copied": "Copied",
    "text": "The record as text",
}


def walks(calls: Sequence[Mapping[str, Any]], day: Mapping[str, str] | None, currency: str) -> dict[str, Any]:
    """Gather what the page's script needs, each tree once however many calls share it.

    Parameters
    ----------
    calls
        Each with ``tapped`` (a tree: ``steps``, ``points``, ``causes``, ``cautions``) and ``record``: ``line`` (column
        → text), ``findings`` (pairs known before the visit).
    day
        As for the page.
    currency
        ISO 4217 code.
    """
    places: dict[str, int] = {}
    trees: list[dict[str, Any]] = []
    told = []
    for call in calls:
        tree = _tree(call["tapped"], currency)
        text = json.dumps(tree)
        if text not in places:
            places[text] = len(trees)
            trees.append(tree)
        line = {name: plain(value, 1000) for name, value in call["record"]["line"].items() if value}
        told.append({"tree": places[text], "record": line, "findings": call["record"]["findings"]})
    whole = json.dumps([told, trees], sort_keys=True)
    return {
        "id": hashlib.sha256(whole.encode()).hexdigest()[:16],
        "name": "visits-" + "-".join((day or {"number": "round"}).values()).lower(),
        "fields": list(calls[0]["record"]["line"]),
        "outcomes": [[name, name] for name in OUTCOMES],
        "words": WORDS,
        "calls": told,
        "trees": trees,
    }


def _tree(tapped: Mapping[str, Any], currency: str) -> dict[str, Any]:
    """Write a tree in the short form that the script reads: points are lists, not objects."""
    return {
        "steps": [_step(step, currency) for step in tapped["steps"]],
        "points": [
            [
                point["step"],
                *([point["ahead"][0], money(point["ahead"][1], currency)] if point["ahead"] else [None, None]),
                point["cause"],
                [number for row in point["odds"] for number in row],
                point["leads_to"],
            ]
            for point in tapped["points"]
        ],
        "causes": [[plain(text) for text in names] for names in tapped["causes"]],
        "cautions": tapped["cautions"],
    }


def _step(step: Mapping[str, Any], currency: str) -> dict[str, Any]:
    return {
        "do": step["do"],
        "told": plain(step["told"]),
        "cost": cost(step, currency),
        "heed": step["caution_names"],
        "vain": [plain(text) for text in step["vain"]],
        "parts": step["parts"],
        "keys": [[plain(label), does, plain(text)] for label, does, text in step["keys"]],
    }


def cost(step: Mapping[str, Any], currency: str) -> str:
    """Minutes of a step, money where a part is fitted, and how often it cures where that is told."""
    if step["do"] in ("hand over", "ask"):
        return ""
    look = step["look_minutes"]
    pieces = [f"look {look:.0f} min", f"fit {step['minutes']:.0f} min"] if look else [f"{step['minutes']:.0f} min"]
    pieces += [money(step["money"], currency)] if step["parts"] else []
    pieces += [f"cures {percent(step['cures_probability'])}"] if step.get("cures_probability") else []
    return ", ".join(piece.replace(" ", NO_BREAK) for piece in pieces)


def percent(p: float) -> str:
    """Write a probability; what is small is not told as nothing."""
    return "under 1%" if 0 < p < 0.005 else f"{p:.0%}"
