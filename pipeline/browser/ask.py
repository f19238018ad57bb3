"""Ask: a call in the technician's words, its likely causes, and the visit step by step, to the record at its end."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import flask

from pipeline.browser.app import go, kinds_of, library, number, page, signed, unsigned
from pipeline.call.question import Call, said
from pipeline.call.word_account import NOTHING
from pipeline.errors import DatabaseBusy, UsageError
from pipeline.on_site.keys import END, ENDINGS, NO_CAUSE, SEEN, STOP, UNDO, choices
from pipeline.on_site.record import append_record, record_line, stand_in_number
from pipeline.on_site.step_by_step import Event, Walk
from pipeline.on_site.step_lines import cautions_on_screen
from pipeline.on_site.visit_state import Visit
from pipeline.visit.answer import SHOWN_CAUSES, Answer, advice_line, step_cost, told_terms
from pipeline.words.appliance import ALWAYS
from reports.render.links import links
from reports.render.wording import Finding, Written, sentence, value_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.words import Words

pages = flask.Blueprint("ask", __name__)
FIELDS = ("kind", "make", "model", "serial", "age", "complaint", "code")
LONGEST = {"complaint": 1000}
LONGEST_FIELD = 100
NOT_KEYS = (SEEN, END, UNDO, STOP)  # each has a place of its own on the page
TERMS = ("appliance_kind", "cause", "outcome")  # of a recorded line; all else stands as it is written
RECORD = "visits.csv"  # beside the database: finished visits, in the tool's own layout


@pages.get("/ask")
def question() -> flask.Response:
    """The form, and the answer to what stands in the address."""
    told = _told(flask.request.args)
    with library().opened() as workshop:
        kinds = kinds_of(workshop)
        shown = _shown(library().known(workshop, told).answer) if any(told.values()) else {"answer": None}
    return page("ask.html", call=told, kinds=kinds, **shown)


@pages.get("/visit")
def begin() -> flask.Response:
    """A visit of its own for a call; it has an address, and nothing else."""
    kept = {"call": _told(flask.request.args), "number": stand_in_number(), "events": [], "outcome": ""}
    return go("ask.visit", at=_written(kept))


@pages.get("/visit/<at>/")
def visit(at: str) -> flask.Response:
    """The next step with its cautions and the keys to press; at the end, what is to be recorded."""
    kept = _kept(at)
    visit, now, _ = _now(kept)
    step, keys = now.steps[0], choices(now, now.steps[0])
    names = (*cautions_on_screen(now, step), *(() if visit.events else (ALWAYS,)))
    is_repaired = any(event.what in ("tried", "cured") for event in visit.events)
    return page(
        "visit.html",
        **_shown(now),
        said=said(visit.asked),
        step_cost=step_cost(now, step),
        step=step,
        needless=[advice_line(now, row) for row in now.advice if row.part in step.parts],
        cautions=[(name, now.trade.cautions[name]) for name in names],
        keys=[(key, text) for key, text in keys.items() if key[0] not in NOT_KEYS],
        endings=ENDINGS,
        done=[_did(event) for event in visit.events],
        outcome=visit.outcome,
        causes=[(name, name) for name in visit.may_have_been(now)],
        no_cause=NO_CAUSE,
        after_repair=now.trade.cautions.get("after repair", "") if is_repaired else "",
        number=kept["number"],
        call=kept["call"],
        told=kept.get("told", []),
    )


@pages.post("/visit/<at>/press")
def press(at: str) -> flask.Response:
    """Take one key, or what else was seen; the address that follows holds all that happened so far."""
    kept = _kept(at)
    seen = flask.request.form.get("seen", "").strip()[:LONGEST_FIELD]
    key = f"{SEEN} {seen}" if seen else flask.request.form.get("key", "")
    visit, now, words = _now(kept)
    told: Sequence[str] = ()
    if key == UNDO:
        visit.undo()
    elif not visit.outcome:
        refused = visit.press(now, key, words)
        told = visit.remarks if not refused else [sentence("open.seen_how", text=Written(seen)) if seen else refused]
    events = [event.as_json() for event in visit.events]
    kept |= {"events": events, "outcome": visit.outcome, "told": [now.wording.told(one) for one in told]}
    return go("ask.visit", at=_written(kept))


@pages.post("/visit/<at>/record")
def record(at: str) -> flask.Response:
    """Keep the finished visit in the record file, then load it; a second press of the button adds nothing."""
    kept = _kept(at)
    form, path = flask.request.form, library().kept(RECORD)
    asked = ("job_no", "minutes", "cause", "cause_own", "ordered", "photos")
    given = {name: form.get(name, "").strip()[:LONGEST_FIELD] for name in asked}
    visit, _, _ = _now(kept)
    if not visit.outcome:
        raise UsageError("This visit has not ended yet.", "Go back to it and press how it ended.")
    if given["minutes"] and number(given["minutes"]) is None:
        raise UsageError("The minutes must be a whole number.", "Go back and write them in digits, such as 45.")
    visit.cause, visit.ordered = given["cause_own"] or given["cause"], given["ordered"]
    line = record_line(visit, Call(**kept["call"]))
    line |= {"job_no": given["job_no"] or kept["number"], "minutes": given["minutes"], "photos": given["photos"]}
    with library().writing:
        if not _on_file(path, line["job_no"]):
            append_record(path, line)
    try:
        with library().opened(read_only=False) as workshop:
            workshop.load([path])
    except DatabaseBusy:
        pass  # the next page says that the line waits in its file
    return go("ask.recorded", job=line["job_no"])


@pages.get("/recorded")
def recorded() -> flask.Response:
    """What the record file holds of a job, and whether it is among the loaded visits yet."""
    job = flask.request.args.get("job", "")
    lines = _on_file(library().kept(RECORD), job)
    with library().opened() as workshop:
        loaded = workshop.database.connection.execute("select count(*) from visit where job_no = ?", [job]).fetchall()
    return page(
        "recorded.html",
        job=job,
        lines=[[(n, text if n in TERMS else Written(text)) for n, text in line.items() if text] for line in lines],
        is_loaded=loaded[0][0] > 0,
        file=library().kept(RECORD).name,
        day=dt.date.today(),
    )


def _told(given: Any) -> dict[str, str]:
    told = {name: str(given.get(name, "")).strip() for name in FIELDS}
    for name, text in told.items():
        if len(text) > LONGEST.get(name, LONGEST_FIELD):
            raise UsageError(
                f"{name}: {len(text):,} letters are too many.",
                f"Say it in at most {LONGEST.get(name, LONGEST_FIELD):,} letters.",
            )
    return told


def _written(kept: dict[str, Any]) -> str:
    return signed(kept, "visit")


def _kept(at: str) -> dict[str, Any]:
    kept: dict[str, Any] = unsigned(at, "visit")
    return kept


def _now(kept: dict[str, Any]) -> tuple[Visit, Answer, Words]:
    """The visit as its address tells it, the answer with all that was seen and done, and the words it is told in."""
    events = [Event.from_json(event) for event in kept["events"]]
    with library().opened() as workshop:
        known, words = library().known(workshop, kept["call"]), workshop.words
        visit = Visit(known.question, events, kept["outcome"], stands=known.stands)
        now = visit.stand(Walk(workshop.database, words, workshop.settings)).now
    if now.is_referred:
        visit.outcome = "advice only"
    return visit, now, words


def _did(event: Event) -> tuple[str, str, str]:
    """An event for people: what happened, to what, and the value seen."""
    if event.what in ("seen", "cannot tell"):
        return event.what, Finding(event.name), value_of(event.name, event.value)
    return event.what, Written(event.name) if event.what == "heard" else event.name, event.value


def _shown(answer: Answer) -> dict[str, Any]:
    """The answer's own JSON, and the lines that have no place in it."""
    known = answer.trade.cautions
    of_steps = [[name for name in step.cautions if name in known] for step in answer.steps]
    of_advice = [answer.look_cautions(row) for row in answer.advice]
    first = answer.caution_names() if answer.is_cautious else ()
    heeds = _told_once(known, [first, *of_steps, *of_advice, answer.caution_names()])
    asked, nothing = answer.question, [piece.text for piece in answer.question.heard if piece.how == NOTHING]
    strange = [text for text in asked.not_understood if not nothing or text != asked.complaint or text in nothing]
    told = [(NOTHING, text) for text in strange]
    return {
        "answer": answer.as_json(),
        "likely": SHOWN_CAUSES,
        "note": answer.note,
        "not_understood": strange,
        "heard": [(one.text, one.how, told_terms(one)) for one in asked.heard if (one.how, one.text) not in told],
        "phrases": [phrase.line() for phrase in asked.phrases],
        "is_referred": answer.is_referred,
        "read_as": said(asked),
        "unit_lines": asked.unit.summary(),
        "past": [
            (visit.job_no, visit.line(answer.wording.date(visit.visit_date)), links(visit.photos))
            for visit in asked.unit.visits
        ],
        "step_costs": [step_cost(answer, step) for step in answer.steps],
        "first_heed": heeds[0],
        "step_heeds": heeds[1 : 1 + len(of_steps)],
        "advice_heeds": heeds[1 + len(of_steps) : -1],
        "last_heed": {"texts": heeds[-1]["texts"], "again": {}},
    }


def _told_once(known: Mapping[str, str], groups: Sequence[Sequence[str]]) -> list[dict[str, Any]]:
    """Texts of cautions where a page tells them first, and name → text of those it has told before, group by group."""
    told: set[str] = set()
    heeds = []
    for group in groups:
        names = [name for name in dict.fromkeys(group) if name in known]
        new = [known[name] for name in names if name not in told]
        heeds.append({"texts": new, "again": {name: known[name] for name in names if name in told}})
        told.update(names)
    return heeds


def _on_file(path: Path, job: str) -> list[dict[str, str]]:
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return [line for line in csv.DictReader(file) if line.get("job_no") == job]
