"""One visit step by step: the next best check or repair, a number to press, new odds, and a record at the end."""

from __future__ import annotations

import datetime as dt
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import shown
from pipeline.load.layout import FIELDS
from pipeline.store.outputs import may_write
from pipeline.terminal.text import safe, wrapped
from pipeline.visit.answer import Answer, advice_line, quoted, step_cost
from pipeline.visit.ask import questions_of
from pipeline.visit.ask_first import COMPLAINT
from pipeline.visit.begun import events_of, keep
from pipeline.visit.plan import CHANGES, HAND_OVER
from pipeline.visit.question import Call, Question, said
from pipeline.visit.record import append_record, header_of, stand_in_number
from pipeline.visit.walk import Event, Stand, Walk, told
from pipeline.words.alarms import alarms
from pipeline.words.appliance import AFTER_EVERY_REPAIR, ALWAYS, about
from pipeline.words.burnt import still_burnt
from pipeline.words.licensed import licensed_work
from reports.render.wording import Finding, Sentence, Written, in_language, sentence, value_of

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.visit.plan import Step
    from pipeline.words import Words
    from pipeline.words.appliance import Trade
    from reports.render.wording import Wording

Ask = Callable[[str], str]
Say = Callable[[str], None]

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
        if key == UNDO:
            self.undo()
        elif key.startswith(f"{SEEN} "):
            events, self.remarks = _seen(pressed[2:], self, words)
            if not events:
                return sentence("visit.not_understood", text=Written(shown(pressed[2:])))
            self.events += events
        elif key == END or key.startswith(f"{END} "):
            ending = ENDINGS.get(key[2:].strip(), "")
            if ending == "fixed" and (left := self.still_burnt(now.trade)):
                return left
            self.outcome = ending
            if not self.outcome:
                return sentence(
                    "visit.endings",
                    endings=[sentence("visit.ending", number=Written(n), how=how) for n, how in ENDINGS.items()],
                )
        elif key not in keys or key == STOP:
            return sentence("visit.press", keys=[Written(key) for key in keys])
        elif step.do == HAND_OVER:
            if ENDINGS[key] == "fixed" and (left := self.still_burnt(now.trade)):
                return left
            self.outcome = ENDINGS[key]
        else:
            event = event_of(now, step, key, keys[key])
            if event.what == "cured" and (left := self.still_burnt(now.trade, event.cause)):
                return left
            self.events.append(event)
            self.outcome = "fixed" if event.what == "cured" else ""
        return ""

    def still_burnt(self, trade: Trade, cured: str = "") -> str:
        """Say what was seen burnt and not put right, with which no visit ends as fixed; "" = nothing."""
        done = {cured, *(event.cause for event in self.events if event.what in ("tried", "cured"))}
        left = still_burnt(trade, self.question().findings, done)
        return sentence("visit.still_burnt", what=[Finding(what) for what in left]) if left else ""

    def undo(self) -> None:
        """Take the last press back, that which ended the visit too."""
        if self.events and (not self.outcome or self.events[-1].what in ("cured", "heard")):
            self.events.pop()
        self.outcome = ""


def run(
    database: Database,
    words: Words,
    settings: Settings,
    call: Call,
    *,
    record: Path | None = None,
    begun: Path | None = None,
    ask: Ask | None = None,
    say: Say | None = None,
) -> dict[str, Any]:
    """Go through a visit step by step.

    Parameters
    ----------
    call
        As it was told.
    record
        CSV file that gets the finished job's line; None = the line is only shown.
    begun
        File that keeps visits broken off; the same call goes on from there. None = a visit broken off is lost.
    ask, say
        How to ask and to tell; the terminal when left out.

    Returns
    -------
    dict
        ``outcome`` ("" when stopped), ``record`` (the line, column → text), ``answer`` (the last answer as JSON).

    Raises
    ------
    UsageError
        No kind was given, or the record file has other columns.
    """
    talk = _Talk(in_language(settings.locale, settings.currency), ask or _ask_terminal, say or _say_terminal)
    if record is not None:
        may_write(record, None, database=database)
        header_of(record)
    (asked,) = questions_of(database, words, settings, [call])
    visit, trade = Visit(asked), about(words, asked.kind)
    _begin(visit, call, trade, begun, talk)
    now = _walk(database, words, settings, visit, talk)
    if begun is not None:
        keep(begun, call, [] if visit.outcome else visit.events)
    if not visit.outcome and visit.events:
        talk.tell(talk.wording.say("visit.broken_off" if begun is not None else "visit.lost"))
    if visit.outcome and now.visit is not None:
        _say_what_it_was(visit, now, talk)
    written = record_line(visit, call)
    if visit.outcome:
        _end(visit, written, record, settings.window_days, talk)
        if any(event.what in ("tried", "cured") for event in visit.events):
            talk.tell(_caution(talk.wording, trade, AFTER_EVERY_REPAIR))
    return {"outcome": visit.outcome, "record": written, "answer": now.as_json()}


