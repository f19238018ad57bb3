"""The plan of a call as a tree short enough for one sheet: steps in a row, branches of every check, all cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pipeline.visit.answer import step_json
from pipeline.visit.plan import ask_again
from pipeline.words.appliance import ALWAYS
from reports.render.wording import sentence, value_of

if TYPE_CHECKING:
    from models.plan.plan import Node
    from pipeline.visit.plan import Step, VisitPlan
    from pipeline.words.appliance import Trade

MOST_STEPS = 15
SMALLEST_REACHES = (0.02, 0.03, 0.05, 0.08, 0.12, 0.2)


def tree(visit: VisitPlan) -> dict[str, Any]:
    """Write the plan as a row of steps that ends in branches.

    Returns
    -------
    dict
        ``steps``: steps in order, each as in the JSON of `causes` with ``caution_names`` besides; ``branches``: what
        the last check may show, each with ``label``, ``chance`` (given this row is reached), ``leading`` and
        ``leading_chance`` (the likeliest cause then) and ``then`` (a row like this one, or None where it is rare);
        empty where the row ends in a repair. Rare branches are cut until the tree fits a page.
    """
    for smallest in SMALLEST_REACHES:
        whole = _row(visit, visit.plan.root, smallest)
        if count(whole) <= MOST_STEPS:
            return whole
    return whole


def step_of_sheet(step: Step, trade: Trade) -> dict[str, Any]:
    """A step as in the JSON of `causes`, with ``caution_names``; the caution of all steps stands once on the sheet."""
    return {**step_json(step, trade), "caution_names": [name for name in step.cautions if name != ALWAYS]}


def count(row: Mapping[str, Any]) -> int:
    """Steps in a tree."""
    return len(row["steps"]) + sum(count(branch["then"]) for branch in row["branches"] if branch["then"])


def _row(visit: VisitPlan, node: Node, smallest: float) -> dict[str, Any]:
    steps: list[dict[str, Any]] = []
    while True:
        step = visit.step(node)
        steps.append(step_of_sheet(step, visit.trade))
        if node.do == "check":
            return {"steps": steps, "branches": _branches(visit, node, smallest)}
        if visit.ends_with(node):
            return {"steps": [*steps, step_of_sheet(ask_again(), visit.trade)], "branches": []}
        following = next((after for outcome, _, after in node.branches if outcome != "cured"), None)
        if following is None or following.reach < smallest:
            return {"steps": steps, "branches": []}
        node = following


def _branches(visit: VisitPlan, node: Node, smallest: float) -> list[dict[str, Any]]:
    branches: list[dict[str, Any]] = []
    for outcome, chance, after in sorted(node.branches, key=lambda branch: -branch[1]):
        if after is None:
            continue
        then = _row(visit, after, smallest) if after.reach >= smallest else None
        place = int(after.p.argmax())
        leading = visit.plan.problem.causes[place]
        names = _names(then) or leading
        same = next((b for b in branches if b["names"] == names), None)
        seen = value_of(visit.checks[node.step].finding, outcome)
        if same is not None:
            same["label"] = sentence("answer.either", first=same["label"], other=seen)
            same["chance"] += chance
            continue
        branches.append(
            {
                "label": seen,
                "chance": chance,
                "leading": leading,
                "leading_chance": float(after.p[place]),
                "then": then,
                "names": names,
            }
        )
    for branch in branches:
        del branch["names"]
    return branches


def _names(row: Mapping[str, Any] | None) -> Any:
    """What a tree tells one to do, for finding branches that tell the same."""
    if row is None:
        return None
    return [step["name"] for step in row["steps"]], [(b["label"], _names(b["then"])) for b in row["branches"]]
