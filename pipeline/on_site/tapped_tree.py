"""The whole decision tree of a call as data, for a page that leads through the visit without the tool.

Every point is what `causes -i` would show there, every choice leads where its key would. The tree is bounded: where a
choice is too rare to be followed, the tool has to be asked again, and the point says so.
"""

from __future__ import annotations

import heapq
import json
from typing import TYPE_CHECKING, Any

from pipeline.on_site.keys import END as END_KEY
from pipeline.on_site.keys import SEEN, STOP, UNDO, choices, event_of
from pipeline.on_site.step_by_step import Event, Stand, Walk, foreseen
from pipeline.on_site.step_lines import cautions_on_screen
from pipeline.visit.answer import advice_line, step_json
from pipeline.visit.dangers import to_meet
from pipeline.visit.plan import HAND_OVER
from pipeline.visit.problem import NEEDS_POWER
from pipeline.words.appliance import ALWAYS
from pipeline.words.burnt import burnt, put_right
from pipeline.words.retests import to_test_again
from reports.render.wording import Finding

if TYPE_CHECKING:
    from models.plan.plan import Node
    from pipeline.visit.answer import Answer
    from pipeline.visit.plan import Step
    from pipeline.words.appliance import Trade

MOST_POINTS = 1200
MOST_PLANS = 40  # made anew in one call, where a check cannot be made or a repair not be done
ALL_PLANS, FEWEST_PLANS = 640, 16  # so many in a round, and in each of its calls however many they are
UNFORESEEN = 0.12  # how often that is the case (common practice, no source): which of them are followed first
SHOWN_CAUSES = 3
END, ASK_AGAIN = -1, -2