@dataclass(frozen=True)
class _Talk:
    """How to ask and to tell, and in which language."""

    wording: Wording
    ask: Ask
    say: Say

    def tell(self, line: str) -> None:
        """Say a line in which nothing can harm a terminal."""
        self.say(safe(line))

    def asked(self, name: str, **values: Any) -> str:
        """Ask a question by its name in the languages; the answer without spaces around."""
        return self.ask(f"{self.wording.say(name, **values)} > ").strip()

    def left_open(self, name: str, **values: Any) -> str:
        """Ask what may be left open: "" too where no more is typed, or a key of the visit is pressed once more."""
        answer = self.asked(name, **values)
        return "" if PRESSED.fullmatch(answer.lower()) else answer


def _begin(visit: Visit, call: Call, trade: Trade, begun: Path | None, talk: _Talk) -> None:
    """Tell how the call was read, what always holds, and whether it goes on where it was broken off."""
    for line in (said(visit.asked), *visit.asked.unit.lines()):
        talk.tell(talk.wording.told(line))
    talk.tell(_caution(talk.wording, trade, ALWAYS))
    if visit.asked.not_understood:
        talk.tell(talk.wording.tell("answer.not_understood", texts=quoted(visit.asked.not_understood)))
    if begun is not None and (before := events_of(begun, call)) is not None:
        visit.events = before[1]
        day = Written(talk.wording.date(before[0]))
        talk.tell(talk.wording.tell("visit.goes_on", day=day, steps=len(before[1])))


def _walk(database: Database, words: Words, settings: Settings, visit: Visit, talk: _Talk) -> Answer:
    """Go from step to step until the visit ends or is broken off; the last answer."""
    warned = set[str]()
    while True:
        now = current(database, words, settings, visit)
        step = now.steps[0]
        for line in screen(now, step, warned):
            talk.tell(line)
        if now.visit is None and step.do != "ask":
            if visit.names("heard") and talk.asked("visit.misheard").lower() == UNDO:
                visit.undo()
                continue
            visit.outcome = "advice only"
            return now
        warned |= set(cautions_on_screen(now, step))
        pressed = _pressed(visit, now, words, talk)
        for line in visit.remarks:
            talk.tell(talk.wording.told(line))
        visit.remarks = []
        if pressed == STOP or visit.outcome:
            return now


def _pressed(visit: Visit, now: Answer, words: Words, talk: _Talk) -> str:
    """Ask for a key until one is taken or the visit is stopped; that key."""
    while (pressed := talk.ask("> ").strip()).lower() != STOP and (wrong := visit.press(now, pressed, words)):
        talk.tell(talk.wording.told(wrong))
    return pressed.lower()


def _end(visit: Visit, written: dict[str, str], record: Path | None, window_days: int, talk: _Talk) -> None:
    """Ask what a record needs besides, keep it, and tell when the odds learn from it."""
    written["job_no"] = written["job_no"] or talk.left_open("visit.job_no") or stand_in_number()
    written["minutes"] = _minutes(talk)
    written["photos"] = talk.left_open("visit.photos")
    talk.tell(talk.wording.told(_kept(written, record)))
    if visit.outcome == "fixed" and written["cause"]:
        day = Written(talk.wording.date(dt.date.today() + dt.timedelta(days=window_days)))
        talk.tell(talk.wording.tell("visit.learned", days=window_days, day=day))


def _say_what_it_was(visit: Visit, now: Answer, talk: _Talk) -> None:
    """Ask what no key tells: what it really was, and which part was ordered."""
    if visit.outcome not in NO_CAUSE:
        known = record_line(visit, Call("")).get("cause") or ""
        name = "visit.really_else" if known else "visit.really"
        visit.cause = _named(talk, name, known) or known
    if visit.outcome == "part needed":
        visit.ordered = talk.left_open("visit.ordered")


def _named(talk: _Talk, name: str, known: str) -> str:
    """Ask for a cause, three times at most: a number or a single letter names none; "" = left open."""
    for _ in range(3):
        given = talk.left_open(name, cause=talk.wording.told(known))
        if not given or sum(map(str.isalpha, given)) > 1:
            return given
        talk.tell(talk.wording.tell("visit.no_cause", text=Written(shown(given))))
    return ""


def _minutes(talk: _Talk) -> str:
    """Ask for the minutes, three times at most: "38", "38 min", "1h20"; "" = left open."""
    import pandas as pd

    from pipeline.values import durations

    for _ in range(3):
        given = talk.asked("visit.minutes")
        if given.lower() in ("", STOP):
            break
        if given.isdigit():
            return given
        minutes = durations.parse(pd.Series([given], dtype="str"))["value"].iloc[0]
        if not pd.isna(minutes):
            return f"{minutes:.0f}"
        talk.tell(talk.wording.tell("visit.no_minutes", text=Written(shown(given))))
    return ""


def current(database: Database, words: Words, settings: Settings, visit: Visit) -> Answer:
    """Answer the call with all that was seen and done so far; its first step is the next one."""
    return visit.stand(Walk(database, words, settings)).now


