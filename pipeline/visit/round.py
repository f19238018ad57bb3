"""Tomorrow's calls: a sheet for each on one page, and the parts to load for all of them."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from math import prod
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.advice.kept import kept
from pipeline.errors import UsageError, shown
from pipeline.load.guess import guess_layout, known_names, shipped_layout
from pipeline.read.incoming import Reading, Records
from pipeline.read.reader import read
from pipeline.read.sources import Unopened, open_sources
from pipeline.store.atomic_write import whole
from pipeline.store.outputs import PAGE, may_write
from pipeline.visit import later_jobs
from pipeline.visit.answer import Answer
from pipeline.visit.ask import Asked, answered, ask, questions_of
from pipeline.visit.conversation import Visit, record_line
from pipeline.visit.costs import further_trip
from pipeline.visit.later_jobs import Learned
from pipeline.visit.plan import CARRY_MONEY
from pipeline.visit.plan_tree import step_of_sheet, tree
from pipeline.visit.question import Call, Question, age
from pipeline.visit.stock import FILE, PartOf, Parts, part_numbers, read_stock, unknown_parts
from pipeline.visit.tapping import tapped
from pipeline.visit.walk import Stand, Walk
from reports.render.wording import Sentence, Several, Written, in_language, sentence, several
from sql.working import drop_temporary

if TYPE_CHECKING:
    from models.plan.van import Needs, VanList
    from pipeline.load.layout import Layout
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

MOST_CALLS = 1000  # of a file meant as a day's calls; more is a mistake, or a trap
LEAST_ODDS = 0.004


def plan_round(
    database: Database, words: Words, settings: Settings, path: Path, out: Path, stock: Path | None = None
) -> dict[str, Any]:
    """Plan a day's calls and write their sheets.

    Parameters
    ----------
    path
        Calls as a CSV or XLSX file (any file `load` reads), columns of a job record.
    out
        The page to write.
    stock
        Parts on the van and in the store (`pipeline.visit.stock`); None = ``stock.csv`` beside the workshop, and where
        there is none, everything can be had.

    Returns
    -------
    dict
        ``calls``: one object a call as in `causes`; ``van``: part, kind, make, model_family, part_number, expected_use,
        carry (units), on_van, in_store (None = no stock is kept); ``one_visit``: expected
        calls for which the parts are aboard; ``not_planned``: lines left out, and why;
        ``remarks``: job numbers given twice.

    Raises
    ------
    FileUnreadable, UsageError
        A file that cannot be read, has no kind of appliance, or holds too many calls.
    """
    from models.plan.van import van_list
    from reports.pages.visit_sheets import visit_sheets

    beside = database.path.parent / FILE
    stock = beside if stock is None and beside.is_file() else stock
    may_write(out, PAGE, database=database, inputs=(path, stock))
    lines, day, refused = read_calls(database, words, path, mask=settings.mask_contacts)
    refused += [sentence("round.no_kind", line=Written(one["line_no"])) for one in lines if not one["appliance_kind"]]
    lines = [line for line in lines if line["appliance_kind"]]
    remarks = _told_twice(lines)
    questions = _questions(database, words, settings, lines, day)
    numbers = part_numbers(database.connection, [question.kind for question in questions])
    stocked = None if stock is None else read_stock(words, stock)
    parts = Parts(stocked, numbers)
    asked = ask(database, words, settings, questions)
    parts.share_out([(one.question, _chances(one)) for one in asked])
    unknown = unknown_parts(words, stocked or ())
    remarks += [sentence("round.unknown_parts", parts=[Written(name) for name in unknown])] if unknown else []
    named = {part.label: part for one in asked for part in _parts(one, parts).values()}
    calls = [_needs(one, parts) for one in asked]
    planned = [call for call in calls if call]
    van = van_list(planned, trip=further_trip(settings), carrying=CARRY_MONEY, stock=parts.units())
    advice = kept(database)
    answers = [
        answered(one, advice, carried=[name for name, part in _parts(one, parts).items() if van.units.get(part.label)])
        for one in asked
    ]
    told = [one.as_json() for one in answers]
    trees = _trees(Walk(database, words, settings, is_brief=True), answers)
    page = visit_sheets(
        [
            {**call, **_for_sheet(one, line, parts), "tapped": tree, "record": _record(one, line, day)}
            for call, one, line, tree in zip(told, answers, lines, trees, strict=True)
        ],
        {
            "names": {label: _named(part) for label, part in named.items()},
            "units": van.units,
            "expected_use": van.expected_use,
            "wanted": _wanted(calls),
            "one_visit": van.one_visit_cures,
            "one_visit_empty": sum(p for call in calls for parts, p in call if not parts),
            "all_cured": _all_cured(planned, van, later_jobs.kept(database)),
        },
        day=day,
        wording=in_language(settings.locale, settings.currency),
        refused=[one if isinstance(one, Sentence) else Written(one) for one in refused],
        remarks=remarks,
    )
    with whole(out) as draft:
        draft.write_text(page, encoding="utf-8")
    return {
        "calls": told,
        "van": van_rows(van, named, parts),
        "one_visit": round(van.one_visit_cures, 3),
        "not_planned": refused,
        "remarks": remarks,
    }


def _named(part: PartOf) -> Several:
    """A part as people tell it apart from others of its name, for any language."""
    of = [part.kind, *(Written(name) for name in part[2:])]
    of = [name for name in of if name]
    return several([part.part, *([sentence("round.part_of", of=several(of, " "))] if of else [])], " ")


def van_rows(van: VanList, named: Mapping[str, PartOf], parts: Parts) -> list[dict[str, Any]]:
    """Every part that may be wanted, and of what: how often, how many to carry, how many are there."""
    rows = []
    for label, use in van.expected_use.items():
        on_van, in_store = parts.places(label) if parts.stock is not None else (None, None)
        there = {"on_van": on_van, "in_store": in_store}
        carry = van.units.get(label, 0)
        told = {"told": _named(named[label])}
        rows.append({**named[label]._asdict(), **told, "expected_use": round(use, 3), "carry": carry, **there})
    return rows


def read_calls(
    database: Database, words: Words, path: Path, *, mask: bool = True
) -> tuple[list[dict[str, str]], dt.date | None, list[str]]:
    """Read the calls as text.

    Returns
    -------
    tuple
        One mapping of field to text a line; the day they are for when they name one day; and the lines that could not
        be read, with the reason and the remedy.

    Raises
    ------
    FileUnreadable, UsageError
        As `pipeline.load.load.load_files`; or no column gives the kind of appliance.
    """
    import pandas as pd

    from pipeline.load.privacy import mask_contacts
    from pipeline.values import dates

    lines, refused = _read_lines(database, words, path)
    if len(lines) > MOST_CALLS:
        raise UsageError(
            f"{shown(path.name)} holds {len(lines):,} calls; a round holds at most {MOST_CALLS}.",
            "Give the calls of one day and one van.",
        )
    if mask and lines:
        complaints = mask_contacts(pd.Series([line["complaint"] for line in lines], dtype="str"))
        lines = [{**line, "complaint": text} for line, text in zip(lines, complaints.fillna(""), strict=True)]
    written = pd.Series([line["visit_date"] for line in lines], dtype="str")
    days = dates.parse(written.where(written != ""))["value"].dropna().unique()
    return lines, pd.Timestamp(days[0]).date() if len(days) == 1 else None, refused


def _told_twice(lines: Sequence[Mapping[str, str]]) -> list[str]:
    """Job numbers that stand at several lines: each is planned, and the technician is told."""
    at: dict[str, list[str]] = {}
    for line in lines:
        if line["job_no"]:
            at.setdefault(line["job_no"], []).append(line["line_no"])
    return [
        sentence("round.told_twice", job=Written(shown(job)), lines=[Written(number) for number in numbers])
        for job, numbers in at.items()
        if len(numbers) > 1
    ]


def _read_lines(database: Database, words: Words, path: Path) -> tuple[list[dict[str, str]], list[str]]:
    """Fields of every line as text, "" where not given, and its line_no; and the lines refused, with reasons."""
    from pipeline.load.layout import FIELDS
    from pipeline.load.mapping import map_lines

    with _incoming(database, path) as records:
        layout = (
            shipped_layout(records.header) or guess_layout(database.connection, words, records.header, path.stem).layout
        )
        if "appliance_kind" not in layout.columns or not _gives(layout, records.header):
            raise UsageError(
                f"{shown(path.name)} has no column for the kind of appliance.",
                "Name its columns as in a job record: appliance_kind, make, model, age, complaint, fault_code.",
            )
        map_lines(database.connection, dataclasses.replace(layout, personal=()), records.header)
        rows = database.connection.execute(
            f"select line_no, {', '.join(FIELDS)} from line order by line_no limit {MOST_CALLS + 1}"
        ).fetchall()
        refused = [f"line {line.line_no}: {line.rule}. {line.remedy}" for line in records.refused]
    return [
        {"line_no": str(row[0]), **{name: value or "" for name, value in zip(FIELDS, row[1:], strict=True)}}
        for row in rows
    ], refused


def _gives(layout: Layout, header: tuple[str, ...]) -> bool:
    from pipeline.load.layout import position

    return any(position(header, rule.column) is not None for rule in layout.columns["appliance_kind"])


@contextmanager
def _incoming(database: Database, path: Path) -> Iterator[Records]:
    """Read a small file into the working table; it is dropped again, for it holds unmasked text."""
    try:
        for source in open_sources([path], database.scratch):
            if isinstance(source, Unopened):
                raise source.fault
            yield read(database.connection, source, Reading(known_names=known_names()), database.scratch)
            return
        raise UsageError(f"{shown(path.name)} holds no lines.", "Give a file of calls.")
    finally:
        drop_temporary(database.connection)


def _questions(
    database: Database, words: Words, settings: Settings, lines: Sequence[Mapping[str, str]], day: dt.date | None
) -> list[Question]:
    calls = [
        Call(
            kind=line["appliance_kind"],
            make=line["make"],
            model=line["model"],
            age=line["age"],
            complaint=line["complaint"],
            code=line["fault_code"],
            found=(line["findings"],) if line["findings"] else (),
            job_no=line["job_no"],
            serial=line["serial"],
            customer=line["customer_ref"],
            notes=[line[name] for name in ("cause", "work_done", "parts", "outcome")],
        )
        for line in lines
    ]
    return questions_of(database, words, settings, calls, on=day) if calls else []


def _parts(one: Asked, parts: Parts) -> dict[str, PartOf]:
    """Name → which part it is, for all parts a call may need."""
    names = {part for cause in one.odds.causes for part in one.costs.repair(cause).parts}
    return {name: parts.of(name, one.question) for name in sorted(names)}


def _chances(one: Asked) -> dict[str, float]:
    """Part → chance that a call needs it."""
    chances: dict[str, float] = {}
    for cause, p in one.odds.causes.items():
        for part in one.costs.repair(cause).parts:
            chances[part] = chances.get(part, 0.0) + p
    return chances


def _needs(one: Asked, parts: Parts) -> list[Needs]:
    """What a call may need: sets of parts with their probability; licensed and bench work is not of this visit."""
    labels = {name: part.label for name, part in _parts(one, parts).items()}
    if not one.has_plan:
        return []
    needs: dict[frozenset[str], float] = {}
    for cause, p in one.odds.causes.items():
        if p >= LEAST_ODDS and not one.costs.trade.is_licensed(cause) and not one.costs.is_shop_work(cause):
            wanted = frozenset(labels[part] for part in one.costs.repair(cause).parts)
            needs[wanted] = needs.get(wanted, 0.0) + p
    return list(needs.items())


def _all_cured(calls: Sequence[Sequence[Needs]], van: VanList, learned: Learned) -> float:
    """Chance that every call can be cured, brought into line with what later jobs taught of such chances."""
    from models.plan.quote import brought_into_line

    each = [min(sum(p for parts, p in call if parts <= set(van.units)), 1.0) for call in calls]
    better = [brought_into_line(p, learned.parts_at_hand) for p in each]
    factors = [after / before for before, after in zip(each, better, strict=True) if before > 0]
    return float(min([van.all_cured * prod(factors), *better]))


def _wanted(calls: Sequence[Sequence[Needs]]) -> dict[str, list[tuple[int, float]]]:
    wanted: dict[str, dict[int, float]] = {}
    for number, call in enumerate(calls, start=1):
        for parts, p in call:
            for part in parts:
                by_call = wanted.setdefault(part, {})
                by_call[number] = by_call.get(number, 0.0) + p
    return {part: sorted(rows.items(), key=lambda row: (-row[1], row[0])) for part, rows in wanted.items()}


def _trees(walk: Walk, answers: Sequence[Answer]) -> list[dict[str, Any]]:
    """The decision tree of each call; calls that were answered alike share one."""
    trees: dict[str, dict[str, Any]] = {}
    alike = [json.dumps({**one.as_json(), "job_no": None, "unit": None}, default=str) for one in answers]
    for one, same in zip(answers, alike, strict=True):
        if same not in trees:
            trees[same] = tapped(walk, Stand(one))
    return [trees[same] for same in alike]


def _record(one: Answer, line: Mapping[str, str], day: dt.date | None) -> dict[str, Any]:
    """What is known of a visit's record before it begins; who the customer is does not go on the page."""
    call = Call(line["appliance_kind"], line["make"], line["model"], line["age"], line["complaint"], line["fault_code"])
    written = record_line(Visit(one.question), call, on=day)
    number = one.question.job_no or f"V{written['visit_date'].replace('-', '')}-{line['line_no']}"
    known = {"job_no": number, "serial": line["serial"], "technician": line["technician"], "photos": line["photos"]}
    return {"line": {**written, **known}, "findings": list(one.question.findings.items())}


def _for_sheet(one: Answer, line: Mapping[str, str], parts: Parts) -> dict[str, Any]:
    steps = [step_of_sheet(step, one.trade) for step in one.steps]
    whole = tree(one.visit) if one.visit is not None else {"steps": steps, "branches": []}
    names = dict.fromkeys([*one.caution_names(), *_caution_names(whole)])
    carry = [{**row, "label": parts.of(row["part"], one.question).label} for row in one.as_json()["carry"]]
    return {
        "tree": whole,
        "carry": carry,
        "said": line["complaint"],
        "note": one.note,
        "age": age(one.question.age_years),
        "unit_lines": one.question.unit.lines(with_photos=False),
        "photos": [line["photos"], *(visit.photos for visit in one.question.unit.visits)],
        "cautions_named": [
            {"name": name, "text": one.trade.cautions[name]} for name in names if name in one.trade.cautions
        ],
    }


def _caution_names(row: Mapping[str, Any]) -> list[str]:
    here = [name for step in row["steps"] for name in step["caution_names"]]
    return here + [name for branch in row["branches"] if branch["then"] for name in _caution_names(branch["then"])]
