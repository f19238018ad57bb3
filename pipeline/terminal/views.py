"""How each command's answer looks in a terminal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipeline.store.check import said
from pipeline.terminal.text import pairs, safe, table
from reports.render.wording import Wording, Written, sentence

SCORES = ("log_loss", "brier", "top1", "top3", "calibration_error")


def scores(told: dict[str, Any]) -> list[str]:
    """The score of `train` beside its baselines; smaller log-loss, Brier and calibration error are better."""
    from reports.pages.model_card import half_life_line, left_out_line, worse_line

    ways = {"this model": told["scores"], **told["baselines"]} if told["scores"] else {}
    rows = [[name, *(score[s] for s in SCORES)] for name, score in ways.items()]
    lines = [f"Model {told['model']}: {told['episodes']:,} cured jobs, {told['causes']} causes, as of {told['as_of']}."]
    if rows:
        lines += table([f"on {_asked_jobs(told):,} later jobs", *(s.replace("_", " ") for s in SCORES)], rows)
    else:
        lines.append("No later job had a cause met in training, so how good it is cannot be said.")
    lines += [*_never_seen(told), *worse_line(told), half_life_line(told["half_life"]), *left_out_line(told)]
    return [*lines, f"Model {told['in_use']} is in use: {told['note']}." if told["replaced"] else told["note"]]


def _asked_jobs(told: dict[str, Any]) -> int:
    return int(told["exam_jobs"] - told["never_seen_causes"])


def _never_seen(told: dict[str, Any]) -> list[str]:
    """Jobs that the table leaves out: no model could name their cause."""
    if not told["never_seen_causes"]:
        return []
    return [
        f"{told['never_seen_causes']:,} more of the {told['exam_jobs']:,} later jobs had a cause never seen before, "
        "which no way can name; the table leaves them out. In such a call the true answer is none of these."
    ]


def backtest(told: dict[str, Any]) -> list[str]:
    """How well it would have done: against plain ways, how honest, by facts, kind and month, and with more jobs."""
    from reports.pages.backtest import brier_line, headline
    from reports.pages.model_card import half_life_line, left_out_line

    if not told["scores"]:
        return [f"{told['episodes']:,} cured jobs are too few for a backtest month by month."]
    ways = {"priorjobs": told["scores"], **told["baselines"]}
    bands = [
        [f"{row['low']:.0%} to {row['high']:.0%}", row["jobs"], f"{row['said']:.0%}", f"{row['came']:.0%}"]
        for row in told["reliability"]
    ]
    columns = ("jobs", "log_loss", "top1", "top3")
    scored = [[way, *(scores[name] for name in SCORES)] for way, scores in ways.items()]
    more = [
        [f"{row['learned_from']:,} jobs", row["asked"], row["log_loss"], row["top1"]] for row in told["learning_curve"]
    ]
    return [
        f"{headline(told)}.",
        "",
        *table(["", *(name.replace("_", " ") for name in SCORES)], scored),
        "",
        *table(["first cause stated", "jobs", "on average", "came true"], bands),
        brier_line(told),
        half_life_line(told["half_life"]),
        *left_out_line(told),
        "",
        *_groups("facts known", told["by_facts"], columns),
        "",
        *_groups("kind", told["by_kind"], columns),
        "",
        *_groups("month", {row["month"]: row for row in told["months"]}, ("jobs", "learned_from", *columns[1:])),
        "",
        *table(["learned from", "asked", "log loss", "top1"], more),
        f"Page with the charts: {told['page']}",
    ]


def _groups(name: str, groups: dict[str, Any], columns: tuple[str, ...]) -> list[str]:
    rows = [[group, *(scores[column] for column in columns)] for group, scores in groups.items()]
    return table([name, *(column.replace("_", " ") for column in columns)], rows)


def advice(told: dict[str, Any], wording: Wording) -> list[str]:
    """Advice by number, what was taken up with its wrong parts before and since, and all cautions, as on the page."""
    import pandas as pd

    from reports.pages.advice_rows import adopted_rows, advice_rows

    listed = [
        {**row, **{name: dt.date.fromisoformat(row[name]) for name in ("first_date", "last_date")}}
        for row in told["rows"]
    ]
    lines = []
    for row, known in zip(advice_rows(pd.DataFrame(listed), wording), listed, strict=True):
        lines += [f"{row['number']:>2}. {row['do']} ({row['money']} {row['time']})"]
        lines += [f"     {text}" for text in (row["trend"], row["why"], row["worth"])]
        if known["adopted_on"]:
            day = wording.date(dt.date.fromisoformat(known["adopted_on"]))
            lines.append(f"     {wording.say('advice.taken_up', day=day)}")
    lines = lines or [wording.say("advice.none")]
    if told["adopted"]:
        lines += ["", wording.say("adopted.heading")]
    for row, known in zip(adopted_rows(pd.DataFrame(told["adopted"]), wording), told["adopted"], strict=True):
        lines.append(f"  {wording.say('adopted.since', day=row['since'])} {row['do']}")
        undo = wording.say("advice.undo", number=Written(str(known["advice_id"])))
        lines += [f"     {text}" for text in (row["state"], row["counts"], undo)]
    return [*lines, "", *(f"! {wording.told(text)}" for text in told["cautions"])]


def adopted(told: dict[str, Any], wording: Wording) -> list[str]:
    """Advice just taken up, and how to take that back."""
    from reports.pages.advice_rows import what_to_do

    day = wording.date(dt.date.fromisoformat(told["adopted_on"]))
    taken = f"{what_to_do(told, wording)}. {wording.say('advice.taken_up', day=day)}"
    return [taken, wording.say("advice.undo", number=Written(str(told["advice_id"])))]


def taken_back(told: dict[str, Any], wording: Wording) -> list[str]:
    """Advice that is no longer followed."""
    from reports.pages.advice_rows import what_to_do

    return [wording.say("advice.taken_back", do=what_to_do(told, wording))]


def round_(planned: dict[str, Any], out: Path, wording: Wording) -> list[str]:
    """The van list, what each part is of, and where the sheets are, in the workshop's language."""
    van = [[wording.told(row["told"]), wording.number(row["expected_use"], 2), row["carry"]] for row in planned["van"]]
    left = [
        wording.tell("round.not_planned", lines=Written(str(wording.told(text)))) for text in planned["not_planned"]
    ]
    head = wording.tell("round.written", calls=sentence("round.calls", n=len(planned["calls"])), page=Written(str(out)))
    heads = [wording.say(f"round.head_{name}") for name in ("part", "use", "carry")]
    ring = [f"! {_ring(row, wording)}" for row in planned["ring_first"]]
    ring = [wording.say("round.ring"), *ring, ""] if ring else []
    return [*ring, head, *map(safe, (*left, *map(wording.told, planned["remarks"]))), *table(heads, van)]


