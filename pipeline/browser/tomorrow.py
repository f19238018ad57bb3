"""Tomorrow: the day's calls typed, pasted or sent, put in order by hand, and their sheets with the van list."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import flask

from pipeline.browser.app import go, kinds_of, library, made_apart, number, own_page, page
from pipeline.errors import UsageError, shown
from pipeline.load.layout import FIELDS
from pipeline.on_site.calls_file import MOST_CALLS, read_calls
from pipeline.store.atomic_write import whole

pages = flask.Blueprint("tomorrow", __name__)
CALLS = "calls.csv"  # beside the database: the day's calls in the tool's own layout, in the order of the round
TYPED = ("job_no", "appliance_kind", "complaint", "age", "fault_code", "make", "model", "serial", "customer_ref")
LONGEST = 1000


@pages.get("/tomorrow")
def day() -> flask.Response:
    """The calls in their order."""
    import pandas as pd

    unread, place = flask.request.args.get("unread", "").splitlines(), library().kept(CALLS)
    held = calls(place)
    asks = [asked_of(call) for call in held]
    with library().opened() as workshop:
        kinds = kinds_of(workshop)
        found = workshop.words.match("kind", pd.Series([call["appliance_kind"] for call in held], dtype="str"))
    dangers = library().dangers(asks)
    library().prepare(asks)
    return page(
        "tomorrow.html",
        calls=held,
        asks=asks,
        is_known=found["is_understood"].tolist(),
        dangers=dangers,
        file=place.name,
        typed=TYPED,
        kinds=kinds,
        unread=unread,
    )


@pages.post("/tomorrow")
def add() -> flask.Response:
    """Add a call that was typed, or all of a list that was pasted or sent."""
    form, place = flask.request.form, library().kept(CALLS)
    sent = next((file for file in flask.request.files.values() if file.filename), None)
    pasted, typed = form.get("pasted", "").strip(), {name: form.get(name, "").strip()[:LONGEST] for name in TYPED}
    if sent is None and not pasted and not typed["appliance_kind"]:
        raise UsageError("No call was given.", "Give at least the kind of appliance, or paste a list with a header.")
    with library().opened() as workshop:
        ending = Path(str(sent.filename)).suffix.lower() if sent else ".csv"
        file = workshop.database.scratch / f"calls{ending if ending[1:].isalnum() else '.csv'}"
        if sent:
            sent.save(file)
        elif pasted:
            file.write_text(pasted + "\n", encoding="utf-8")
        else:
            _keep(file, [typed])
        lines, _, unread = read_calls(workshop.database, workshop.words, file, mask=workshop.settings.mask_contacts)
    with library().writing:
        held = calls(place)
        if len(held) + len(lines) > MOST_CALLS:
            raise UsageError(
                f"A round holds at most {MOST_CALLS} calls.", "Remove calls that are done, then add again."
            )
        _keep(place, [*held, *lines])
    return go("tomorrow.day", unread="\n".join(unread)[:LONGEST] or None, _anchor="calls")


@pages.post("/tomorrow/order")
def order() -> flask.Response:
    """Move one call up or down, or take it off; or take all off."""
    form, place = flask.request.form, library().kept(CALLS)
    do, at = form.get("do"), number(form.get("at"))
    with library().writing:
        held = calls(place)
        if do == "clear":
            held = []
        elif at is None or at >= len(held) or form.get("was") != _mark(held[at]):
            raise UsageError("The calls have changed since the page was made.", "Go back, reload, and look again.")
        else:
            call = held.pop(at)
            if do != "remove":
                held.insert(max(0, at + (-1 if do == "up" else 1)), call)
        _keep(place, held)
    return go("tomorrow.day", _anchor="calls")


@pages.get("/tomorrow/sheets")
def sheets() -> flask.Response:
    """The round's sheets and its van list, as the command writes them."""
    place = library().kept(CALLS)
    if not calls(place):
        raise UsageError("There are no calls yet.", "Add them under Tomorrow first.")
    return own_page(made_apart("sheets", str(place), str(place.stat().st_mtime_ns)))


def calls(place: Path) -> list[dict[str, Any]]:
    """The calls kept, in order, each with a mark by which its line is known again."""
    if not place.exists():
        return []
    try:
        with place.open(encoding="utf-8", newline="") as file:
            lines = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise UsageError(f"{shown(place.name)} cannot be read.", "Fix it, or remove it.") from fault
    return [{**{name: line.get(name) or "" for name in FIELDS}, "mark": _mark(line)} for line in lines]


def asked_of(call: dict[str, str]) -> dict[str, str]:
    """What Ask is asked about a call; never whose it is."""
    same = {name: call[name] for name in ("make", "model", "serial", "age", "complaint")}
    return {"kind": call["appliance_kind"], "code": call["fault_code"], **same}


def _mark(call: dict[str, Any]) -> str:
    return " ".join(str(call.get(name) or "") for name in ("job_no", "appliance_kind", "complaint"))


def _keep(place: Path, held: list[dict[str, Any]]) -> None:
    with whole(place) as draft, draft.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, FIELDS, restval="", extrasaction="ignore")
        writer.writeheader()
        writer.writerows(held)
