"""The plan of a call as a tree short enough for one sheet: steps in a row, branches of every check, all cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pipeline.visit.answer import step_json
from pipeline.visit.plan import Step, ask_again, repeat_test
from pipeline.words.appliance import ALWAYS, DO_NOT_ENERGISE
from pipeline.words.burnt import burnt, put_right
from reports.render.wording import sentence, value_of

if TYPE_CHECKING:
    from models.plan.plan import Node
    from pipeline.visit.plan import VisitPlan
    from pipeline.words.appliance import Trade

MEND_EARTH_FAULT = "dry or replace the part that is to earth"
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
    """Steps in a tree, but for those that a danger asks for: they stand on the sheet whatever else does."""
    below = (branch["then"] for branch in row["branches"] if branch["then"])
    return 0 if row.get("is_danger") else len(row["steps"]) + sum(count(one) for one in below)


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


def _danger(visit: VisitPlan, node: Node, outcome: str) -> dict[str, Any] | None:
    """What to do where what is seen changes everything: an earth fault, something burnt, another cause; or None."""
    if visit.is_earth_fault(node, outcome):
        return _earth_fault(visit)
    if what := burnt({visit.checks[node.step].finding: outcome}):
        return _put_right(visit, node, {cause for one in what for cause in put_right(visit.trade, one)})
    if settled := visit.settled(node, outcome):
        return _put_right(visit, node, set(settled))
    return None


def _earth_fault(visit: VisitPlan) -> dict[str, Any]:
    """Find it part by part, put it right, test again."""
    cards = {card.finding: card for card in visit.trade.checks}
    find = [cards[one] for one in ("earth fault at",) if one in cards]
    steps = [Step("check", c.name, "", c.minutes, 0.0, 0.0, "", (DO_NOT_ENERGISE, *c.cautions)) for c in find]
    mend = Step("clear", MEND_EARTH_FAULT, "", 0.0, 0.0, 0.0, "", (DO_NOT_ENERGISE, *visit.trade.kind_cautions))
    return _ends_with(visit, [*steps, mend, repeat_test(cards["insulation"])])


def _put_right(visit: VisitPlan, node: Node, right: set[str]) -> dict[str, Any]:
    """Put what was seen burnt or to earth right by the likeliest of the repairs that do; no other repair."""
    odds = dict(zip(visit.plan.problem.causes, node.p.tolist(), strict=True))
    causes = sorted(right & visit.trade.repairs.keys(), key=lambda cause: (-odds.get(cause, 0.0), cause))
    acts = visit.costs.acts(causes)[:1]
    steps = [
        Step(
            act.do,
            act.name,
            "",
            act.minutes,
            act.minutes * visit.rate + act.price,
            0.0,
            "",
            (DO_NOT_ENERGISE, *act.cautions),
            act.parts,
        )
        for act in acts
    ]
    return _ends_with(visit, steps)


def _ends_with(visit: VisitPlan, steps: list[Step]) -> dict[str, Any]:
    shown = [step_of_sheet(step, visit.trade) for step in (*steps, ask_again())]
    return {"steps": shown, "branches": [], "is_danger": True}


def _branches(visit: VisitPlan, node: Node, smallest: float) -> list[dict[str, Any]]:
    """What the check may show, the likeliest first; what leads to the same, and all that is rare, stands together."""
    branches: list[dict[str, Any]] = []
    for outcome, chance, after in sorted(node.branches, key=lambda branch: -branch[1]):
        if after is None:
            continue
        then = _danger(visit, node, outcome)
        if then is None and after.reach >= smallest:
            then = _row(visit, after, smallest)
        place = int(after.p.argmax())
        names = _names(then)
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
                "leading": visit.plan.problem.causes[place],
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
