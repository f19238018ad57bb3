"""Records: files in, their columns looked at, refused lines told, files out again, unrecognised words decided."""

from __future__ import annotations

import csv
import dataclasses
import json
from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING, Any

import flask
from werkzeug.utils import secure_filename

from pipeline.browser.app import go, library, number, page, work
from pipeline.browser.worker import Tell, rows_of
from pipeline.errors import PriorjobsError, UsageError, shown
from pipeline.load.column_evidence import ALL_FIELDS
from pipeline.load.guess import GuessHeldBack, Proposal
from pipeline.load.layout_file import as_toml
from reports.render.wording import sentence

if TYPE_CHECKING:
    from pipeline.workshop import Workshop

pages = flask.Blueprint("records", __name__)
MOST_REFUSED = 500  # lines shown
MOST_WORDS = 40  # on one page
ORDERS = {"%d/%m/%Y": "31/12/2026", "%m/%d/%Y": "12/31/2026", "%Y-%m-%d": "2026-12-31"}
BATCH = ("batch", "file", "loaded_at", "visits", "read", "loaded", "replaced", "rejected", "taken_back_at")


@pages.get("/records")
def files() -> flask.Response:
    """What came in, what waits, and what became of the files sent last."""
    with library().opened() as workshop:
        batches = rows_of(workshop.batches())
    job = library().job
    last = job.result if job is not None and job.what in ("load", "take back") else None
    return page(
        "records.html",
        batches=[{name: row[name] for name in BATCH} for row in reversed(batches)],
        can_undo=any(row["taken_back_at"] for row in batches),
        waiting=[path.name for path in _waiting()],
        to_check=library().proposals.keys(),
        came=last,
        fault=job.fault if job is not None else None,
    )


@pages.post("/records")
def upload() -> flask.Response:
    """Keep the files sent, then read them: one of known columns is loaded, any other is looked at first."""
    sent = [file for file in flask.request.files.getlist("files") if file.filename]
    if not sent:
        raise UsageError("No file was sent.", "Choose one or more files of job records.")
    folder = library().kept("incoming")
    folder.mkdir(mode=0o700, exist_ok=True)
    paths: list[Path] = []
    replaced: set[Path] = set()
    for file in sent:
        name = secure_filename(Path(str(file.filename)).name) or "records.csv"
        name = name if folder / name not in paths else f"{len(paths)}-{name}"
        if name.endswith(".toml"):
            raise UsageError(f"{shown(name)} holds no job records.", "Send CSV, XLSX, ODS, JSON Lines or Parquet.")
        paths.append(folder / name)
        replaced |= {path for path in paths[-1:] if path.exists()}
        _remove(paths[-1])
        file.save(paths[-1])
    return _load(paths, replaced)


@pages.post("/records/waiting")
def waiting() -> flask.Response:
    """Read a file again that waits, in the place of what it brought before if that was said, or throw it away."""
    path, do = _one(flask.request.form.get("file", "")), flask.request.form.get("do")
    if do == "remove":
        _remove(path)
        return go("records.files")
    return _load([path], is_sure=do == "replace")


@pages.get("/records/columns")
def columns() -> flask.Response:
    """The guessed mapping of a file: each column with three values, and which field it is."""
    proposal = _proposal(flask.request.args.get("file", ""))
    fields = {rule.column: f for f, rules in proposal.layout.columns.items() for rule in rules}
    doubts = {guess.column for guess in proposal.guesses if not guess.is_sure}
    doubts |= {rival for guess in proposal.guesses for rival in guess.rivals}
    return page(
        "columns.html",
        file=flask.request.args["file"],
        proposal=proposal,
        columns=[(name, samples, fields.get(name, ""), name in doubts) for name, samples in proposal.samples.items()],
        fields=[(name, sentence(f"open.field_{name}")) for name in ALL_FIELDS],
        lacking=[sentence(f"open.field_{name}") for name in proposal.lacking],
        orders=ORDERS,
    )


