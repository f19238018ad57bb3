"""The keys of a visit: what each means at a step, and what happened when it was pressed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.on_site.step_by_step import Event
from pipeline.visit.ask_first import COMPLAINT
from pipeline.visit.plan import CHANGES, HAND_OVER
from reports.render.wording import value_of

if TYPE_CHECKING:
    from pipeline.visit.answer import Answer
    from pipeline.visit.plan import Step

CANNOT_TELL, UNDO, STOP, SEEN, END, LOOKS_GOOD = "0", "u", "q", "f", "x", "3"
ENDINGS = {
    "1": "part needed",
    "2": "not fixed",
    "3": "beyond economic repair",
    "4": "advice only",
    "5": "no fault found",
    "6": "declined",
    "7": "fixed",
    "8": "no access",
}
PRESSED = re.compile(rf"[{UNDO}{STOP}{END}{SEEN}]|{END} \d")
NO_CAUSE = ("no fault found", "no access")  # endings after which nobody knows what it was


def choices(now: Answer, step: Step) -> dict[str, str]:
    """Keys to press and what each means."""
    keys: dict[str, str]
    if step.do == "ask":
        keys = {str(number): option for number, option in enumerate(step.options, start=1)}
        keys[CANNOT_TELL] = "cannot tell"
    elif now.visit is None:
        return {}
    elif step.do == "check":
        card = now.visit.checks[now.visit.plan.root.step]
        keys = {str(number): value_of(card.finding, value) for number, value in enumerate(card.values, start=1)}
        keys[CANNOT_TELL] = "cannot tell"
    elif step.do == HAND_OVER:
        keys = dict(ENDINGS)
    elif step.do in CHANGES:
        keys = {"1": "done"}
    else:
        keys = {"1": "cured", "2": "not cured", CANNOT_TELL: "not done"}
        if step.look_minutes:
            keys = {"1": "fitted, cured", "2": "fitted, not cured", LOOKS_GOOD: "looks good", CANNOT_TELL: "not done"}
    ending = {} if step.do == HAND_OVER else {f"{END} …": "end the visit"}
    return {**keys, f"{SEEN} …": "something else seen", **ending, UNDO: "undo", STOP: "stop"}


def event_of(now: Answer, step: Step, key: str, label: str) -> Event:
    """What happened when one of the `choices` of a step was pressed."""
    from models.plan.plan import state_after

    if step.do == "ask":
        told = Event("seen", step.about, label) if step.about != COMPLAINT else Event("said", label)
        return Event("cannot tell", step.about) if key == CANNOT_TELL else told
    assert now.visit is not None  # noqa: S101 - a check or a repair comes from a plan
    root = now.visit.plan.root
    machine = state_after(now.visit.plan, root)
    if step.do in CHANGES:
        return Event("changed", step.name, "", machine)
    if step.do == "check":
        finding = now.visit.checks[root.step].finding
        return Event("cannot tell", finding) if key == CANNOT_TELL else Event("seen", finding, label, machine)
    if key == CANNOT_TELL:
        return Event("aside", step.name)
    if key == LOOKS_GOOD:
        return Event("looks good", step.name, "", machine, step.parts)
    act = now.visit.acts[root.step]
    odds = now.odds.causes
    cause = max(act.cures, key=lambda name: odds.get(name, 0.0))
    return Event("cured" if key == "1" else "tried", step.name, "", machine, step.parts, cause)
