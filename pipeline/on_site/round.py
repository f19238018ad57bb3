"""Tomorrow's calls: a sheet for each on one page, and the parts to load for all of them."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from math import prod
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.advice.kept import kept
from pipeline.call.question import Call, age
from pipeline.on_site.calls_file import questions_of_lines, read_calls, told_twice, unread_days
from pipeline.on_site.record import record_line
from pipeline.on_site.step_by_step import Stand, Walk
from pipeline.on_site.tapped_tree import tapped
from pipeline.on_site.visit_state import Visit
from pipeline.store.atomic_write import whole
from pipeline.store.outputs import PAGE, may_write
from pipeline.visit import later_jobs
from pipeline.visit.answer import GENERAL, Answer
from pipeline.visit.ask import answered, ask
from pipeline.visit.ask_first import is_silent
from pipeline.visit.costs import further_trip
from pipeline.visit.dangers import ring_first
from pipeline.visit.known_call import Asked
from pipeline.visit.later_jobs import Learned
from pipeline.visit.plan import CARRY_MONEY
from pipeline.visit.plan_tree import step_of_sheet, tree
from pipeline.visit.stock import FILE, PartOf, Parts, part_numbers, read_stock, unknown_parts
from reports.render.wording import Sentence, Several, Written, in_language, sentence, several

if TYPE_CHECKING:
    from models.plan.van import Needs, VanList
    from pipeline.advice.kept import AdviceRow
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

MOST_FOLLOWED = 100  # calls whose every step goes into the page; of the others, the first
LEAST_ODDS = 0.004


def plan_round(
    database: Database, words: Words, settings: Settings, path: Path, out: Path, stock: Path | None = None
) -> dict[str, Any]:
    """Plan a day's calls and write their sheets.

    Parameters
    ----------
    path, out
        Calls as a CSV or XLSX file (any file `load` reads), columns of a job record; the page to write.
    stock
        Parts on the van and in the store (`pipeline.visit.stock`); None = ``stock.csv`` beside the workshop, and where
        there is none, everything can be had.

    Returns
    -------
    dict
        ``calls``: one object a call as in `causes`; ``van``: part, kind, make, model_family, part_number, expected_use,
        carry (units), on_van, in_store (None = no stock is kept); ``one_visit``: expected calls for which the parts are
        aboard; ``ring_first``: calls whose danger cannot wait for the visit (call, kind, cautions by name, texts);
        ``not_planned``: lines left out, and why; ``remarks``: job numbers given twice.

    Raises
    ------
    FileUnreadable, UsageError
        A file that cannot be read, has no kind of appliance, or holds too many calls.
    """
    from models.plan.van import van_list
    from reports.pages.visit_sheets import visit_sheets

    stock = stock or _stock_beside(database)
    may_write(out, PAGE, database=database, inputs=(path, stock))
    lines, day, refused = read_calls(database, words, path, mask=settings.mask_contacts)
    refused += [sentence("round.no_kind", line=Written(one["line_no"])) for one in lines if not one["appliance_kind"]]
    lines = [line for line in lines if line["appliance_kind"]]
    asked = ask(database, words, settings, questions_of_lines(database, words, settings, lines, day))
    stocked = None if stock is None else read_stock(words, stock)
    parts = Parts(stocked, part_numbers(database.connection, [one.question.kind for one in asked]))
    parts.share_out([(one.question, _chances(one)) for one in asked])
    remarks = [*unread_days(lines), *told_twice(lines), *_limits(lines, unknown_parts(words, stocked or ()))]
    silent = [Written(n) for n, one in enumerate(asked, 1) if one.has_plan and _is_silent(one)]
    remarks += [sentence("round.nothing_loaded", calls=silent)] if silent else []
    named = {part.label: part for one in asked for part in _parts(one, parts).values()}
    calls = [_needs(one, parts) for one in asked]
    planned = [call for call in calls if call]
    van = van_list(planned, trip=further_trip(settings), carrying=CARRY_MONEY, stock=parts.units())
    if (units := parts.units()) is not None:
        free = van_list(planned, trip=further_trip(settings), carrying=CARRY_MONEY, stock=None)
        none = [_named(named[label]) for label in free.units if not units.get(label)]
        remarks += [sentence("round.to_order", parts=none)] if none else []
    answers = _answers(asked, kept(database), parts, van)
    trees = _trees(Walk(database, words, settings, is_brief=True), answers)
    told, ring = [one.as_json() for one in answers], _ring_first(answers)
    page = visit_sheets(
        [
            {**call, **_for_sheet(one, line, parts), "tapped": tree, "record": _record(one, line, day)}
            for call, one, line, tree in zip(told, answers, lines, trees, strict=True)
        ],
        _van(van, calls, named, _all_cured(planned, van, later_jobs.kept(database))),
        day=day,
        wording=in_language(settings.locale, settings.currency),
        refused=[one if isinstance(one, Sentence) else Written(one) for one in refused],
        remarks=remarks,
        ring_first=ring,
    )
    with whole(out) as draft:
        draft.write_text(page, encoding="utf-8")
    rows, one_visit = van_rows(van, named, parts), round(van.one_visit_cures, 3)
    found = {"ring_first": ring, "not_planned": refused, "remarks": remarks}
    return {"calls": told, "van": rows, "one_visit": one_visit, **found}


def _ring_first(answers: Sequence[Answer]) -> list[dict[str, Any]]:
    """Calls whose customer is rung before the round begins."""
    rows = []
    for number, one in enumerate(answers, 1):
        if names := ring_first(one.question, one.trade):
            texts = [one.trade.cautions[name] for name in names]
            rows.append({"call": number, "kind": one.question.kind, "cautions": list(names), "texts": texts})
    return rows


def _stock_beside(database: Database) -> Path | None:
    beside = database.path.parent / FILE
    return beside if beside.is_file() else None


def _limits(lines: Sequence[Mapping[str, str]], unknown: Sequence[str]) -> list[Sentence]:
    """What the page says of parts in stock that no list knows, and of calls beyond those followed step by step."""
    said = [sentence("round.unknown_parts", parts=[Written(name) for name in unknown])] if unknown else []
    return said + ([sentence("round.first_steps", calls=MOST_FOLLOWED)] if len(lines) > MOST_FOLLOWED else [])


def _answers(asked: Sequence[Asked], advice: Sequence[AdviceRow], parts: Parts, van: VanList) -> list[Answer]:
    """Every call planned with the parts that are in the van."""
    carried = [[name for name, part in _parts(one, parts).items() if van.units.get(part.label)] for one in asked]
    return [answered(one, advice, carried=names) for one, names in zip(asked, carried, strict=True)]


def _van(
    van: VanList, calls: Sequence[Sequence[Needs]], named: Mapping[str, PartOf], all_cured: float
) -> dict[str, Any]:
    """What the page tells of the van; see `reports.pages.visit_sheets`."""
    return {
        "names": {label: _named(part) for label, part in named.items()},
        "units": van.units,
        "expected_use": van.expected_use,
        "wanted": _wanted(calls),
        "one_visit": van.one_visit_cures,
        "one_visit_empty": sum(p for call in calls for parts, p in call if not parts),
        "all_cured": all_cured,
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
    """What a call may need: sets of parts, with probability; nothing of licensed work, the bench, or before asking."""
    labels = {name: part.label for name, part in _parts(one, parts).items()}
    if not one.has_plan or _is_silent(one):
        return []
    needs: dict[frozenset[str], float] = {}
    for cause, p in one.odds.causes.items():
        if p >= LEAST_ODDS and not one.costs.trade.is_licensed(cause) and not one.costs.is_shop_work(cause):
            wanted = frozenset(labels[part] for part in one.costs.repair(cause).parts)
            needs[wanted] = needs.get(wanted, 0.0) + p
    return list(needs.items())


def _is_silent(one: Asked) -> bool:
    return is_silent(one.question, one.odds.causes, one.costs.trade)


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
    """The decision tree of each call, of those after ``MOST_FOLLOWED`` the first step; alike answers share one."""
    trees: dict[str, dict[str, Any]] = {}
    alike = [json.dumps({**one.as_json(), "job_no": None, "unit": None}, default=str) for one in answers]
    for number, (one, same) in enumerate(zip(answers, alike, strict=True)):
        if same not in trees:
            trees[same] = tapped(walk, Stand(one), whole=number < MOST_FOLLOWED, calls=len(set(alike)))
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
    named = dict.fromkeys([*one.caution_names(), *_caution_names(whole)])
    names = [*(name for name in named if name not in GENERAL), *(name for name in GENERAL if name in named)]
    dangers = set(one.caution_names()) - set(GENERAL) if one.is_referred else set(one.alarms)
    labels = [parts.of(row["part"], one.question).label for row in one.as_json()["carry"]]
    units = parts.units()
    carry = [
        {**row, "label": label, "is_lacking": units is not None and not units.get(label)}
        for row, label in zip(one.as_json()["carry"], labels, strict=True)
    ]
    return {
        "tree": whole,
        "carry": carry,
        "said": line["complaint"],
        "note": one.note,
        "age": age(one.question.age_years),
        "unit_lines": one.question.unit.lines(with_photos=False),
        "photos": [line["photos"], *(visit.photos for visit in one.question.unit.visits)],
        "cautions_named": [
            {"title": one.caution_title(name), "text": one.trade.cautions[name], "is_danger": name in dangers}
            for name in names
            if name in one.trade.cautions
        ],
    }


def _caution_names(row: Mapping[str, Any]) -> list[str]:
    here = [name for step in row["steps"] for name in step["caution_names"]]
    return here + [name for branch in row["branches"] if branch["then"] for name in _caution_names(branch["then"])]