@pages.post("/records/columns")
def chosen() -> flask.Response:
    """Load a file with its columns as a person chose them."""
    form = flask.request.form
    path = _one(form.get("file", ""))
    proposal = _chosen(_proposal(path.name), form)
    if proposal.layout.missing(tuple(proposal.samples)):
        raise UsageError("Every visit needs its day and its kind of appliance.", "Go back and choose their columns.")
    path.with_name(path.name + ".toml").write_text(as_toml(proposal.layout), encoding="utf-8")
    return _load([path])


@pages.get("/records/refused/<int:batch>")
def refused(batch: int) -> flask.Response:
    """The lines of one file that were refused, with their reasons."""
    with library().opened() as workshop:
        found = workshop.table("rejected_record")
        listed = workshop.batches().set_index("batch")["file"]
    lines = rows_of(found[found["batch_id"] == batch].sort_values("line_no"))
    reasons = [(line["line_no"], reason) for line in lines for reason in json.loads(line["reasons"])]
    return page(
        "refused.html", file=listed.get(batch, ""), count=len(lines), reasons=reasons[:MOST_REFUSED], of=len(reasons)
    )


@pages.post("/records/take-back")
def take_back() -> flask.Response:
    """Take a file out again, or bring back the one taken out last."""
    given = flask.request.form.get("batch")
    batch = number(given)
    if given and batch is None:
        raise UsageError(f"There is no batch {shown(given)}.", "Go back, reload, and look again.")

    def taken(workshop: Workshop, _: Tell) -> list[dict[str, Any]]:
        return [workshop.undo_take_back() if batch is None else workshop.take_back(batch)]

    return work("take back", "records.files", taken)


@pages.get("/records/words")
def words() -> flask.Response:
    """Unrecognised words to be decided by clicking, as they were looked up last; and the decisions in force."""
    with library().opened() as workshop:
        decided = workshop.table("correction")
    decided = decided[decided["undone_at"].isna()].sort_values("correction_id", ascending=False)
    looked = _looked()
    rows = looked and [row | {"choices": _decisions(row)} for row in looked]
    return page("words.html", rows=rows, decided=rows_of(decided.head(MOST_WORDS)), most=MOST_WORDS)


def _decisions(row: dict[str, Any]) -> list[tuple[str, str]]:
    """What may be decided of a word that no list knows."""
    listed = {"yes": row["suggestion"], row["second"]: row["second"]}
    own = {"cure": [("no part", "no_part")], "outcome": []}.get(row["list"], [("own", "own_term")])
    return [
        *((name, sentence("open.is_a", term=term)) for name, term in listed.items() if term),
        *((name, sentence(f"open.{says}")) for name, says in [*own, ("nothing", "says_nothing")]),
    ]


@pages.post("/records/words/look")
def look() -> flask.Response:
    """Look the unrecognised words up, with what each may mean."""
    return work("look", "records.words")


@pages.post("/records/words")
def decide() -> flask.Response:
    """Take the decisions that were clicked; every record is read again by them."""
    form, looked = flask.request.form, _looked() or []
    given = zip(*(form.getlist(name) for name in ("list", "written", "suggestion", "decision", "own")), strict=False)
    rows = [(*row[:3], row[4].strip() or row[3]) for row in given if row[3] or row[4].strip()]
    if not rows:
        raise UsageError("Nothing was decided.", "Choose what a word means, then press the button.")

    def taken(workshop: Workshop, _: Tell) -> list[dict[str, Any]]:
        path = workshop.database.scratch / "decided.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([("list", "written", "suggestion", "decision"), *rows])
        workshop.take_decisions(path)
        done = {row[:2] for row in rows}
        return [row for row in looked if (row["list"], row["written"]) not in done]

    return work("words", "records.words", taken)


