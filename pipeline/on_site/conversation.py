"""One visit in the terminal, step by step: asked and told until it ends, then recorded."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.call.question import Call, said
from pipeline.errors import shown
from pipeline.on_site.interrupted_visits import events_of, keep
from pipeline.on_site.keys import NO_CAUSE, PRESSED, STOP, UNDO
from pipeline.on_site.record import append_record, header_of, record_line, stand_in_number
from pipeline.on_site.step_by_step import Walk
from pipeline.on_site.step_lines import caution_line, cautions_on_screen, screen
from pipeline.on_site.visit_state import Visit
from pipeline.store.outputs import may_write
from pipeline.terminal.text import safe, wrapped
from pipeline.visit.answer import Answer, quoted
from pipeline.visit.ask import questions_of
from pipeline.words.appliance import AFTER_EVERY_REPAIR, ALWAYS, about
from reports.render.wording import Sentence, Written, in_language, sentence

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words
    from pipeline.words.appliance import Trade
    from reports.render.wording import Wording

LETTERS = "abcd"  # no keys of a visit: one pressed once too often names no cause
Ask = Callable[[str], str]
Say = Callable[[str], None]


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
    walk, heeds = Walk(database, words, settings), replace(talk, heeds=lambda text: visit.heeds(text, trade, words))
    while True:
        now = _walk(walk, visit, talk)
        if begun is not None:
            keep(begun, call, [] if visit.outcome else visit.events)
        try:
            written = _closed(visit, now, words, call, record, settings.window_days, heeds)
        except _DangerTold:
            continue
        break
    if not visit.outcome and visit.events:
        talk.tell(talk.wording.say("visit.broken_off" if begun is not None else "visit.lost"))
    if visit.outcome and any(event.what in ("tried", "cured") for event in visit.events):
        talk.tell(caution_line(talk.wording, trade, AFTER_EVERY_REPAIR))
    return {"outcome": visit.outcome, "record": written, "answer": now.as_json()}


class _DangerTold(Exception):
    """A closing question was answered with something that can hurt."""


@dataclass(frozen=True)
class _Talk:
    """How to ask and to tell, and in which language."""

    wording: Wording
    ask: Ask
    say: Say
    heeds: Callable[[str], bool] = lambda text: False
    """Whether an answer tells of something that can hurt, and turns the visit back."""

    def tell(self, line: str) -> None:
        """Say a line in which nothing can harm a terminal."""
        self.say(safe(line))

    def asked(self, name: str, **values: Any) -> str:
        """Ask a question by its name in the languages; the answer without spaces around."""
        answer = self.ask(f"{self.wording.say(name, **values)} > ").strip()
        if self.heeds(answer):
            raise _DangerTold
        return answer

    def left_open(self, name: str, **values: Any) -> str:
        """Ask what may be left open: "" too where no more is typed, or a key of the visit is pressed once more."""
        answer = self.asked(name, **{gap: self.wording.told(value) for gap, value in values.items()})
        return "" if PRESSED.fullmatch(answer.lower()) else answer


def _begin(visit: Visit, call: Call, trade: Trade, begun: Path | None, talk: _Talk) -> None:
    """Tell how the call was read, what always holds, and whether it goes on where it was broken off."""
    for line in (said(visit.asked), *visit.asked.unit.lines()):
        talk.tell(talk.wording.told(line))
    talk.tell(caution_line(talk.wording, trade, ALWAYS))
    if visit.asked.not_understood:
        talk.tell(talk.wording.tell("answer.not_understood", texts=quoted(visit.asked.not_understood)))
    if begun is not None and (before := events_of(begun, call)) is not None:
        visit.events = before[1]
        day = Written(talk.wording.date(before[0]))
        talk.tell(talk.wording.tell("visit.goes_on", day=day, steps=len(before[1])))


def _walk(walk: Walk, visit: Visit, talk: _Talk) -> Answer:
    """Go from step to step until the visit ends or is broken off; the last answer."""
    warned = set[str]()
    while True:
        now = visit.stand(walk).now
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
        pressed = _pressed(visit, now, walk.words, talk)
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


def _closed(
    visit: Visit, now: Answer, words: Words, call: Call, record: Path | None, window_days: int, talk: _Talk
) -> dict[str, str]:
    """Ask what a visit that ended leaves open, and keep it; its line."""
    if visit.outcome and now.visit is not None:
        _say_what_it_was(visit, now, words, talk)
    written = record_line(visit, call)
    if visit.outcome:
        _end(visit, written, record, window_days, talk)
    return written


def _end(visit: Visit, written: dict[str, str], record: Path | None, window_days: int, talk: _Talk) -> None:
    """Ask what a record needs besides, keep it, and tell when the odds learn from it."""
    written["job_no"] = written["job_no"] or talk.left_open("visit.job_no") or stand_in_number()
    written["minutes"] = _minutes(talk)
    written["photos"] = talk.left_open("visit.photos")
    talk.tell(talk.wording.told(_kept(written, record)))
    if visit.outcome == "fixed" and written["cause"]:
        day = Written(talk.wording.date(dt.date.today() + dt.timedelta(days=window_days)))
        talk.tell(talk.wording.tell("visit.learned", days=window_days, day=day))


def _say_what_it_was(visit: Visit, now: Answer, words: Words, talk: _Talk) -> None:
    """Ask what no key tells: what it really was, and which part was ordered; who only presses Enter says nothing."""
    if visit.outcome not in NO_CAUSE:
        visit.cause = _named(visit.may_have_been(now), words, visit.asked.kind, talk)
    if visit.outcome == "part needed":
        visit.ordered = talk.left_open("visit.ordered")


def _named(causes: Sequence[str], words: Words, kind: str, talk: _Talk) -> str:
    """Ask for a cause, three times at most: one of those offered by its letter, or in words; "" = left open.

    What no list knows as a cause is told, and asked for once more.
    """
    letters = dict(zip(LETTERS, causes, strict=False))
    offered = [sentence("visit.ending", number=Written(one), how=cause) for one, cause in letters.items()]
    for _ in range(3):
        given = talk.left_open("visit.really", causes=offered)
        if given.lower() in letters or not given:
            return letters.get(given.lower(), "")
        if sum(map(str.isalpha, given)) > 1:
            break
        talk.tell(talk.wording.tell("visit.no_cause", text=Written(shown(given))))
    else:
        return ""
    if _is_listed(words, given, kind):
        return given
    talk.tell(talk.wording.tell("visit.own_cause", text=Written(shown(given))))
    again = talk.left_open("visit.own_cause_again", causes=offered)
    return letters.get(again.lower(), again if sum(map(str.isalpha, again)) > 1 else given)


def _is_listed(words: Words, cause: str, kind: str) -> bool:
    import pandas as pd

    read = words.match("cause", pd.Series([cause], dtype="str"), pd.Series([kind], dtype="str"))
    return bool(read["is_understood"].iloc[0])


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
