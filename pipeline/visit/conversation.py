"""One visit step by step: the next best check or repair, a number to press, new odds, and a record at the end."""

from __future__ import annotations

import csv
import datetime as dt
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import UsageError, shown
from pipeline.load.layout import FIELDS
from pipeline.store.outputs import may_write
from pipeline.terminal.text import safe
from pipeline.visit.answer import Answer, advice_line, money
from pipeline.visit.ask import questions_of
from pipeline.visit.ask_first import COMPLAINT
from pipeline.visit.plan import CHANGES, HAND_OVER
from pipeline.visit.question import Call, Question, said
from pipeline.visit.walk import Event, Stand, Walk, told
from pipeline.words.appliance import DO_NOT_ENERGISE, about
from pipeline.words.licensed import licensed_work

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.visit.plan import Step
    from pipeline.words import Words

Ask = Callable[[str], str]
Say = Callable[[str], None]

CANNOT_TELL, UNDO, STOP, SEEN, LOOKS_GOOD = "0", "u", "q", "f", "3"
ENDINGS = {"1": "part needed", "2": "not fixed", "3": "beyond economic repair", "4": "advice only"}


@dataclass
class Visit:
    """The visit so far; every state follows from the events alone, so undo is to drop the last one."""

    asked: Question
    events: list[Event] = field(default_factory=list)
    outcome: str = ""
    stands: dict[tuple[Event, ...], Stand] = field(default_factory=dict)

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
            event = _seen(pressed[2:], self, words)
            if event is None:
                return f"Not understood: {shown(pressed[2:])}. Say it like: f water left=no"
            self.events.append(event)
        elif key not in keys or key == STOP:
            return f"Press one of: {', '.join(keys)}"
        elif step.do == HAND_OVER:
            self.outcome = ENDINGS[key]
        else:
            self.events.append(event_of(now, step, key, keys[key]))
            self.outcome = "fixed" if self.events[-1].what == "cured" else ""
        return ""

    def undo(self) -> None:
        """Take the last press back, that which ended the visit too."""
        if self.events and self.outcome in ("", "fixed"):
            self.events.pop()
        self.outcome = ""