@pages.post("/records/words/undo")
def undo() -> flask.Response:
    """Take one decision back."""
    decision, rows = number(flask.request.form.get("correction_id")) or 0, _looked()

    def undone(workshop: Workshop, _: Tell) -> list[dict[str, Any]] | None:
        workshop.undo_decision(decision)
        return rows

    return work("words", "records.words", undone)


def _looked() -> list[dict[str, Any]] | None:
    """What the last look for words found; None = nobody has looked."""
    job = library().job
    if job is None or job.what not in ("look", "words") or job.result is None:
        return None
    found: list[dict[str, Any]] = job.result
    return found


class _Unasked(PriorjobsError):
    """A file whose reading would take the place of another: a person must say so first."""


def _hold_back(question: str) -> None:
    raise _Unasked(question, "The batch stays as it is until you say so.")


def _load(paths: list[Path], replaced: Collection[Path] = (), *, is_sure: bool = False) -> flask.Response:
    proposals = library().proposals

    def taken(workshop: Workshop, tell: Tell) -> list[dict[str, Any]]:
        told = _take_in(workshop, tell, paths, proposals, None if is_sure else _hold_back)
        return [one | {"has_replaced": any(one["file"] == path.name for path in replaced)} for one in told]

    return work("load", "records.files", taken)


def _take_in(
    workshop: Workshop,
    tell: Tell,
    paths: list[Path],
    proposals: dict[str, Proposal],
    may_replace: Callable[[str], None] | None,
) -> list[dict[str, Any]]:
    """Load each file by itself; one whose columns must be looked at waits, and so does one that could not be read."""
    told: list[dict[str, Any]] = []
    for path in paths:
        layout = path.with_name(path.name + ".toml")
        try:
            given = layout if layout.exists() else None
            report = workshop.load([path], layout=given, may_replace=may_replace, tell=tell).as_json()
        except GuessHeldBack as fault:
            proposals[path.name] = fault.proposal
            told.append({"file": path.name, "is_held": True})
        except PriorjobsError as fault:
            told.append({"file": path.name, "fault": fault, "is_question": isinstance(fault, _Unasked)})
        else:
            told += report["files"]
            _remove(path)
    return told


def _chosen(proposal: Proposal, form: Any) -> Proposal:
    """Give the proposal with every column that was changed; what was left as guessed keeps what else its rule says."""
    before = {rule.column: f for f, rules in proposal.layout.columns.items() for rule in rules}
    after = {name: form.get(f"column-{at}", "") for at, name in enumerate(proposal.samples)}
    new = {f for name, f in after.items() if f and before.get(name) != f}
    if twice := {f for f in new if list(after.values()).count(f) > 1}:
        raise UsageError(f"Two columns cannot both be {', '.join(sorted(twice))}.", "Go back and choose one of them.")
    for f in set(before.values()) - set(after.values()):
        proposal = proposal.with_choice(f, None)
    for name, f in after.items():
        if f in ALL_FIELDS and before.get(name) != f:
            proposal = proposal.with_choice(f, name)
    order = form.get("date_format", "")
    proposal = proposal.with_line(form.get("line_is", ""))
    return dataclasses.replace(
        proposal, layout=dataclasses.replace(proposal.layout, date_format=order if order in ORDERS else None)
    )


def _waiting() -> list[Path]:
    folder = library().kept("incoming")
    return sorted(path for path in folder.glob("*") if path.suffix != ".toml") if folder.is_dir() else []


def _one(name: str) -> Path:
    """The waiting file of this name: only names that are there lead to a file."""
    path = next((path for path in _waiting() if path.name == name), None)
    if path is None:
        raise UsageError(f"No file {shown(name)} waits here.", "Send it again from Records.")
    return path


def _proposal(name: str) -> Proposal:
    proposal: Proposal | None = library().proposals.get(_one(name).name)
    if proposal is None:
        raise UsageError(f"{shown(name)} must be read again first.", "Go to Records and press Read it again.")
    return proposal


def _remove(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.with_name(path.name + ".toml").unlink(missing_ok=True)
