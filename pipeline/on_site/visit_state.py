"""A visit under way: what happened so far, a key taken, and its last press taken back."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import reduce
from typing import TYPE_CHECKING

from pipeline.call.danger_signs_in_call import may_hurt_on_site
from pipeline.call.findings import both_said, read_findings
from pipeline.call.question import Question
from pipeline.call.which_part import settled
from pipeline.errors import shown
from pipeline.on_site.keys import END, ENDINGS, PRESSED, SEEN, STOP, UNDO, choices, event_of
from pipeline.on_site.step_by_step import Event, Stand, Walk, told
from pipeline.visit.plan import HAND_OVER
from pipeline.words.alarms import alarms
from pipeline.words.burnt import still_burnt
from pipeline.words.licensed import licensed_work
from pipeline.words.retests import is_of_protection, to_test_again
from reports.render.wording import Finding, Written, sentence, value_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.visit.answer import Answer
    from pipeline.words import Words
    from pipeline.words.appliance import Trade

MAY_HAVE_BEEN = 4  # causes offered at the end


@dataclass
class Visit:
    """The visit so far; every state follows from the events alone, so undo is to drop the last one.

    ``cause`` is what it really was, where somebody said so; ``ordered`` a part that was ordered; ``remarks`` how the
    last press was read.
    """

    asked: Question
    events: list[Event] = field(default_factory=list)
    outcome: str = ""
    cause: str = ""
    ordered: str = ""
    stands: dict[tuple[Event, ...], Stand] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)

    def question(self) -> Question:
        """The question with all that was seen."""
        return reduce(told, self.events, self.asked)

    def stand(self, walk: Walk) -> Stand:
        """Where it stands by now; what was reached before is remembered."""
        for count in range(len(self.events) + 1):
            so_far = tuple(self.events[:count])
            if so_far not in self.stands:
                before = self.stands[so_far[:-1]] if so_far else None
                self.stands[so_far] = walk.then(before, so_far[-1]) if before else walk.start(self.asked)
        return self.stands[tuple(self.events)]

    def names(self, what: str) -> list[str]:
        """Names of the events of one sort."""
        return [event.name for event in self.events if event.what == what]

    def press(self, now: Answer, pressed: str, words: Words) -> str:
        """Take one of the `choices` of the step that stands first in ``now``.

        Returns
        -------
        str
            What is wrong with it, for people; "" when it was taken.
        """
        step, keys, key = now.steps[0], choices(now, now.steps[0]), pressed.lower()
        is_seen = key.startswith(f"{SEEN} ")
        if key == UNDO:
            self.undo()
        elif is_seen or (PRESSED.fullmatch(key) is None and _tells_danger(pressed, now.trade, words)):
            text = pressed[2:] if is_seen else pressed
            events, self.remarks = _seen(text, now.trade, words, self.question().symptoms, self.held(now.trade))
            if not events:
                return sentence("visit.not_understood", text=Written(shown(text)))
            self.events += events
        elif key == END or key.startswith(f"{END} "):
            ending = ENDINGS.get(key[2:].strip(), "")
            if ending == "fixed" and (left := self.not_fixed_yet(now.trade)):
                return left
            self.outcome = ending
            if not self.outcome:
                return sentence(
                    "visit.endings",
                    endings=[sentence("visit.ending", number=Written(n), how=how) for n, how in ENDINGS.items()],
                )
        elif key not in keys or key == STOP:
            may_press = [Written(key) for key in keys]
            if len(key) < 2 and key != SEEN:
                return sentence("visit.press", keys=may_press)
            said = "water left=no" if key == SEEN else pressed
            return sentence("visit.press_or_say", keys=may_press, text=Written(f"{SEEN} {said}"))
        elif step.do == HAND_OVER:
            if ENDINGS[key] == "fixed" and (left := self.not_fixed_yet(now.trade)):
                return left
            self.outcome = ENDINGS[key]
        else:
            event = event_of(now, step, key, keys[key])
            if event.what == "cured" and (left := self.still_burnt(now.trade, event.cause)):
                return left
            self.events.append(event)
            is_over = event.what == "cured" and not to_test_again(now.trade, self.question().findings)
            self.outcome = "fixed" if is_over else ""
        return ""

    def heeds(self, text: str, trade: Trade, words: Words) -> bool:
        """Take in what of a text can hurt, which the visit then goes on with; False = nothing does.

        What a list names as a cause is no danger told, nor what the visit knows of already.
        """
        known = {*self.question().symptoms, self.question().licensed}
        if PRESSED.fullmatch(text.lower()) or text in trade.repairs or known.issuperset(_dangers(text, trade, words)):
            return False
        events, self.remarks = _seen(text, trade, words, self.question().symptoms, self.held(trade))
        self.events += [event for event in events if event not in self.events]
        self.outcome = ""
        return True

    def held(self, trade: Trade) -> dict[str, str]:
        """Give what was measured unsafe and cannot be said to be good: no repair of what shows it was tried since."""
        held = dict[str, str]()
        for event in [*(Event("seen", *pair) for pair in self.asked.findings.items()), *self.events]:
            if event.what == "seen":
                held.pop(event.name, None)
                pair = event.name, event.value
                held |= dict([pair]) if pair in trade.unsafe and is_of_protection(*pair) else {}
            elif event.what in ("tried", "cured"):
                held = {f: v for f, v in held.items() if v not in trade.stated.get((event.cause, f), {})}
        return held

    def not_fixed_yet(self, trade: Trade) -> str:
        """Say why a visit cannot end as fixed: what is burnt, or measured unsafe and not again; "" = it can."""
        tests = [card.name for card in to_test_again(trade, self.question().findings)]
        return sentence("visit.test_again", tests=tests) if tests else self.still_burnt(trade)

    def still_burnt(self, trade: Trade, cured: str = "") -> str:
        """Say what was seen burnt and not put right, with which no visit ends as fixed; "" = nothing."""
        done = {cured, *(event.cause for event in self.events if event.what in ("tried", "cured"))}
        left = still_burnt(trade, self.question().findings, done)
        return sentence("visit.still_burnt", what=[Finding(what) for what in left]) if left else ""

    def may_have_been(self, now: Answer) -> list[str]:
        """Give the causes to choose from at the end: that of the repair that cured it, then the likeliest."""
        cured = [event.cause for event in self.events[-1:] if event.what == "cured" and self.outcome == "fixed"]
        return list(dict.fromkeys([*cured, *(row.cause for row in now.causes)]))[:MAY_HAVE_BEEN]

    def undo(self) -> None:
        """Take the last press back, that which ended the visit too."""
        if self.events and (not self.outcome or self.events[-1].what in ("cured", "heard")):
            self.events.pop()
        self.outcome = ""


def _dangers(text: str, trade: Trade, words: Words) -> list[str]:
    """What of a text can hurt: work for licensed people, what raises an alarm, else complaints with a hazard."""
    if raised := [*filter(None, [licensed_work([text], trade.kind)]), *alarms([text], trade.kind)]:
        return raised
    import pandas as pd

    said = words.find_symptoms(pd.Series([text], dtype="str"), pd.Series([trade.kind], dtype="str"))
    there = said.loc[~said["is_negated"].astype(bool), "symptom"]
    return [name for name in trade.hazards if name in set(there)]


def _tells_danger(text: str, trade: Trade, words: Words) -> bool:
    return bool(_dangers(text, trade, words) or may_hurt_on_site(words, text, trade.kind, is_read=False))


def _seen(
    text: str, trade: Trade, words: Words, symptoms: Sequence[str], held: Mapping[str, str]
) -> tuple[list[Event], list[str]]:
    """Give everything that a text says was seen or can hurt, and what to tell of how it was read.

    What is ``held`` stays, whatever the text says of it.
    """
    if licensed_work([text], trade.kind) or alarms([text], trade.kind):
        return [Event("heard", text)], []
    dangers = _dangers(text, trade, words)
    looked = read_findings(words, [text], trade.kind, symptoms)
    before = [("", *pair) for pair in held.items()]
    findings, cleared, twice = settled(words, trade.kind, [*before, *looked.seen])
    findings = {name: value for name, value in findings.items() if any(name == one for _, one, _ in looked.seen)}
    ruled_out = sorted((looked.cleared | cleared) & trade.repairs.keys())
    events = [Event("said", name) for name in dict.fromkeys([*dangers, *looked.complaints])]
    if not events and may_hurt_on_site(words, text, trade.kind, is_read=bool(findings)):
        events = [Event("heard", text)]
    seen = [sentence("answer.seen", finding=Finding(f), value=value_of(f, value)) for f, value in findings.items()]
    told = [sentence("visit.taken", seen=[*dangers, *seen])] if dangers or seen else []
    told += [sentence("visit.ruled_out", causes=ruled_out)] if ruled_out else []
    events += [Event("seen", finding, value) for finding, value in findings.items()]
    left = [Written(shown(clause)) for clause in looked.strange if not _dangers(clause, trade, words)]
    told += [sentence("answer.not_understood", texts=left)] if left and events else []
    return [*events, *(Event("ruled out", cause) for cause in ruled_out)], [
        *told,
        *map(both_said, twice),
        *looked.remarks,
    ]