def run(
    database: Database,
    words: Words,
    settings: Settings,
    call: Call,
    *,
    record: Path | None = None,
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
    ask, say = ask or _ask_terminal, say or _say_terminal
    if record is not None:
        may_write(record, None, database=database)
        header_of(record)
    (asked,) = questions_of(database, words, settings, [call])
    visit, warned = Visit(asked), set[str]()
    trade = about(words, asked.kind)
    say(safe(said(asked)))
    for line in asked.unit.lines():
        say(safe(line))
    if asked.not_understood:
        say(safe("Not understood: " + ", ".join(asked.not_understood)))
    while True:
        now = current(database, words, settings, visit)
        step = now.steps[0]
        for line in screen(now, step, warned):
            say(safe(line))
        if now.visit is None and step.do != "ask":
            visit.outcome = "advice only"
            break
        warned |= set(cautions_on_screen(now, step))
        while (pressed := ask("> ").strip()).lower() != STOP and (wrong := visit.press(now, pressed, words)):
            say(wrong)
        if pressed.lower() == STOP or visit.outcome:
            break
    written = record_line(visit, call)
    if visit.outcome:
        written["job_no"] = written["job_no"] or ask("Job number (Enter = none) > ").strip() or stand_in_number()
        written["minutes"] = _minutes(ask)
        _tell_record(written, record, say)
        if any(event.what in ("tried", "cured") for event in visit.events):
            say(safe(f"! after repair: {trade.cautions.get('after repair', '')}"))
    return {"outcome": visit.outcome, "record": written, "answer": now.as_json()}


def current(database: Database, words: Words, settings: Settings, visit: Visit) -> Answer:
    """Answer the call with all that was seen and done so far; its first step is the next one."""
    return visit.stand(Walk(database, words, settings)).now


def screen(now: Answer, step: Step, warned: set[str]) -> list[str]:
    """Few lines for a phone: odds, the step, its cautions (their text when they first appear), the numbers to press."""
    odds = " · ".join(f"{now.term(row.cause)} {row.probability:.0%}" for row in now.causes[:3])
    cost = f" ({step.time()}" + (f", {money(now, step.money)})" if step.parts else ")")
    if now.visit is None and step.do != "ask":
        return [
            "",
            *(f"! {now.term(name)}: {now.term(now.trade.cautions[name])}" for name in step.cautions),
            f"NEXT {now.term(step.name)}",
        ]
    told = step.told.replace(step.name, now.term(step.name))
    lines = ["", odds, f"NEXT {told}" + (cost if step.do not in (HAND_OVER, "ask") else "")]
    lines += [f"often replaced needlessly: {advice_line(now, row)}" for row in now.advice if row.part in step.parts]
    names = cautions_on_screen(now, step)
    lines += [f"! {now.term(name)}: {now.term(now.trade.cautions[name])}" for name in names if name not in warned]
    known = [name for name in names if name in warned]
    lines += [f"! {', '.join(now.term(name) for name in known)}"] if known else []
    if now.visit is not None and now.visit.carry and not warned:
        worth = [f"{row.part} {row.probability:.0%}" for row in now.visit.carry if row.worth_it][:3]
        lines += [f"carry: {', '.join(worth)}"] if worth else []
    keys = "  ".join(f"{key} {label}" for key, label in choices(now, step).items())
    return [*lines, keys]


def cautions_on_screen(now: Answer, step: Step) -> tuple[str, ...]:
    """Cautions of the step, and of what advice about its parts says to look at."""
    looks = [name for row in now.advice if row.part in step.parts for name in now.look_cautions(row)]
    first = [DO_NOT_ENERGISE] if now.is_unsafe else []
    return tuple(name for name in dict.fromkeys([*first, *step.cautions, *looks]) if name in now.trade.cautions)


def choices(now: Answer, step: Step) -> dict[str, str]:
    """Keys to press and what each means."""
    if step.do == "ask":
        keys = {str(number): option for number, option in enumerate(step.options, start=1)}
        keys[CANNOT_TELL] = "cannot tell"
    elif now.visit is None:
        return {}
    elif step.do == "check":
        values = now.visit.checks[now.visit.plan.root.step].values
        keys = {str(number): value for number, value in enumerate(values, start=1)}
        keys[CANNOT_TELL] = "cannot tell"
    elif step.do == HAND_OVER:
        keys = dict(ENDINGS)
    elif step.do in CHANGES:
        keys = {"1": "done"}
    else:
        keys = {"1": "cured", "2": "not cured", CANNOT_TELL: "not done"}
        if step.look_minutes:
            keys = {"1": "fitted, cured", "2": "fitted, not cured", LOOKS_GOOD: "looks good", CANNOT_TELL: "not done"}
    return {**keys, f"{SEEN} …": "something else seen", UNDO: "undo", STOP: "stop"}


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


def _seen(text: str, visit: Visit, words: Words) -> Event | None:
    from pipeline.visit.question import read_findings

    if licensed_work([text], visit.asked.kind):
        return Event("heard", text)
    findings, *_rest = read_findings(words, [text], visit.asked.kind)
    return next((Event("seen", finding, value) for finding, value in findings.items()), None)


def record_line(visit: Visit, call: Call, *, on: dt.date | None = None) -> dict[str, str]:
    """The visit in the tool's own layout, ready to load: what was asked as written, what was seen and done in terms."""
    done = [event for event in visit.events if event.what in ("tried", "cured")]
    looked = [f"told: {name}" for name in visit.names("heard")]
    looked += [event.recorded for event in visit.events if event.what == "looks good"]
    question = visit.question()
    cured = done[-1].cause if visit.outcome == "fixed" else ""
    line = dict.fromkeys(FIELDS, "")
    line |= {
        "visit_date": (on or dt.date.today()).isoformat(),
        "appliance_kind": question.kind,
        "job_no": question.job_no or "",
        "make": call.make or "",
        "model": call.model or "",
        "age": call.age or "",
        "complaint": ", ".join([*([call.complaint] if call.complaint else []), *visit.names("said")]),
        "fault_code": call.code or "",
        "findings": "; ".join(f"{finding}={value}" for finding, value in question.findings.items()),
        "cause": cured,
        "work_done": "; ".join([*(event.name for event in done), *looked]),
        "parts": "; ".join(part for event in done for part in event.parts),
        "outcome": visit.outcome,
    }
    return line


def header_of(path: Path) -> list[str]:
    """Columns of the record file; the own layout when the file is new or empty.

    Raises
    ------
    UsageError
        The file holds other columns than a record's, or cannot be written.
    """
    try:
        path.open("a", encoding="utf-8").close()
        with path.open(encoding="utf-8-sig", newline="") as file:
            header = next(csv.reader(file), [])
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise UsageError(
            f"{shown(path)} cannot be used as a record file.",
            "Name a file in a folder you may write to, with --record.",
        ) from fault
    if not header:
        return list(FIELDS)
    if missing := [
        name for name in ("visit_date", "appliance_kind", "findings", "cause", "outcome") if name not in header
    ]:
        raise UsageError(
            f"{shown(path.name)} is not a record file: it has no column {', '.join(missing)}.",
            "Name a new file with --record, or one in the tool's own layout.",
        )
    return header


def append_record(path: Path, line: Mapping[str, str]) -> None:
    """Add one line to a record file, its header first when it is new."""
    header = header_of(path)
    is_new = not path.exists() or path.stat().st_size == 0
    ends_open = not is_new and not path.read_bytes().endswith((b"\n", b"\r"))
    with path.open("a", encoding="utf-8", newline="") as file:
        if ends_open:
            file.write("\n")
        writer = csv.DictWriter(file, header, extrasaction="ignore", restval="")
        if is_new:
            writer.writeheader()
        writer.writerow({name: safe(value).replace("\n", " ") for name, value in line.items()})


def _tell_record(line: Mapping[str, str], record: Path | None, say: Say) -> None:
    if record is not None:
        append_record(record, line)
        say(f"Added to {record.name}: load it with priorjobs load {record.name}")
        return
    kept = "; ".join(f"{name} {value}" for name, value in line.items() if value)
    say(safe(f"Record: {kept}. Keep it with --record FILE."))


def stand_in_number() -> str:
    """Stamp of day and time: a record needs a job number where none is given."""
    return dt.datetime.now().astimezone().strftime("V%Y%m%d-%H%M%S")


def _minutes(ask: Ask) -> str:
    given = ask("Minutes taken (Enter = leave open) > ").strip()
    return given if given.isdigit() else ""


def _ask_terminal(prompt: str) -> str:
    sys.stdout.write(prompt)
    sys.stdout.flush()
    line = sys.stdin.readline()
    return line if line else STOP


def _say_terminal(line: str) -> None:
    sys.stdout.write(f"{line}\n")