def _ring(row: Mapping[str, Any], wording: Wording) -> str:
    """A call whose customer is rung before the round begins, with what to say."""
    call = wording.tell("round.ring_call", call=Written(str(row["call"])), kind=row["kind"], cautions=row["cautions"])
    return f"{call}. {' '.join(map(wording.told, row['texts']))}"


def status(told: dict[str, Any]) -> list[str]:
    """What is loaded, how well each column is understood, the words most worth reviewing, and the model in use."""
    loaded = told["loaded"]
    files = f"{loaded['files']:,} file{'' if loaded['files'] == 1 else 's'}"
    lines = [
        f"{told['database']}: {loaded['visits']:,} visits to {loaded['appliances']:,} appliances, "
        f"{loaded['first_visit'] or '–'} to {loaded['last_visit'] or '–'}, from {files}; "
        f"{loaded['refused_lines']:,} lines refused and kept.",
        "",
        *table(
            ["column", "given", "understood", "share"],
            [[c["column"], c["given"], c["understood"], _share(c["understood"], c["given"])] for c in told["columns"]],
        ),
    ]
    if told["words_to_review"]:
        rows = [[w["uses"], w["list"], w["written"], _one_line(w["example"])] for w in told["words_to_review"]]
        lines += ["", "Most worth reviewing (priorjobs review):", *table(["uses", "list", "written", "example"], rows)]
    if told["word_lists_changed"]:
        lines += ["", "The word lists or rates have changed since: the next load reads every visit again with them."]
    if told["technicians_to_hash"]:
        lines += [
            "",
            f"hash_technicians is set and {told['technicians_to_hash']} technicians are held by name: the next load "
            "makes keyed hashes of them, for good.",
        ]
    if "broken" in told:
        lines += ["", *checked(told)]
    return [*lines, "", *pairs({"model": told["model"]})]


def checked(told: dict[str, Any]) -> list[str]:
    """Whether all holds that must, and whether the work has changed since the training."""
    held = [said(offence) for offence in told["broken"]] or ["All that must hold of the tables holds."]
    return held + (_drift(told["drift"]) if told.get("drift") else [])


def _drift(told: dict[str, Any]) -> list[str]:
    if told["new_words"] is None:
        return [f"Too few jobs have been cured since training to see whether the work has changed: {told['jobs']}."]
    return told["said"] or [f"The {told['jobs']:,} jobs cured since the training look like those it learned from."]


def _one_line(text: str | None) -> str:
    return " ".join((text or "").split())


def _share(count: int, of: int) -> str:
    return f"{count / of:.1%}" if of else "–"


def demo(told: dict[str, Any]) -> list[str]:
    """What the demo made, where it is, and what it found."""
    return [*told["found"], "", "Where to look:", *(f"  {what}: {where}" for what, where in told["made"].items())]