def tapped(walk: Walk, stand: Stand, *, whole: bool = True, calls: int = 1) -> dict[str, Any]:
    """Follow a visit along all its choices, the likeliest first.

    Parameters
    ----------
    walk, stand
        Of a workshop, and where the visit begins.
    whole
        Up to ``MOST_POINTS`` points; else only the first step.
    calls
        Of the round, which share the plans made anew.

    Returns
    -------
    dict
        ``steps``: each as in the JSON of `causes`, with ``told``, ``caution_names``, ``vain`` (what advice says of its
        parts) and ``keys`` besides (label, what it does, text, cause): it does "seen" or "said" (the text is for the
        record), "tried", "cured" (of the cause), "looks good", or "" (nothing to record). ``points``: step, odds
        (cause, percent), minutes and money ahead, and leads_to (for each key: a point, ``END`` or ``ASK_AGAIN``); the
        first is where the visit begins. ``causes``: names, and as shown. ``cautions``: names and texts. ``burnt``: a
        finding as recorded → what is burnt then, as shown, and the causes whose repair puts it right; of what was
        measured unsafe the test to be repeated, and None. ``dangers``: what can be met at any step and stops the visit
        (name, as shown, cautions by name), and ``danger_texts``: their texts. ``looks``: checks of the first plan that
        need no power (as told, cautions by name), for where the tree ends.
    """
    tree = _Tree(walk, MOST_POINTS if whole else 1, min(MOST_PLANS, max(FEWEST_PLANS, ALL_PLANS // calls)))
    for finding, value in stand.now.question.findings.items():
        tree.see(stand.now.trade, finding, value)
    tree.reach(stand, 1.0)
    while tree.waiting:
        weight, place, here = heapq.heappop(tree.waiting)
        tree.follow(place, here, -weight)
    told, trade = stand.now.wording.told, stand.now.trade
    dangers = to_meet(trade)
    looks = [(step, cautions_on_screen(stand.now, step)) for step in stand.now.steps if _is_look(step)]
    tree.cautions |= {name: trade.cautions[name] for _, names in looks for name in names}
    return {
        "looks": [[told(step.told), [told(name) for name in names]] for step, names in looks],
        "dangers": [[name, told(name), [told(caution) for caution in names]] for name, names in dangers],
        "danger_texts": {told(one): told(trade.cautions[one]) for _, names in dangers for one in names},
        "steps": tree.steps,
        "points": tree.points,
        "causes": [[name, told(name)] for name in tree.causes],
        "cautions": {told(name): told(text) for name, text in tree.cautions.items()},
        "burnt": {
            seen: [told(what if causes is None else Finding(what)), causes]
            for seen, (what, causes) in tree.burnt.items()
        },
    }


class _Tree:
    """The tree as far as it is known."""

    def __init__(self, walk: Walk, most_points: int, most_plans: int) -> None:
        self.walk, self.most_points, self.most_plans = walk, most_points, most_plans
        self.steps: list[dict[str, Any]] = []
        self.points: list[dict[str, Any]] = []
        self.causes: dict[str, int] = {}
        self.cautions: dict[str, str] = {}
        self.burnt: dict[str, tuple[str, list[int] | None]] = {}
        self.waiting: list[tuple[float, int, Stand]] = []
        self._step_places: dict[str, int] = {}
        self._places: dict[Node, int] = {}
        self._plans = 0

    def reach(self, stand: Stand, weight: float) -> int:
        """Add a point and return its place; where it leads is found later."""
        now, place = stand.now, len(self.points)
        odds = [[self._cause(name), round(100 * p)] for name, p in list(now.odds.causes.items())[:SHOWN_CAUSES]]
        ahead = [round(now.visit.minutes), round(now.visit.money)] if now.visit else []
        step = self._step(now, now.steps[0], is_first=place == 0)
        self.points.append(
            {"step": step, "odds": odds if now.visit or now.steps[0].do == "ask" else [], "ahead": ahead}
        )
        heapq.heappush(self.waiting, (-weight, place, stand))
        return place

    def follow(self, place: int, stand: Stand, weight: float) -> None:
        """Find where every key of a point leads."""
        point, now = self.points[place], stand.now
        point["leads_to"] = []
        for key, label in _keys(now, now.steps[0]):
            event = event_of(now, now.steps[0], key, label)
            is_over = event.what == "cured" and not to_test_again(now.trade, now.question.findings)
            point["leads_to"].append(END if is_over else self._then(stand, event, weight))

    def _then(self, stand: Stand, event: Event, weight: float) -> int:
        visit = stand.now.visit
        node = foreseen(visit, event) if visit else None
        if node in self._places:
            return self._places[node]
        if len(self.points) >= self.most_points or (node is None and self._plans >= self.most_plans):
            return ASK_AGAIN
        self._plans += node is None
        chance = UNFORESEEN
        if visit is not None and node is not None:
            chance = next(chance for _, chance, after in visit.plan.root.branches if after is node)
        place = self.reach(self.walk.then(stand, event), weight * chance)
        if node is not None:
            self._places[node] = place
        return place

    def see(self, trade: Trade, finding: str, value: str) -> None:
        """Remember of a finding what is burnt with it and what puts that right, or which test must be repeated."""
        for what in burnt({finding: value}):
            right = sorted(put_right(trade, what))
            self.burnt[f"{finding}={value}"] = what, [self._cause(cause) for cause in right]
        for card in to_test_again(trade, {finding: value}):
            self.burnt[f"{finding}={value}"] = card.name, None

    def _cause(self, name: str) -> int:
        return self.causes.setdefault(name, len(self.causes))

    def _does(self, trade: Trade, event: Event) -> tuple[str, str, int]:
        """What a key does to the record, the text, and the cause that a repair is of."""
        if event.what not in ("seen", "said", "tried", "cured", "looks good"):
            return "", "", -1
        if event.what == "seen":
            self.see(trade, event.name, event.value)
        return event.what, event.recorded, self._cause(event.cause) if event.cause else -1

    def _step(self, now: Answer, step: Step, *, is_first: bool) -> int:
        """Place of a step among those told; the same step is told once, however often it is met."""
        names, told = cautions_on_screen(now, step), now.wording.told
        names = (*names, ALWAYS) if is_first else names
        self.cautions |= {name: now.trade.cautions[name] for name in names}
        shown = {
            **step_json(step, now.trade),
            "told": told(step.told),
            "caution_names": [told(name) for name in names],
            "vain": [advice_line(now, row) for row in now.advice if row.part in step.parts],
            "keys": [
                [told(label), *self._does(now.trade, event_of(now, step, key, label))]
                for key, label in _keys(now, step)
            ],
        }
        for unneeded in ("given", "cures_probability", "tells", "cautions", "about", "options"):
            del shown[unneeded]
        key = json.dumps(shown)
        if key not in self._step_places:
            self._step_places[key] = len(self.steps)
            self.steps.append(shown)
        return self._step_places[key]


def _is_look(step: Step) -> bool:
    """Whether a step only looks or measures, with nothing under power."""
    return step.do == "check" and NEEDS_POWER not in step.cautions


def _keys(now: Answer, step: Step) -> list[tuple[str, str]]:
    """Keys that lead on, with their labels; how a visit ends is asked elsewhere."""
    if step.do == HAND_OVER:
        return []
    return [(key, label) for key, label in choices(now, step).items() if key[0] not in (SEEN, END_KEY, UNDO, STOP)]