def screen(now: Answer, step: Step, warned: set[str]) -> list[str]:
    """Few lines for a phone: odds, the step, its cautions (their text when they first appear), the numbers to press."""
    tell, told = now.wording.tell, now.wording.told
    names = cautions_on_screen(now, step)
    new = [_caution(now.wording, now.trade, name) for name in names if name not in warned]
    known = [name for name in names if name in warned]
    old = [f"! {told(known)}"] if known else []
    keys = "  ".join(f"{key} {told(label)}" for key, label in choices(now, step).items())
    if now.visit is None and step.do != "ask":
        return ["", *new, *old, tell("visit.next", step=step.name), keys]
    odds = " · ".join(
        told(sentence("answer.leading", cause=row.cause, chance=row.probability)) for row in now.causes[:3]
    )
    cost = step_cost(now, step)
    lines = ["", odds, tell("visit.next", step=step.told) + (f" ({cost})" if cost else "")]
    rows = [Written(advice_line(now, row)) for row in now.advice if row.part in step.parts]
    lines += [tell("visit.needless", advice=row) for row in rows]
    lines += [*new, *old]
    if now.visit is not None and now.visit.carry and not warned:
        worth = [sentence("answer.leading", cause=r.part, chance=r.probability) for r in now.visit.carry if r.worth_it]
        lines += [tell("visit.carry", parts=worth[:3])] if worth else []
    return [*lines, keys]


def _caution(wording: Wording, trade: Trade, name: str) -> str:
    return f"! {wording.told(name)}: {wording.told(trade.cautions.get(name, ''))}"


def cautions_on_screen(now: Answer, step: Step) -> tuple[str, ...]:
    """Cautions of the step, and of what advice about its parts says to look at; the one of all steps is told once."""
    looks = [name for row in now.advice if row.part in step.parts for name in now.look_cautions(row)]
    names = dict.fromkeys([*now.alarms, *step.cautions, *looks])
    return tuple(name for name in names if name in now.trade.cautions and name != ALWAYS)


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


def _seen(text: str, visit: Visit, words: Words) -> tuple[list[Event], list[str]]:
    """Give everything that a text says was seen, and what to tell of how it was read."""
    from pipeline.visit.question import read_findings

    if licensed_work([text], visit.asked.kind) or alarms([text], visit.asked.kind):
        return [Event("heard", text)], []
    findings, _, remarks = read_findings(words, [text], visit.asked.kind)
    seen = [sentence("answer.seen", finding=Finding(f), value=value_of(f, value)) for f, value in findings.items()]
    told = [sentence("visit.taken", seen=seen)] if seen else []
    return [Event("seen", finding, value) for finding, value in findings.items()], [*told, *remarks]


def record_line(visit: Visit, call: Call, *, on: dt.date | None = None) -> dict[str, str]:
    """The visit in the tool's own layout, ready to load: what was asked as written, what was seen and done in terms."""
    done = [event for event in visit.events if event.what in ("tried", "cured")]
    looked = [f"told: {name}" for name in visit.names("heard")]
    looked += [event.recorded for event in visit.events if event.what == "looks good"]
    question = visit.question()
    cured = done[-1].cause if visit.outcome == "fixed" and done and done[-1].what == "cured" else ""
    ordered = [f"ordered: {visit.ordered}"] if visit.ordered else []
    line = dict.fromkeys(FIELDS, "")
    line |= {
        "visit_date": (on or dt.date.today()).isoformat(),
        "appliance_kind": question.kind,
        "job_no": question.job_no or "",
        "customer_ref": call.customer or "",
        "serial": call.serial or "",
        "make": call.make or "",
        "model": call.model or "",
        "age": call.age or "",
        "complaint": ", ".join([*([call.complaint] if call.complaint else []), *visit.names("said")]),
        "fault_code": call.code or "",
        "findings": "; ".join(f"{finding}={value}" for finding, value in question.findings.items()),
        "cause": visit.cause or cured,
        "work_done": "; ".join([*(event.name for event in done), *looked, *ordered]),
        "parts": "; ".join(part for event in done for part in event.parts),
        "outcome": visit.outcome,
    }
    return line


def _kept(line: Mapping[str, str], record: Path | None) -> Sentence:
    if record is not None:
        append_record(record, line)
        return sentence("visit.added", file=Written(record.name))
    written = "; ".join(f"{name} {value}" for name, value in line.items() if value)
    return sentence("visit.record", line=Written(written))


def _ask_terminal(prompt: str) -> str:
    sys.stdout.write("\n".join(wrapped([prompt.rstrip()], room=10)) + " ")
    sys.stdout.flush()
    try:
        line = sys.stdin.readline()
    except KeyboardInterrupt:  # a visit broken off is kept
        sys.stdout.write("\n")
        return STOP
    if not line:  # the end of what was typed: what is said next begins a line
        sys.stdout.write("\n")
    return line or STOP


def _say_terminal(line: str) -> None:
    sys.stdout.write("".join(f"{piece}\n" for piece in wrapped([line])))
